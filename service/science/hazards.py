"""Gas that runs away: how fast a tank's pH falls, how far, and what a low-pH cut-off can do about it.

Caution: these are models for planning. A stuck valve or a welded relay defeats any cut-off; what does not dissolve goes
to the room. Tank cut-off and chamber pH control are two things. Nothing here is a safety system.

The tank is well mixed, its alkalinity constant: d DIC/dt = F/m - kLa ([CO2*] - [CO2*]0), with F the gas that dissolves,
m the tank's mass of water and [CO2*]0 what the surface holds steady before the fault.
"""

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import CarbonateState, carbonate_system, dic_per_alkalinity, ph_total_from_nbs
from service.science.chamber import ceiling_by_pco2
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.seawater import density

PATH_POINTS = 241
"""Between two pH values, along which exchange with the air is summed."""
LARGEST_FLOW_G_H = 1e6
BELOW_NIGHT_MINIMUM = (0.15, 0.20)
"""Common practice: how far a cut-off lies below the lowest pH of the nights."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tank:
    """A tank before the fault; arrays of any shape that broadcast. ph_nbs is its own steady value, best the lowest."""

    volume_l: Numbers
    alkalinity_mol_kg: Numbers
    ph_nbs: Numbers
    salinity: Numbers
    temperature_c: Numbers
    boron_factor: Numbers = 1.0

    def state_at(self, ph_nbs: Numbers) -> CarbonateState:
        """The tank's water at another pH, alkalinity as it is."""
        return self._state(ph_nbs, axes=0)

    def along(self, ph_nbs: Values) -> CarbonateState:
        """The tank's water along pH values on a last axis of their own."""
        return self._state(ph_nbs, axes=1)

    def _state(self, ph_nbs: Numbers, axes: int) -> CarbonateState:
        alkalinity, salinity, celsius, boron = (
            np.asarray(x, dtype=np.float64)[(..., *[None] * axes)]
            for x in (self.alkalinity_mol_kg, self.salinity, self.temperature_c, self.boron_factor)
        )
        return carbonate_system(
            alkalinity_mol_kg=alkalinity,
            ph_total=ph_total_from_nbs(ph_nbs=ph_nbs, salinity=salinity, temperature_c=celsius),
            salinity=salinity,
            temperature_c=celsius,
            boron_factor=boron,
        )

    def mass_kg(self) -> Values:
        """Mass of its water."""
        return self.volume_l * density(salinity=self.salinity, temperature_c=self.temperature_c) / 1000.0


@dataclass(frozen=True, slots=True)
class RunAway:
    """Both bounds on how fast a pH is reached; all fields one shape, hours inf where it never is.

    gas_g: what must dissolve. hours: all the gas reaches the water. hours_through_drip: only what the drip carries,
    drip_g_h; to_room_g_h is then the rest. Small tanks may be there in minutes.
    """

    gas_g: Values
    hours: Values
    hours_through_drip: Values
    drip_g_h: Values
    to_room_g_h: Values


@dataclass(frozen=True, slots=True)
class WholeCylinder:
    """A whole cylinder let into a tank: lowest pH (NBS), what dissolves and what goes to the room; one shape."""

    ph_nbs: Values
    dissolved_kg: Values
    to_room_kg: Values


@dataclass(frozen=True, slots=True)
class CutOff:
    """Suggested tank cut-off, pH (NBS), between low and high, and the night minimum it comes from."""

    low_ph_nbs: Values
    high_ph_nbs: Values
    night_minimum_ph_nbs: Values


def gas_to_reach_g(*, tank: Tank, to_ph_nbs: Numbers) -> Values:
    """Carbon dioxide that brings the tank to a lower pH without any exchange, g.

    Source: DERIVED, LUEKER00, TAKAHASHI82. Check value: none, tested by test_the_worked_run_away.
    """
    rise = tank.state_at(to_ph_nbs).dic_mol_kg - tank.state_at(tank.ph_nbs).dic_mol_kg
    return np.maximum(rise, 0.0) * tank.mass_kg() * MOLAR_MASS_G_MOL["CO2"]


def hours_to_reach(
    *,
    tank: Tank,
    to_ph_nbs: Numbers,
    flow_g_h: Numbers,
    kla_per_hour: Numbers = 0.0,
    from_ph_nbs: Numbers | None = None,
) -> Values:
    """Hours until the tank is at a lower pH under a flow that dissolves; inf where the surface keeps up with it.

    Exchange is towards the tank's own steady state (tank.ph_nbs), from which it starts unless another pH is given.

    Source: DERIVED, LEWIS24, LUEKER00, TAKAHASHI82. Check value: none, tested by test_gas_exchange_is_integrated_right.
    """
    start = tank.ph_nbs if from_ph_nbs is None else from_ph_nbs
    carbon, free = _path(tank, start, to_ph_nbs)
    inflow = np.asarray(flow_g_h) / MOLAR_MASS_G_MOL["CO2"] / tank.mass_kg()
    steady = tank.state_at(tank.ph_nbs).co2_mol_kg
    middle = 0.5 * (free[..., 1:] + free[..., :-1])
    net = inflow[..., None] - np.asarray(kla_per_hour)[..., None] * (middle - steady[..., None])
    reached = (net > 0.0).all(axis=-1)
    hours = (np.maximum(np.diff(carbon, axis=-1), 0.0) / np.where(net > 0.0, net, 1.0)).sum(axis=-1)
    return np.asarray(np.where(reached | (hours == 0.0), hours, np.inf))


def drip_carry_over_g_h(
    *, tank: Tank, drip_l_d: Numbers, chamber_pco2_atm: Numbers = 1.0, dissolves_media: bool = True
) -> Values:
    """Carbon dioxide a drip brings a tank from a chamber full of gas, g/h: what must leave to hold the tank's pH.

    X = dDIC - r dTA of an effluent at its ceiling for that pressure; without media the tank's own alkalinity.

    Source: DERIVED, MUCCI83, WEISS74, LUEKER00. Check value: none, tested by test_only_what_the_drip_carries.
    """
    water = {"salinity": tank.salinity, "temperature_c": tank.temperature_c, "boron_factor": tank.boron_factor}
    before = tank.state_at(tank.ph_nbs)
    alkalinity: Numbers = tank.alkalinity_mol_kg
    if dissolves_media:
        alkalinity = ceiling_by_pco2(
            chamber_pco2_atm=chamber_pco2_atm, inflow_alkalinity_mol_kg=tank.alkalinity_mol_kg, **water
        ).alkalinity_mol_kg
    effluent = carbonate_system(alkalinity_mol_kg=alkalinity, pco2_atm=chamber_pco2_atm, **water)
    r = dic_per_alkalinity(ph_total=before.ph_total, salinity=tank.salinity, temperature_c=tank.temperature_c)
    excess = effluent.dic_mol_kg - before.dic_mol_kg - r * (effluent.alkalinity_mol_kg - before.alkalinity_mol_kg)
    kg_h = np.asarray(drip_l_d) / 24.0 * density(salinity=tank.salinity, temperature_c=tank.temperature_c) / 1000.0
    return np.asarray(excess * kg_h * MOLAR_MASS_G_MOL["CO2"])


def run_away(
    *,
    tank: Tank,
    to_ph_nbs: Numbers,
    flow_g_h: Numbers,
    drip_l_d: Numbers,
    chamber_pco2_atm: Numbers = 1.0,
    kla_per_hour: Numbers = 0.0,
) -> RunAway:
    """Both bounds: gas itself reaches the tank, or only what the drip carries at the chamber's pressure.

    Without kLa the tank exchanges nothing with the air: the faster, cautious answer.

    Source: DERIVED, LUEKER00, LEWIS24. Check value: none, tested by test_the_worked_run_away.
    """
    carried = drip_carry_over_g_h(tank=tank, drip_l_d=drip_l_d, chamber_pco2_atm=chamber_pco2_atm)
    carried = np.minimum(carried, flow_g_h)
    all_of_it, through_drip = (
        hours_to_reach(tank=tank, to_ph_nbs=to_ph_nbs, flow_g_h=flow, kla_per_hour=kla_per_hour)
        for flow in (flow_g_h, carried)
    )
    gas = gas_to_reach_g(tank=tank, to_ph_nbs=to_ph_nbs)
    return RunAway(*np.broadcast_arrays(gas, all_of_it, through_drip, carried, flow_g_h - carried))


def whole_cylinder(*, tank: Tank, gas_kg: Numbers) -> WholeCylinder:
    """The lowest pH a whole cylinder can bring: all of it dissolved, but no further than 1 atm of carbon dioxide.

    Source: DERIVED, WEISS74, LUEKER00. Check value: none, tested by test_a_whole_cylinder_has_a_floor.
    """
    water = {
        "salinity": tank.salinity,
        "temperature_c": tank.temperature_c,
        "boron_factor": tank.boron_factor,
        "alkalinity_mol_kg": tank.alkalinity_mol_kg,
    }
    before, full = tank.state_at(tank.ph_nbs), carbonate_system(pco2_atm=1.0, **water)
    kilograms, molar_kg = tank.mass_kg(), MOLAR_MASS_G_MOL["CO2"] / 1000.0
    room_for = np.maximum(full.dic_mol_kg - before.dic_mol_kg, 0.0) * kilograms * molar_kg
    dissolved = np.minimum(np.asarray(gas_kg, dtype=np.float64), room_for)
    after = carbonate_system(dic_mol_kg=before.dic_mol_kg + dissolved / molar_kg / kilograms, **water)
    return WholeCylinder(*np.broadcast_arrays(after.ph_nbs, dissolved, gas_kg - dissolved))


def flow_carried_for_ever_g_h(*, tank: Tank, lowest_ph_nbs: Numbers, kla_per_hour: Numbers) -> Values:
    """The flow at which the tank comes to rest at a pH: kLa ([CO2*] - [CO2*]0) m M.

    Source: DERIVED, LEWIS24. Check value: none, tested by test_a_flow_the_surface_carries.
    """
    free = tank.state_at(lowest_ph_nbs).co2_mol_kg - tank.state_at(tank.ph_nbs).co2_mol_kg
    return np.asarray(kla_per_hour * free * tank.mass_kg() * MOLAR_MASS_G_MOL["CO2"])


def largest_flow_g_h(
    *,
    tank: Tank,
    cut_off_ph_nbs: Numbers,
    lowest_ph_nbs: Numbers,
    delay_hours: Numbers,
    held_gas_g: Numbers = 0.0,
    kla_per_hour: Numbers = 0.0,
) -> Values:
    """The largest flow at which, in this model, pH stays above a value when the valve shuts at the cut-off.

    delay_hours is from the water passing the cut-off to the gas having stopped (probe, mixing, relay, valve);
    held_gas_g what chamber and line still give after that. 0 where the held gas alone goes further. In this model only:
    a stuck valve or welded relay defeats any cut-off.

    Source: DERIVED, LUEKER00, LEWIS24. Check value: none, tested by test_the_largest_flow_just_reaches_the_lowest_ph.
    """
    last = tank.state_at(lowest_ph_nbs).dic_mol_kg - _per_kg(tank, held_gas_g)
    spare = last - tank.state_at(cut_off_ph_nbs).dic_mol_kg
    reach = carbonate_system(
        alkalinity_mol_kg=tank.alkalinity_mol_kg,
        dic_mol_kg=last,
        salinity=tank.salinity,
        temperature_c=tank.temperature_c,
        boron_factor=tank.boron_factor,
    ).ph_nbs
    shape = np.broadcast_shapes(np.shape(spare), np.shape(delay_hours), np.shape(kla_per_hour), np.shape(tank.volume_l))
    low, high = np.full(shape, -6.0), np.full(shape, np.log(LARGEST_FLOW_G_H))
    for _ in range(50):
        middle = 0.5 * (low + high)
        hours = hours_to_reach(
            tank=tank, from_ph_nbs=cut_off_ph_nbs, to_ph_nbs=reach, flow_g_h=_exp(middle), kla_per_hour=kla_per_hour
        )
        in_time = hours >= delay_hours
        low, high = np.where(in_time, middle, low), np.where(in_time, high, middle)
    return np.asarray(np.where(spare > 0.0, _exp(low), 0.0))


def kla_from_relaxation_per_hour(*, tank: Tank, early_ph_nbs: Numbers, late_ph_nbs: Numbers, hours: Numbers) -> Values:
    """Gas exchange coefficient from how pH came back after a disturbance, towards the tank's own steady pH.

    kLa = (integral of d DIC/([CO2*]0 - [CO2*]))/t; lights off or steady, nothing added meanwhile. NaN where pH did not
    move towards the steady value.

    Source: DERIVED, LEWIS24, LUEKER00. Check value: none, tested by test_exchange_is_found_from_a_relaxation.
    """
    carbon, free = _path(tank, early_ph_nbs, late_ph_nbs)
    steady = tank.state_at(tank.ph_nbs).co2_mol_kg[..., None]
    apart = steady - 0.5 * (free[..., 1:] + free[..., :-1])
    gained = np.diff(carbon, axis=-1)
    moves_back = ((gained * apart) > 0.0).all(axis=-1)
    total = (gained / np.where(apart == 0.0, np.nan, apart)).sum(axis=-1)
    return np.asarray(np.where(moves_back, total / np.asarray(hours), np.nan))


def kla_from_balance_per_hour(
    *, tank: Tank, added_co2_mol_kg: Numbers, drip_l_d: Numbers, room_co2_ppm: Numbers
) -> Values:
    """Gas exchange coefficient from the steady balance: all the gas added leaves, C Q/(([CO2*] - [CO2*]air) m).

    Photosynthesis and respiration are left out, and the room's own carbon dioxide must be measured. NaN where the room
    holds as much as the tank: the balance cannot tell.

    Source: DERIVED, LEWIS24, WEISS74. Check value: none, tested by test_exchange_is_found_from_the_balance.
    """
    state = tank.state_at(tank.ph_nbs)
    in_air = state.co2_mol_kg / state.pco2_atm * np.asarray(room_co2_ppm) * 1e-6
    apart = state.co2_mol_kg - in_air
    per_hour = np.asarray(added_co2_mol_kg) * drip_l_d / 24.0 / tank.volume_l
    return np.asarray(per_hour / np.where(apart > 0.0, apart, np.nan))


def suggested_cut_off(*, daily_lowest_ph_nbs: Values) -> CutOff:
    """A tank cut-off 0.15-0.2 below the lowest pH of the nights given (thirty of them; last axis, NaN left out).

    Common practice. A fixed 7.8 sits inside the night range of many systems and would trip nightly.

    Source: PRACTICE. Check value: none, tested by test_a_cut_off_lies_below_the_nights.
    Shapes: the last axis is the nights.
    """
    nights = np.asarray(daily_lowest_ph_nbs, dtype=np.float64)
    lowest = np.where(np.isnan(nights), np.inf, nights).min(axis=-1)
    lowest = np.where(np.isinf(lowest), np.nan, lowest)
    less, more = BELOW_NIGHT_MINIMUM
    return CutOff(lowest - more, lowest - less, lowest)


def _path(tank: Tank, start_ph: Numbers, end_ph: Numbers) -> tuple[Values, Values]:
    """DIC and [CO2*] along even steps of pH from one to the other, on a last axis."""
    share = np.linspace(0.0, 1.0, PATH_POINTS)
    start, end = (np.asarray(x, dtype=np.float64)[..., None] for x in (start_ph, end_ph))
    state = tank.along(start + (end - start) * share)
    return state.dic_mol_kg, state.co2_mol_kg


def _per_kg(tank: Tank, gas_g: Numbers) -> Values:
    return np.asarray(gas_g / (MOLAR_MASS_G_MOL["CO2"] * tank.mass_kg()))


def _exp(exponent: Values) -> Values:
    result: Values = np.exp(exponent)
    return result
