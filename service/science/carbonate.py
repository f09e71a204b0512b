"""The carbonate system of seawater from any two of alkalinity, pH, dissolved inorganic carbon and partial pressure.

Total pH scale, mol per kilogram of solution and atmospheres inside. Alkalinity here is that of carbonate, borate,
water, hydrogen sulphate and hydrogen fluoride; phosphate, silicate, ammonia and organic bases are left out.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values, equilibria, seawater

SOURCES_USED = (
    "WEISS74",
    "LUEKER00",
    "DICKSON90B",
    "MILLERO95",
    "DICKSON90S",
    "DICKSON79",
    "UPPSTROM74",
    "MORRIS66",
    "RILEY65",
    "RILEY67",
    "MUCCI83",
    "TAKAHASHI82",
)
"""Keys of the constants and totals every answer of this module rests on."""

LOWEST_PH, HIGHEST_PH = 3.0, 12.0
"""Where bisection looks for pH (total scale)."""

COVERED_SALINITY = (28.0, 40.0)
COVERED_TEMPERATURE_C = (10.0, 32.0)
COVERED_ALKALINITY_MOL_KG = (1000e-6, 14000e-6)
COVERED_PH = (6.0, 8.8)


class PairError(ValueError):
    """Not exactly two of the four measurable quantities were given."""


@dataclass(frozen=True, slots=True)
class Equilibria:
    """The constants and totals of one water, computed once and used for many states."""

    k0: Values
    k1: Values
    k2: Values
    kb: Values
    kw: Values
    kf: Values
    ks: Values
    borate_mol_kg: Values
    sulphate_mol_kg: Values
    fluoride_mol_kg: Values
    free_to_total: Values
    fugacity_factor: Values
    ksp_aragonite: Values
    ksp_calcite: Values
    nbs_minus_total: Values


@dataclass(frozen=True, slots=True)
class CarbonateState:
    """One carbonate system, every part of it; all fields have one shape.

    NaN marks a state that no pH between 3 and 12 can give.
    """

    alkalinity_mol_kg: Values
    dic_mol_kg: Values
    pco2_atm: Values
    fco2_atm: Values
    co2_mol_kg: Values
    bicarbonate_mol_kg: Values
    carbonate_mol_kg: Values
    ph_total: Values
    ph_nbs: Values
    omega_aragonite: Values
    omega_calcite: Values


def equilibria_at(*, salinity: Numbers, temperature_c: Numbers, boron_factor: Numbers = 1.0) -> Equilibria:
    """Constants and totals of seawater at its surface; one evaluation serves any number of states.

    Source: WEISS74, LUEKER00, DICKSON90B, MILLERO95, DICKSON90S, DICKSON79, UPPSTROM74, MORRIS66, RILEY65, MUCCI83,
        TAKAHASHI82.
    Check value: nbs_minus_total = 0.136984 at salinity=35, temperature_c=25 (+-1e-4).
    """
    water = {"salinity": salinity, "temperature_c": temperature_c}
    sulphate = seawater.total_sulphate_morris1966(salinity=salinity)
    fluoride = seawater.total_fluoride_riley1965(salinity=salinity)
    ks = equilibria.ks_dickson1990(**water)
    kf = equilibria.kf_dickson_riley1979(**water)
    seawater_to_total = _seawater_to_total(sulphate / ks, fluoride / kf)
    return Equilibria(
        k0=equilibria.k0_weiss1974(**water),
        k1=equilibria.k1_lueker2000(**water),
        k2=equilibria.k2_lueker2000(**water),
        kb=equilibria.kb_dickson1990(**water),
        kw=equilibria.kw_millero1995(**water) * seawater_to_total,
        kf=kf,
        ks=ks,
        borate_mol_kg=seawater.total_borate_uppstrom1974(salinity=salinity, boron_factor=boron_factor),
        sulphate_mol_kg=sulphate,
        fluoride_mol_kg=fluoride,
        free_to_total=1.0 + sulphate / ks,
        fugacity_factor=equilibria.fugacity_factor_weiss1974(temperature_c=temperature_c),
        ksp_aragonite=equilibria.ksp_aragonite_mucci1983(**water),
        ksp_calcite=equilibria.ksp_calcite_mucci1983(**water),
        nbs_minus_total=_log10(seawater_to_total / equilibria.fh_takahashi1982(**water)),
    )


def carbonate_system(
    *,
    salinity: Numbers,
    temperature_c: Numbers,
    alkalinity_mol_kg: Numbers | None = None,
    ph_total: Numbers | None = None,
    dic_mol_kg: Numbers | None = None,
    pco2_atm: Numbers | None = None,
    calcium_mol_kg: Numbers | None = None,
    boron_factor: Numbers = 1.0,
) -> CarbonateState:
    """The whole system from exactly two of alkalinity, pH, DIC and pCO2 (PairError otherwise).

    Closed form for pH with any other, a quadratic in [H+] for DIC with pCO2, bisection on pH for alkalinity with DIC or
    pCO2 (alkalinity rises strictly with pH in both). pCO2 is a partial pressure: not a fugacity, not a mole fraction of
    dry air. Calcium is natural seawater's unless given.

    Alkalinity is defined as by Dickson et al. (2007), the solutions of the six pairs follow from that definition; the
    check values are those of the program of Humphreys et al. (2022).

    Source: WEISS74, LUEKER00, DICKSON90B, MILLERO95, DICKSON90S, DICKSON79, UPPSTROM74, MORRIS66, RILEY65, RILEY67,
        MUCCI83, TAKAHASHI82, DICKSON07, HUMPHREYS22.
    Check value: dic_mol_kg = 2046.708e-6 at alkalinity_mol_kg=2300e-6, ph_total=7.963016, salinity=35, temperature_c=25
        (+-2e-7).
    Check value: pco2_atm = 500.316e-6 at alkalinity_mol_kg=2300e-6, dic_mol_kg=2046.708e-6, salinity=35,
        temperature_c=25 (+-2e-7).
    Check value: omega_aragonite = 2.91388 at alkalinity_mol_kg=2300e-6, pco2_atm=500.316e-6, salinity=35,
        temperature_c=25 (+-0.001).
    """
    given = {
        "alkalinity_mol_kg": alkalinity_mol_kg,
        "ph_total": ph_total,
        "dic_mol_kg": dic_mol_kg,
        "pco2_atm": pco2_atm,
    }
    names = [name for name, value in given.items() if value is not None]
    if len(names) != 2:
        raise PairError(f"give exactly two of {', '.join(given)}; got {', '.join(names) or 'none'}")
    k = equilibria_at(salinity=salinity, temperature_c=temperature_c, boron_factor=boron_factor)
    if calcium_mol_kg is None:
        calcium_mol_kg = seawater.total_calcium_riley1967(salinity=salinity)
    h, co2 = _protons_and_co2(k, alkalinity_mol_kg, ph_total, dic_mol_kg, pco2_atm)
    return _state(k, h, co2, calcium_mol_kg)


def other_alkalinity(*, constants: Equilibria, ph_total: Numbers) -> Values:
    """Alkalinity of all but carbonate at a pH, mol/kg: borate, water, hydrogen sulphate and hydrogen fluoride.

    Source: DICKSON07. Check value: none, tested by test_parts_of_a_water_are_those_of_the_whole_system.
    """
    return _other_alkalinity(constants, _power10(-np.asarray(ph_total, dtype=np.float64)))


def dic_of(*, constants: Equilibria, alkalinity_mol_kg: Numbers, ph_total: Numbers) -> Values:
    """Dissolved inorganic carbon at an alkalinity and a pH, mol/kg, of a water whose constants are known.

    Source: DICKSON07. Check value: none, tested by test_parts_of_a_water_are_those_of_the_whole_system.
    """
    h = _power10(-np.asarray(ph_total, dtype=np.float64))
    return (alkalinity_mol_kg - _other_alkalinity(constants, h)) * _dic_per_carbonate_alkalinity(constants, h)


def ph_total_from_nbs(*, ph_nbs: Numbers, salinity: Numbers, temperature_c: Numbers) -> Values:
    """pH on the total scale from a reading in NBS buffers, at the temperature of the reading.

    pH_T = pH_NBS + log10(fH / s), s = total over seawater scale. The electrode's junction adds 0.02-0.05.

    Source: TAKAHASHI82, DICKSON90S, DICKSON79, MORRIS66, RILEY65, HUMPHREYS22.
    Check value: 7.963016 at ph_nbs=8.1, salinity=35, temperature_c=25 (+-1e-4).
    """
    return np.asarray(ph_nbs, dtype=np.float64) - nbs_minus_total(salinity=salinity, temperature_c=temperature_c)


def ph_nbs_from_total(*, ph_total: Numbers, salinity: Numbers, temperature_c: Numbers) -> Values:
    """What an electrode standardised in NBS buffers reads, from pH on the total scale.

    Source: TAKAHASHI82, DICKSON90S, DICKSON79, MORRIS66, RILEY65, HUMPHREYS22.
    Check value: 8.1 at ph_total=7.963016, salinity=35, temperature_c=25 (+-1e-4).
    """
    return np.asarray(ph_total, dtype=np.float64) + nbs_minus_total(salinity=salinity, temperature_c=temperature_c)


def nbs_minus_total(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """pH in NBS buffers less pH on the total scale.

    Source: TAKAHASHI82, DICKSON90S, DICKSON79, MORRIS66, RILEY65.
    Check value: 0.136984 at salinity=35, temperature_c=25 (+-1e-4).
    """
    water = {"salinity": salinity, "temperature_c": temperature_c}
    seawater_to_total = _seawater_to_total(
        seawater.total_sulphate_morris1966(salinity=salinity) / equilibria.ks_dickson1990(**water),
        seawater.total_fluoride_riley1965(salinity=salinity) / equilibria.kf_dickson_riley1979(**water),
    )
    return _log10(seawater_to_total / equilibria.fh_takahashi1982(**water))


def dic_per_alkalinity(*, ph_total: Numbers, salinity: Numbers, temperature_c: Numbers) -> Values:
    """dDIC/dTA at constant pH, mol per mol: the carbon an addition of alkalinity binds without moving pH.

    r = (h^2 + K1 h + K1 K2) / (K1 h + 2 K1 K2). Borate drops out.

    Source: DERIVED, LUEKER00.
    Check value: none, tested by test_carbon_bound_at_constant_ph_is_the_slope_of_the_system.
    """
    k1 = equilibria.k1_lueker2000(salinity=salinity, temperature_c=temperature_c)
    k2 = equilibria.k2_lueker2000(salinity=salinity, temperature_c=temperature_c)
    h = _power10(-np.asarray(ph_total, dtype=np.float64))
    return (h**2 + k1 * h + k1 * k2) / (k1 * h + 2.0 * k1 * k2)


def covered(
    *, salinity: Numbers, temperature_c: Numbers, alkalinity_mol_kg: Numbers, ph_total: Numbers
) -> NDArray[np.bool_]:
    """Whether the state lies where this module is checked to 2e-4 against an independent program.

    S 28-40, 10-32 C, alkalinity 1000-14000 umol/kg, pH 6-8.8.

    Source: HUMPHREYS22.
    Check value: none, tested by test_the_covered_range_agrees_with_an_independent_program.
    """
    return (
        _within(salinity, COVERED_SALINITY)
        & _within(temperature_c, COVERED_TEMPERATURE_C)
        & _within(alkalinity_mol_kg, COVERED_ALKALINITY_MOL_KG)
        & _within(ph_total, COVERED_PH)
    )


def _protons_and_co2(
    k: Equilibria,
    alkalinity: Numbers | None,
    ph_total: Numbers | None,
    dic: Numbers | None,
    pco2: Numbers | None,
) -> tuple[Values, Values]:
    """[H+] on the total scale and [CO2*] from whichever two of the four are given."""
    co2 = None if pco2 is None else k.k0 * k.fugacity_factor * pco2
    if ph_total is not None:
        h = _power10(-np.asarray(ph_total, dtype=np.float64))
        if co2 is not None:
            return h, co2
        if dic is None:
            assert alkalinity is not None
            dic = (alkalinity - _other_alkalinity(k, h)) * _dic_per_carbonate_alkalinity(k, h)
        return h, dic / _dic_per_co2(k, h)
    if alkalinity is None:
        assert co2 is not None
        assert dic is not None
        h = _protons_from_dic_and_co2(k, dic, co2)
        return h, co2 + 0.0 * h
    if co2 is not None:
        known_co2 = co2
        h = _bisect(k, alkalinity, lambda h: known_co2 * (k.k1 / h + 2.0 * k.k1 * k.k2 / h**2))
        return h, known_co2
    assert dic is not None
    known_dic = dic
    h = _bisect(k, alkalinity, lambda h: known_dic / _dic_per_carbonate_alkalinity(k, h))
    return h, known_dic / _dic_per_co2(k, h)


def _bisect(k: Equilibria, alkalinity: Numbers, carbonate_alkalinity: Callable[[Values], Values]) -> Values:
    """[H+] at which the alkalinity comes out as given, to the last bit of pH; NaN where none in pH 3-12 does."""

    def shortfall(ph: Values) -> Values:
        h = _power10(-ph)
        return carbonate_alkalinity(h) + _other_alkalinity(k, h) - alkalinity

    shape = shortfall(np.asarray(7.0)).shape
    low, high = np.full(shape, LOWEST_PH), np.full(shape, HIGHEST_PH)
    reachable = (shortfall(low) <= 0.0) & (shortfall(high) >= 0.0)
    while True:
        middle = 0.5 * (low + high)
        if np.all((middle <= low) | (middle >= high)):
            break
        below = shortfall(middle) < 0.0
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.where(reachable, _power10(-middle), np.nan)


def _protons_from_dic_and_co2(k: Equilibria, dic: Numbers, co2: Values) -> Values:
    """The positive root of (DIC - [CO2*]) h^2 - K1 [CO2*] h - K1 K2 [CO2*] = 0; NaN where CO2 exceeds DIC."""
    ionised = dic - co2
    ionised = np.where(ionised > 0.0, ionised, np.nan)
    first, second = k.k1 * co2, k.k1 * k.k2 * co2
    return (first + np.sqrt(first**2 + 4.0 * ionised * second)) / (2.0 * ionised)


def _other_alkalinity(k: Equilibria, h: Values) -> Values:
    """Alkalinity of borate and water less that of free protons, hydrogen sulphate and hydrogen fluoride."""
    free = h / k.free_to_total
    return (
        k.borate_mol_kg * k.kb / (k.kb + h)
        + k.kw / h
        - free
        - k.sulphate_mol_kg / (1.0 + k.ks / free)
        - k.fluoride_mol_kg / (1.0 + k.kf / free)
    )


def _dic_per_carbonate_alkalinity(k: Equilibria, h: Values) -> Values:
    product = k.k1 * k.k2
    return (h**2 + k.k1 * h + product) / (k.k1 * h + 2.0 * product)


def _dic_per_co2(k: Equilibria, h: Values) -> Values:
    return 1.0 + k.k1 / h + k.k1 * k.k2 / h**2


def _state(k: Equilibria, h: Values, co2: Values, calcium: Numbers) -> CarbonateState:
    bicarbonate = k.k1 * co2 / h
    carbonate = bicarbonate * k.k2 / h
    ph_total = -_log10(h)
    fco2 = co2 / k.k0
    parts = CarbonateState(
        alkalinity_mol_kg=bicarbonate + 2.0 * carbonate + _other_alkalinity(k, h),
        dic_mol_kg=co2 + bicarbonate + carbonate,
        pco2_atm=fco2 / k.fugacity_factor,
        fco2_atm=fco2,
        co2_mol_kg=co2,
        bicarbonate_mol_kg=bicarbonate,
        carbonate_mol_kg=carbonate,
        ph_total=ph_total,
        ph_nbs=ph_total + k.nbs_minus_total,
        omega_aragonite=calcium * carbonate / k.ksp_aragonite,
        omega_calcite=calcium * carbonate / k.ksp_calcite,
    )
    whole = np.broadcast_arrays(*(getattr(parts, field.name) for field in fields(parts)))
    return CarbonateState(*whole)


def _seawater_to_total(sulphate_over_ks: Values, fluoride_over_kf: Values) -> Values:
    """[H+] on the total scale over [H+] on the seawater scale."""
    return (1.0 + sulphate_over_ks) / (1.0 + sulphate_over_ks + fluoride_over_kf)


def _within(value: Numbers, limits: tuple[float, float]) -> NDArray[np.bool_]:
    low, high = limits
    return (np.asarray(value) >= low) & (np.asarray(value) <= high)


def _log10(value: Values) -> Values:
    result: Values = np.log10(value)
    return result


def _power10(exponent: Values) -> Values:
    result: Values = np.power(10.0, exponent)
    return result
