"""Sea water chemistry of the simulated site, written for it alone.

It shares nothing with the program's own carbonate code, so that an estimator judged here is judged against something
it did not make. Concentrations are mmol (or meq) per litre, hydrogen ion likewise, on the total scale; the published
constants are per kilogram and are turned into litres once, in `constants_at`. Borate and water are counted in the
alkalinity besides carbonate; hydrogen sulphate is inside the total scale, hydrogen fluoride, phosphate and silicate are
left out (below 0.1 % of the alkalinity at pH 6 to 8.8).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

CALCIUM_MG_PER_MMOL = 40.078
MAGNESIUM_MG_PER_MMOL = 24.305
CO2_MG_PER_MMOL = 44.0095
NITRATE_MG_PER_MMOL = 62.0049
CACO3_MG_PER_MMOL = 100.0869


@dataclass(frozen=True, slots=True)
class Constants:
    """Equilibrium constants at one salinity and temperature, all per litre of water (mmol/L), shape of the inputs."""

    co2_per_atm: Values
    """Dissolved CO2 at one atmosphere of partial pressure, mmol/L."""
    k1: Values
    k2: Values
    kb: Values
    kw: Values
    boron: Values
    aragonite: Values
    """Solubility product of aragonite, (mmol/L)^2."""
    nbs_offset: Values
    """pH_NBS less pH on the total scale."""
    density: Values
    """kg/L."""


def density(salinity: Values, temperature_c: Values) -> Values:
    """Return the density of sea water in kg/L, same shape as the inputs.

    A plane with one curved term through the EOS-80 values about S 35, 25 degC; within 0.15 kg/m3 over S 28-40, 18-32 C.
    """
    warmer = temperature_c - 25.0
    return (1023.343 + 0.7545 * (salinity - 35.0) - 0.3003 * warmer - 0.0043 * warmer**2) / 1000.0


def nbs_offset(salinity: Values, temperature_c: Values) -> Values:
    """Return pH_NBS - pH_total: a plane through the fH of Takahashi et al. 1982, within 0.002 over S 30-36, 20-30 C."""
    return 0.1370 + 0.00225 * (temperature_c - 25.0) - 0.00092 * (salinity - 35.0)


def constants_at(salinity: Values, temperature_c: Values) -> Constants:
    """Return the constants at practical salinity and temperature in degC.

    K0 Weiss 1974 with the non-ideality of Weiss 1974; K1, K2 Lueker et al. 2000; KB Dickson 1990; KW Millero 1995;
    total boron Uppstrom 1974; aragonite Mucci 1983.
    """
    s, t = np.asarray(salinity, dtype=np.float64), np.asarray(temperature_c, dtype=np.float64) + 273.15
    root, log_t, hundred = np.sqrt(s), np.log(t), t / 100.0
    k0 = np.exp(
        93.4517 / hundred
        - 60.2409
        + 23.3585 * np.log(hundred)
        + s * (0.023517 - 0.023656 * hundred + 0.0047036 * hundred**2)
    )
    virial = -1636.75 + 12.0408 * t - 0.0327957 * t**2 + 3.16528e-5 * t**3 + 2.0 * (57.7 - 0.118 * t)
    fugacity_share = np.exp(virial * 1.01325 / (83.1446 * t))
    pk1 = 3633.86 / t - 61.2172 + 9.67770 * log_t - 0.011555 * s + 0.0001152 * s**2
    pk2 = 471.78 / t + 25.9290 - 3.16967 * log_t - 0.01781 * s + 0.0001122 * s**2
    ln_kb = (
        (-8966.90 - 2890.53 * root - 77.942 * s + 1.728 * root**3 - 0.0996 * s**2) / t
        + (148.0248 + 137.1942 * root + 1.62142 * s)
        - (24.4344 + 25.085 * root + 0.2474 * s) * log_t
        + 0.053105 * root * t
    )
    ln_kw = 148.9652 - 13847.26 / t - 23.6521 * log_t + (118.67 / t - 5.977 + 1.0495 * log_t) * root - 0.01615 * s
    log_aragonite = (
        -171.945
        - 0.077993 * t
        + 2903.293 / t
        + 71.595 * np.log10(t)
        + (-0.068393 + 0.0017276 * t + 88.135 / t) * root
        - 0.10018 * s
        + 0.0059415 * root**3
    )
    kg_per_l = density(s, t - 273.15)
    litre = 1000.0 * kg_per_l  # mol/kg -> mmol/L
    return Constants(
        co2_per_atm=k0 * fugacity_share * litre,
        k1=10.0**-pk1 * litre,
        k2=10.0**-pk2 * litre,
        kb=np.exp(ln_kb) * litre,
        kw=np.exp(ln_kw) * litre**2,
        boron=4.157e-4 * s / 35.0 * litre,
        aragonite=10.0**log_aragonite * litre**2,
        nbs_offset=nbs_offset(s, t - 273.15),
        density=kg_per_l,
    )


def ph_nbs(hydrogen: Values, constants: Constants) -> Values:
    """Return the pH an electrode calibrated in NBS buffers shows, from hydrogen ion in mmol/L."""
    return constants.nbs_offset - np.log10(hydrogen / (1000.0 * constants.density))


def hydrogen_at(ph: Values, constants: Constants) -> Values:
    """Return hydrogen ion in mmol/L (total scale) from pH_NBS."""
    return 10.0 ** (constants.nbs_offset - ph) * 1000.0 * constants.density


def carbonate_ratio(hydrogen: Values, constants: Constants) -> Values:
    """Return carbonate alkalinity per mmol of dissolved inorganic carbon."""
    k1h, k1k2 = constants.k1 * hydrogen, constants.k1 * constants.k2
    return (k1h + 2.0 * k1k2) / (hydrogen**2 + k1h + k1k2)


def other_alkalinity(hydrogen: Values, constants: Constants) -> Values:
    """Return the alkalinity of borate, hydroxide and (negative) acid, meq/L."""
    return constants.boron * constants.kb / (constants.kb + hydrogen) + constants.kw / hydrogen - hydrogen


def carbon_at(alkalinity: Values, hydrogen: Values, constants: Constants) -> Values:
    """Return dissolved inorganic carbon in mmol/L from alkalinity in meq/L and hydrogen ion."""
    return (alkalinity - other_alkalinity(hydrogen, constants)) / carbonate_ratio(hydrogen, constants)


def follow_hydrogen(hydrogen: Values, alkalinity: Values, carbon: Values, constants: Constants) -> Values:
    """Return hydrogen ion in mmol/L for alkalinity and carbon, starting from the value of an hour ago.

    Two Newton steps in ln h, each at most a factor of e: the water of an hour ago is always near.
    """
    k1k2 = constants.k1 * constants.k2
    h = hydrogen
    for _ in range(2):
        k1h = constants.k1 * h
        denominator = h * h + k1h + k1k2
        borate = constants.boron * constants.kb / (constants.kb + h)
        water = constants.kw / h
        error = carbon * (k1h + 2.0 * k1k2) / denominator + borate + water - h - alkalinity
        slope = (
            carbon * k1h * (h * h + 4.0 * constants.k2 * h + k1k2) / (denominator * denominator)
            + borate * h / (constants.kb + h)
            + water
            + h
        )
        h = h * np.exp(np.minimum(np.maximum(error / slope, -1.0), 1.0))
    return h


def find_hydrogen(alkalinity: Values, carbon: Values, constants: Constants) -> Values:
    """Return hydrogen ion in mmol/L from nothing known: sixty halvings of the pH between 3 and 12, cannot fail."""
    low = np.zeros_like(alkalinity + carbon) + 3.0
    high = low + 9.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        h = hydrogen_at(middle, constants)
        short = carbon * carbonate_ratio(h, constants) + other_alkalinity(h, constants) < alkalinity
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return hydrogen_at(0.5 * (low + high), constants)


def co2_and_carbonate(carbon: Values, hydrogen: Values, constants: Constants) -> tuple[Values, Values]:
    """Return dissolved CO2 and carbonate ion, both mmol/L."""
    k1h, k1k2, hh = constants.k1 * hydrogen, constants.k1 * constants.k2, hydrogen * hydrogen
    per_part = carbon / (hh + k1h + k1k2)
    return hh * per_part, k1k2 * per_part


def ceiling_alkalinity(alkalinity: Values, calcium: Values, hydrogen: Values, constants: Constants) -> Values:
    """Return the alkalinity (meq/L) at which water held at this pH stops dissolving aragonite (saturation 1).

    Carbonate is a fixed share c of the carbonate alkalinity at a given pH and calcium rises by half a mmol a meq, so
    (calcium + x/2) c (a + x) = Ksp is a quadratic in the alkalinity x still to be gained (negative above the ceiling).
    """
    share = constants.k2 / (hydrogen + 2.0 * constants.k2)
    carbonate_alkalinity = alkalinity - other_alkalinity(hydrogen, constants)
    half_sum = calcium + 0.5 * carbonate_alkalinity
    missing = calcium * carbonate_alkalinity - constants.aragonite / share
    return alkalinity + (np.sqrt(np.maximum(half_sum**2 - 2.0 * missing, 0.0)) - half_sum)
