"""What a reactor's drip brings a system, the drip it needs, and where the system's alkalinity settles.

Two kinds of effluent. At constant gas flow and drip what dissolves is constant: the effluent rises and falls with the
tank and its supply brings nothing back to where it was. With the chamber's pH controlled, or the effluent at its
ceiling, the effluent is constant and the supply shrinks as the tank rises. Demand answers too: corals calcify faster at
higher saturation, U = U0 (1 + b (Omega - Omega0)), and that usually brings a system back sooner than its drip does.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from service.science import Numbers, Values
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.seawater import density
from service.science.transition import response_days

MG_CALCIUM_PER_MEQ = MOLAR_MASS_G_MOL["Ca"] / 2.0
"""20.04 mg of calcium with each meq from pure calcium carbonate."""
MG_CALCIUM_PER_MEQ_CORALLINE = 17.0
"""The same with 15 mol% magnesium carbonate in it."""
MG_MEDIA_PER_MEQ = MOLAR_MASS_G_MOL["CaCO3"] / 2.0
"""50.04 mg of calcium carbonate dissolves for each meq."""
UNKNOWN_ANSWER = (0.0, 0.4)
"""b, per unit of Omega, when the record does not tell: common ranges of published reviews, from memory."""


class Mode(StrEnum):
    """What holds still: the gas, the chamber's pH, or an effluent that can rise no further."""

    GAS_LIMITED = "gas_limited"
    PH_CONTROLLED = "ph_controlled"
    AT_CEILING = "at_ceiling"


@dataclass(frozen=True, slots=True)
class Supply:
    """What the drip brings in a day; all fields one shape. calcium is that of pure calcium carbonate."""

    alkalinity_meq_d: Values
    calcium_g_d: Values
    dissolved_g_d: Values


@dataclass(frozen=True, slots=True, kw_only=True)
class Flows:
    """What moves a system's alkalinity now; arrays of any shape that broadcast.

    demand_meq_d is that at the present alkalinity, without what other supply covers; other_supply_meq_d what dosing,
    limewater and the rest bring. exchange_l_d: continuous change of water for water of exchange_alkalinity_meq_l.
    """

    volume_l: Numbers
    alkalinity_meq_l: Numbers
    demand_meq_d: Numbers
    drip_l_d: Numbers
    effluent_alkalinity_meq_l: Numbers
    other_supply_meq_d: Numbers = 0.0
    exchange_l_d: Numbers = 0.0
    exchange_alkalinity_meq_l: Numbers = 0.0


@dataclass(frozen=True, slots=True)
class Answering:
    """How demand answers to saturation: b per unit of Omega, and between what it lies."""

    value: Values
    low: Values
    high: Values
    is_fitted: bool


@dataclass(frozen=True, slots=True)
class SettlesAt:
    """Where alkalinity comes to rest, how long it takes, and how it moves now; all arrays one shape.

    low and high come from the ends of b: inf or -inf where an end brings nothing back. alkalinity_meq_l and time_days
    are NaN where nothing restores even at the middle of b. time_days is the time to 63 % of the way.
    """

    mode: Mode
    alkalinity_meq_l: Values
    low_meq_l: Values
    high_meq_l: Values
    time_days: Values
    shortest_days: Values
    longest_days: Values
    change_meq_l_d: Values


def supply(
    *, drip_l_d: Numbers, effluent_alkalinity_meq_l: Numbers, tank_alkalinity_meq_l: Numbers, purity: Numbers = 1.0
) -> Supply:
    """Alkalinity, calcium and media that the drip brings in a day; negative where the effluent is below the tank.

    Q (A_eff - A) meq; 20.04 mg Ca and 50.04 mg calcium carbonate per meq; media over its purity.

    Source: DERIVED, IUPAC05.
    Check value: alkalinity_meq_d = 500 at drip_l_d=82.467, effluent_alkalinity_meq_l=8.91625,
        tank_alkalinity_meq_l=2.8532 (+-0.01).
    Check value: dissolved_g_d = 25.02 at drip_l_d=82.467, effluent_alkalinity_meq_l=8.91625,
        tank_alkalinity_meq_l=2.8532 (+-0.01).
    Check value: calcium_g_d = 10.02 at drip_l_d=82.467, effluent_alkalinity_meq_l=8.91625,
        tank_alkalinity_meq_l=2.8532 (+-0.01).
    """
    meq = np.asarray(drip_l_d, dtype=np.float64) * (
        np.asarray(effluent_alkalinity_meq_l, dtype=np.float64) - tank_alkalinity_meq_l
    )
    parts = np.broadcast_arrays(meq, meq * MG_CALCIUM_PER_MEQ / 1000.0, meq * MG_MEDIA_PER_MEQ / 1000.0 / purity)
    return Supply(*parts)


def gas_use_g_d(*, drip_l_d: Numbers, added_co2_mol_kg: Numbers, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Carbon dioxide the chamber takes up in a day by its chemistry, g/d: C Q rho M.

    Source: DERIVED, IUPAC05, IOC10.
    Check value: 19.76 at drip_l_d=82.467, added_co2_mol_kg=5.3192e-3, salinity=35, temperature_c=25 (+-0.02).
    """
    kilograms = drip_l_d * density(salinity=salinity, temperature_c=temperature_c) / 1000.0
    return kilograms * added_co2_mol_kg * MOLAR_MASS_G_MOL["CO2"]


def required_drip_l_d(
    *,
    demand_meq_d: Numbers,
    effluent_alkalinity_meq_l: Numbers,
    target_alkalinity_meq_l: Numbers,
    other_supply_meq_d: Numbers = 0.0,
) -> Values:
    """Drip that meets the demand at a target, if the effluent stays as it is: (U - I)/(A_eff - A).

    NaN where the effluent is not above the target: no drip does. At constant gas the effluent falls when the drip
    rises; read both again after a change.

    Source: DERIVED.
    Check value: 82.467 at demand_meq_d=500, effluent_alkalinity_meq_l=8.91625, target_alkalinity_meq_l=2.8532
        (+-0.005).
    """
    above = np.asarray(effluent_alkalinity_meq_l, dtype=np.float64) - target_alkalinity_meq_l
    return (demand_meq_d - np.asarray(other_supply_meq_d)) / np.where(above > 0.0, above, np.nan)


def required_effluent_meq_l(
    *,
    demand_meq_d: Numbers,
    drip_l_d: Numbers,
    target_alkalinity_meq_l: Numbers,
    other_supply_meq_d: Numbers = 0.0,
) -> Values:
    """Effluent alkalinity that meets the demand at a target with a drip: A + (U - I)/Q. NaN without a drip.

    Source: DERIVED.
    Check value: 8.91625 at demand_meq_d=500, drip_l_d=82.467, target_alkalinity_meq_l=2.8532 (+-0.001).
    """
    drip = np.asarray(drip_l_d, dtype=np.float64)
    return target_alkalinity_meq_l + (demand_meq_d - np.asarray(other_supply_meq_d)) / np.where(drip > 0, drip, np.nan)


def settles_at(*, mode: Mode, flows: Flows, omega_per_meq_l: Numbers, answering: Answering | None = None) -> SettlesAt:
    """Where alkalinity settles in a mode, between the ends of what demand's answer to saturation may be.

    V dA/dt = S + I + q (A_x - A) - U0 (1 + b s (A - A0)) with s = dOmega/dA at constant pH (exact there), S constant at
    constant gas, Q (A_eff - A) otherwise.

    Source: DERIVED, PRACTICE. Check value: none, tested by test_where_a_system_settles.
    """
    answering = answering or unknown_answering()
    low_b, middle_b, high_b = answering.low, answering.value, answering.high
    change = net_change_meq_l_d(flows=flows)
    rates = [
        restoring_per_day(mode=mode, flows=flows, omega_per_meq_l=omega_per_meq_l, b=b)
        for b in (low_b, middle_b, high_b)
    ]
    ends = [_rest(flows, change, rate) for rate in (rates[0], rates[2])]
    times = [_time(rate) for rate in rates]
    middle = np.where(rates[1] > 0.0, _rest(flows, change, rates[1]), np.nan)
    parts = np.broadcast_arrays(
        middle,
        np.minimum(*ends),
        np.maximum(*ends),
        np.where(rates[1] > 0.0, times[1], np.nan),
        times[2],
        times[0],
        change,
    )
    return SettlesAt(mode, *parts)


def alkalinity_after_meq_l(*, mode: Mode, flows: Flows, omega_per_meq_l: Numbers, b: Numbers, days: Numbers) -> Values:
    """Alkalinity after some days in a mode: A0 + dA/dt g, g = (1 - exp(-k t))/k, k the restoring rate.

    Source: DERIVED. Check value: none, tested by test_the_worked_approach.
    """
    rate = restoring_per_day(mode=mode, flows=flows, omega_per_meq_l=omega_per_meq_l, b=b)
    gained = response_days(exchange_per_day=np.asarray(rate), dt_days=np.asarray(days, dtype=np.float64))
    return flows.alkalinity_meq_l + net_change_meq_l_d(flows=flows) * gained


def net_change_meq_l_d(*, flows: Flows) -> Values:
    """How alkalinity moves now, meq/L a day: everything in less everything out, over the volume.

    Source: DERIVED. Check value: none, tested by test_where_a_system_settles.
    """
    a = np.asarray(flows.alkalinity_meq_l, dtype=np.float64)
    reactor = flows.drip_l_d * (flows.effluent_alkalinity_meq_l - a)
    exchange = flows.exchange_l_d * (flows.exchange_alkalinity_meq_l - a)
    return np.asarray((reactor + exchange + flows.other_supply_meq_d - flows.demand_meq_d) / flows.volume_l)


def restoring_per_day(*, mode: Mode, flows: Flows, omega_per_meq_l: Numbers, b: Numbers) -> Values:
    """Share of a displacement that a day takes back: exchange, demand's answer, and the drip unless gas limits it.

    Source: DERIVED. Check value: none, tested by test_where_a_system_settles.
    """
    drip = 0.0 if mode is Mode.GAS_LIMITED else flows.drip_l_d
    answer = flows.demand_meq_d * np.asarray(b, dtype=np.float64) * omega_per_meq_l
    return np.asarray((drip + np.asarray(flows.exchange_l_d) + answer) / flows.volume_l)


def unknown_answering() -> Answering:
    """What stands for a system whose record does not tell: the range of reviews.

    Source: PRACTICE. Check value: none, definition.
    """
    low, high = (np.asarray(b) for b in UNKNOWN_ANSWER)
    return Answering(0.5 * (low + high), low, high, is_fitted=False)


def _rest(flows: Flows, change: Values, rate: Values) -> Values:
    """A0 + (dA/dt)/k: unbounded in the direction it moves where nothing restores."""
    safe = np.where(rate > 0.0, rate, 1.0)
    away = np.where(change == 0.0, 0.0, np.sign(change) * np.inf)
    return np.asarray(flows.alkalinity_meq_l + np.where(rate > 0.0, change / safe, away))


def _time(rate: Values) -> Values:
    return np.asarray(np.where(rate > 0.0, 1.0 / np.where(rate > 0.0, rate, 1.0), np.inf))
