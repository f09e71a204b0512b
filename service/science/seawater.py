"""What practical salinity and temperature say about seawater: density, conductivity, hydrometers, total salts.

A refractometer reads neither: its scale is printed for one liquid. One printed for table salt reads about 1.5
salinity units off in seawater (common practice, no source), so the instrument's own check against a 35 standard is a
matter for the method, not for a formula here.
"""

import gsw
import numpy as np

from service.science import Numbers, Values
from service.science.constants import CHLORINITY_RATIO, REFERENCE_SALINITY_G_KG

_HIGHEST_SALINITY = 100.0
"""Beyond anything a hydrometer for this trade is scaled for."""

_GLASS_EXPANSION_PER_K = 25e-6
"""Conventional cubic expansion of glass hydrometers, 1/K. Source: ISO1768."""

_COLDEST_GLASS_C = 10.0
"""No hydrometer is calibrated in colder water (common practice): a scale that compares with water of 4 C, the densest,
is printed 20/4 or 25/4, and its glass was calibrated at the first of the two."""


def density(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Density of seawater of reference composition at one atmosphere, kg/m3.

    TEOS-10 with S_A = (35.16504/35) S_P. S 0-42, -2 to 40 C.

    Source: IOC10, FOFONOFF83.
    Check value: 1023.34306 at salinity=35, temperature_c=24.994 (+-0.005).
    Check value: 997.04796 at salinity=0, temperature_c=24.994 (+-0.005).
    """
    absolute = np.asarray(salinity, dtype=np.float64) * (REFERENCE_SALINITY_G_KG / 35.0)
    result: Values = gsw.rho_t_exact(absolute, temperature_c, 0.0)
    return result


def density_eos80(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Density of seawater at one atmosphere by the older international equation of state, kg/m3.

    rho(S, t68, 0), t68 = 1.00024 t; S 0-42, -2 to 40 C. Within 0.01 kg/m3 of `density`; kept because its
    printed check values are the ones everyone has.

    Source: FOFONOFF83.
    Check value: 1023.34306 at salinity=35, temperature_c=24.994001 (+-2e-5).
    Check value: 999.96675 at salinity=0, temperature_c=4.9988 (+-2e-5).
    Check value: 997.04796 at salinity=0, temperature_c=24.994001 (+-2e-5).
    """
    s = np.asarray(salinity, dtype=np.float64)
    t = 1.00024 * np.asarray(temperature_c, dtype=np.float64)
    water = (
        999.842594 + 6.793952e-2 * t - 9.095290e-3 * t**2 + 1.001685e-4 * t**3 - 1.120083e-6 * t**4 + 6.536332e-9 * t**5
    )
    linear = 0.824493 - 4.0899e-3 * t + 7.6438e-5 * t**2 - 8.2467e-7 * t**3 + 5.3875e-9 * t**4
    three_halves = -5.72466e-3 + 1.0227e-4 * t - 1.6546e-6 * t**2
    result: Values = water + linear * s + three_halves * s * np.sqrt(s) + 4.8314e-4 * s**2
    return result


def salinity_from_conductivity_pss78(
    *, conductivity_ms_cm: Numbers, temperature_c: Numbers, pressure_dbar: Numbers = 0.0
) -> Values:
    """Practical salinity from conductivity and the temperature of the sample.

    PSS-78, extended below 2. A meter that shows conductivity compensated to 25 C wants temperature_c=25, whatever
    the sample's temperature was. S 2-42, -2 to 35 C.

    Source: FOFONOFF83, IOC10.
    Check value: 20.009869599 at conductivity_ms_cm=34.5487, temperature_c=28.7856, pressure_dbar=10 (+-1e-6).
    """
    result: Values = gsw.SP_from_C(conductivity_ms_cm, temperature_c, pressure_dbar)
    return result


def conductivity_pss78(*, salinity: Numbers, temperature_c: Numbers, pressure_dbar: Numbers = 0.0) -> Values:
    """Conductivity of seawater, mS/cm: the inverse of `salinity_from_conductivity_pss78`.

    Source: FOFONOFF83, IOC10.
    Check value: 42.9140 at salinity=35, temperature_c=14.9964 (+-1e-3).
    """
    result: Values = gsw.C_from_SP(salinity, temperature_c, pressure_dbar)
    return result


def hydrometer_reading(
    *,
    salinity: Numbers,
    temperature_c: Numbers,
    reference_temperature_c: Numbers,
    calibration_temperature_c: Numbers | None = None,
) -> Values:
    """Specific gravity that a glass hydrometer shows in seawater.

    reading = rho(S, T) [1 + 25e-6 (T - Tcal)] / rho(0, Tref)
    Tref is the temperature of the pure water the scale compares with, Tcal the one the glass was calibrated at: unless
    given, the same; of a scale that compares with water below 10 C, such as 25/4, the sample's own. Glass only: a
    plastic swing arm has no such law.

    Source: DERIVED, IOC10, ISO1768, PRACTICE.
    Check value: none, tested by test_a_glass_hydrometer_reads_what_density_ratios_say.
    """
    if calibration_temperature_c is None:
        calibration_temperature_c = _usual_calibration_c(temperature_c, reference_temperature_c)
    glass = 1.0 + _GLASS_EXPANSION_PER_K * (np.asarray(temperature_c, dtype=np.float64) - calibration_temperature_c)
    pure = density(salinity=0.0, temperature_c=reference_temperature_c)
    return density(salinity=salinity, temperature_c=temperature_c) * glass / pure


def salinity_from_hydrometer(
    *,
    specific_gravity: Numbers,
    temperature_c: Numbers,
    reference_temperature_c: Numbers,
    calibration_temperature_c: Numbers | None = None,
) -> Values:
    """Practical salinity from a glass hydrometer's reading: the inverse of `hydrometer_reading`, by bisection.

    The reading rises strictly with salinity. NaN where no salinity between 0 and 100 gives the reading.

    Source: DERIVED, IOC10, ISO1768, PRACTICE.
    Check value: none, tested by test_the_hydrometer_inversion_undoes_the_reading.
    """
    if calibration_temperature_c is None:
        calibration_temperature_c = _usual_calibration_c(temperature_c, reference_temperature_c)

    def excess(salinity: Values) -> Values:
        shown = hydrometer_reading(
            salinity=salinity,
            temperature_c=temperature_c,
            reference_temperature_c=reference_temperature_c,
            calibration_temperature_c=calibration_temperature_c,
        )
        return shown - specific_gravity

    shape = np.broadcast(specific_gravity, temperature_c, reference_temperature_c, calibration_temperature_c).shape
    low, high = np.zeros(shape), np.full(shape, _HIGHEST_SALINITY)
    possible = (excess(low) <= 0.0) & (excess(high) >= 0.0)
    for _ in range(60):
        middle = 0.5 * (low + high)
        below = excess(middle) < 0.0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(possible, 0.5 * (low + high), np.nan)


def total_borate_uppstrom1974(*, salinity: Numbers, boron_factor: Numbers = 1.0) -> Values:
    """Total boron, mol/kg: natural seawater's, times a factor for artificial salt.

    BT = 4.157e-4 S/35, the form of reference programs; the handbook's 2.32e-4/10.811 S/1.80655 is 0.014 % more. Later
    work (Lee et al. 2010) gives 4 % more; salt mixes from none to several times as much.

    Source: UPPSTROM74, DICKSON07, HUMPHREYS22.
    Check value: 415.7e-6 at salinity=35 (+-5e-8).
    """
    return 4.157e-4 * np.asarray(salinity, dtype=np.float64) / 35.0 * boron_factor


def total_sulphate_morris1966(*, salinity: Numbers) -> Values:
    """Total sulphate, mol/kg.

    ST = (0.14/96.062) S/1.80655

    Source: MORRIS66, DICKSON07.
    Check value: 0.02824 at salinity=35 (+-5e-6).
    """
    return 0.14 / 96.062 * np.asarray(salinity, dtype=np.float64) / CHLORINITY_RATIO


def total_fluoride_riley1965(*, salinity: Numbers) -> Values:
    """Total fluoride, mol/kg.

    FT = (6.7e-5/18.998) S/1.80655

    Source: RILEY65, DICKSON07.
    Check value: 6.832e-5 at salinity=35 (+-5e-8).
    """
    return 6.7e-5 / 18.998 * np.asarray(salinity, dtype=np.float64) / CHLORINITY_RATIO


def total_calcium_riley1967(*, salinity: Numbers) -> Values:
    """Total calcium of natural seawater, mol/kg.

    CaT = (0.02128/40.087) S/1.80655, the form of reference programs; the handbook's 0.02127/40.078 is 0.02 % less.

    Source: RILEY67, HUMPHREYS22.
    Check value: 10284.57e-6 at salinity=35 (+-5e-8).
    """
    return 0.02128 / 40.087 * np.asarray(salinity, dtype=np.float64) / CHLORINITY_RATIO


def _usual_calibration_c(temperature_c: Numbers, reference_temperature_c: Numbers) -> Values:
    """Where the glass of a scale was calibrated when nobody says."""
    reference = np.asarray(reference_temperature_c, dtype=np.float64)
    return np.asarray(np.where(reference < _COLDEST_GLASS_C, temperature_c, reference))
