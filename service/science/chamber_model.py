"""A chamber that has been read once, asked what it would do at another gas flow, drip or pH.

Two numbers are taken from its readings. kappa, L/d: how fast its media dissolve below their ceiling,

    Q (TA - TA_in) = kappa (TA_max(pH) - TA),     TA_max: aragonite saturation 1 at the chamber's pH

and the carbon dioxide it dissolves of what is fed, from its chemistry. Both are taken to stay: media of the same
surface, the same part of the gas. One pair of readings fixes them; how far to trust it, the errors of the readings say.
Dissolution in proportion to the distance from saturation is a first-order law. Plummer, Wigley & Parkhurst (1978) have
it for calcite in water with much carbon dioxide: at one pH and pressure the way back grows with the ion product. In
seawater near saturation measured orders of (1 - Omega) reach 3 to 4.5 (Naviaux et al. 2020), so a large step is better
taken in two.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.chamber import Ceiling, ceiling_by_ph

LOWEST_PH_NBS, HIGHEST_PH_NBS = 5.0, 8.5
"""Where a chamber's pH is looked for."""
HALVINGS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A chamber as it was read; arrays of any shape that broadcast. Temperatures are those of the pH readings."""

    drip_l_d: Numbers
    inflow_alkalinity_mol_kg: Numbers
    inflow_ph_nbs: Numbers
    effluent_alkalinity_mol_kg: Numbers
    effluent_ph_nbs: Numbers
    salinity: Numbers = 35.0
    inflow_temperature_c: Numbers = 25.0
    effluent_temperature_c: Numbers = 25.0
    boron_factor: Numbers = 1.0


@dataclass(frozen=True, slots=True)
class Setting:
    """A chamber at rest; all fields one shape.

    gas_fraction: gas dissolved a day over what was dissolved when it was read; supply_fraction: alkalinity brought a
    day over what was brought then.
    """

    drip_l_d: Values
    ph_nbs: Values
    alkalinity_mol_kg: Values
    added_co2_mol_kg: Values
    gas_fraction: Values
    supply_fraction: Values


def dissolving_l_d(*, running: Running) -> Values:
    """kappa: water that the media would bring to its ceiling a day; NaN at the ceiling, above it, or below the tank.

    Source: DERIVED, PLUMMER78, MUCCI83.
    Check value: none, tested by test_a_chamber_asked_for_what_it_does_answers_what_was_read.
    """
    gained = np.asarray(running.effluent_alkalinity_mol_kg, dtype=np.float64) - running.inflow_alkalinity_mol_kg
    room = (
        ceiling(running=running, ph_nbs=running.effluent_ph_nbs).alkalinity_mol_kg - running.effluent_alkalinity_mol_kg
    )
    possible = (gained > 0.0) & (room > 0.0)
    return np.where(possible, running.drip_l_d * gained / np.where(possible, room, 1.0), np.nan)


def at_gas_and_drip(*, running: Running, gas_fraction: Numbers, drip_l_d: Numbers) -> Setting:
    """Where the chamber comes to rest at another gas flow (over the present one) and drip, by halving its pH.

    NaN where the readings fix no chamber (see `dissolving_l_d`) or show no gas.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_a_simulated_reactor_goes_where_the_model_says.
    """
    kappa, added = dissolving_l_d(running=running), added_co2(running=running)
    drip = np.asarray(drip_l_d, dtype=np.float64)
    wanted = added * gas_fraction * running.drip_l_d / drip
    low, high = (np.broadcast_to(end, np.shape(kappa * wanted)) for end in (LOWEST_PH_NBS, HIGHEST_PH_NBS))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        too_acid = _setting(running, kappa, added, drip, middle).added_co2_mol_kg > wanted
        low, high = np.where(too_acid, middle, low), np.where(too_acid, high, middle)
    found = _setting(running, kappa, added, drip, 0.5 * (low + high))
    return _nan_unless(np.isfinite(kappa) & (added > 0.0) & (drip > 0.0), found)


def at_ph_and_drip(*, running: Running, chamber_ph_nbs: Numbers, drip_l_d: Numbers) -> Setting:
    """Where a chamber held at a pH comes to rest with another drip, and the gas that takes.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_a_chamber_asked_for_what_it_does_answers_what_was_read.
    """
    kappa, added = dissolving_l_d(running=running), added_co2(running=running)
    drip = np.asarray(drip_l_d, dtype=np.float64)
    found = _setting(running, kappa, added, drip, np.asarray(chamber_ph_nbs, dtype=np.float64))
    return _nan_unless(np.isfinite(kappa) & (drip > 0.0), found)


def for_supply_at_drip(*, running: Running, supply_fraction: Numbers) -> Setting:
    """What pH, and so what gas, brings so many times the present supply with the present drip.

    The effluent must be TA_in + f (TA - TA_in), the ceiling as far above it as kappa asks; the pH with that ceiling by
    halving. NaN where no pH above 5 does.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_ways_to_more_supply_lead_back_to_it.
    """
    kappa, added = dissolving_l_d(running=running), added_co2(running=running)
    fraction = np.asarray(supply_fraction, dtype=np.float64)
    gained = fraction * (np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg)
    needed = running.inflow_alkalinity_mol_kg + gained * (1.0 + running.drip_l_d / kappa)
    low, high = (np.broadcast_to(end, np.shape(needed)) for end in (LOWEST_PH_NBS, HIGHEST_PH_NBS))
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        enough = ceiling(running=running, ph_nbs=middle).alkalinity_mol_kg > needed
        low, high = np.where(enough, middle, low), np.where(enough, high, middle)
    found = _setting(running, kappa, added, np.asarray(running.drip_l_d, dtype=np.float64), 0.5 * (low + high))
    return _nan_unless(np.isfinite(kappa) & (0.5 * (low + high) > LOWEST_PH_NBS + 1e-6), found)


def for_supply_at_ph(*, running: Running, supply_fraction: Numbers) -> Setting:
    """What drip brings so many times the present supply with the chamber held at its pH.

    S = Q kappa (TA_max - TA_in)/(Q + kappa), so Q = S kappa/(kappa (TA_max - TA_in) - S); NaN where even a flood does
    not bring it.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_ways_to_more_supply_lead_back_to_it.
    """
    kappa = dissolving_l_d(running=running)
    gained = np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg
    wanted = np.asarray(supply_fraction) * running.drip_l_d * gained
    room = ceiling(running=running, ph_nbs=running.effluent_ph_nbs).alkalinity_mol_kg - running.inflow_alkalinity_mol_kg
    left = kappa * room - wanted
    drip = np.where(left > 0.0, wanted * kappa / np.where(left > 0.0, left, 1.0), np.nan)
    return at_ph_and_drip(running=running, chamber_ph_nbs=running.effluent_ph_nbs, drip_l_d=drip)


def _setting(running: Running, kappa: Values, added_before: Values, drip: Values, ph_nbs: Values) -> Setting:
    """The chamber at rest at a pH and a drip: closed form."""
    top = ceiling(running=running, ph_nbs=ph_nbs).alkalinity_mol_kg
    alkalinity = (drip * running.inflow_alkalinity_mol_kg + kappa * top) / (drip + kappa)
    added = added_co2(running=replace(running, effluent_alkalinity_mol_kg=alkalinity, effluent_ph_nbs=ph_nbs))
    gained = np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg
    before = running.drip_l_d * np.where(gained > 0.0, gained, np.nan)
    gas_before = running.drip_l_d * np.where(added_before > 0.0, added_before, np.nan)
    parts = np.broadcast_arrays(
        drip,
        ph_nbs,
        alkalinity,
        added,
        drip * added / gas_before,
        drip * (alkalinity - running.inflow_alkalinity_mol_kg) / before,
    )
    return Setting(*parts)


def added_co2(*, running: Running) -> Values:
    """C = DIC_out - DIC_in - D, mol/kg; not above zero where the readings show no gas.

    Source: DERIVED, LUEKER00.
    Check value: none, tested by test_the_chamber_of_the_worked_case.
    """
    dic = [
        carbonate_system(
            alkalinity_mol_kg=alkalinity,
            ph_total=ph_total_from_nbs(ph_nbs=ph, salinity=running.salinity, temperature_c=celsius),
            salinity=running.salinity,
            temperature_c=celsius,
            boron_factor=running.boron_factor,
        ).dic_mol_kg
        for alkalinity, ph, celsius in (
            (running.inflow_alkalinity_mol_kg, running.inflow_ph_nbs, running.inflow_temperature_c),
            (running.effluent_alkalinity_mol_kg, running.effluent_ph_nbs, running.effluent_temperature_c),
        )
    ]
    dissolved = 0.5 * (np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg)
    return np.asarray(dic[1] - dic[0] - dissolved)


def least_added_co2(*, running: Running, solubility: Numbers = 1.0) -> Values:
    """The least CO2 with which this effluent can be had, mol/kg, whatever its pH: that at which it is at its ceiling.

    The pH where the ceiling, times the media's solubility over aragonite's, is the effluent's alkalinity, by halving;
    its C. The running's own effluent pH is not used. NaN where the effluent is not above the inflow.

    Source: DERIVED, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_least_gas_by_hand.
    """
    top = np.asarray(running.effluent_alkalinity_mol_kg, dtype=np.float64)
    shape = np.broadcast_shapes(np.shape(top), np.shape(running.inflow_alkalinity_mol_kg), np.shape(solubility))
    low, high = np.full(shape, LOWEST_PH_NBS), np.full(shape, HIGHEST_PH_NBS)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        above = ceiling(running=running, ph_nbs=middle).alkalinity_mol_kg * solubility > top
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    found = added_co2(running=replace(running, effluent_ph_nbs=0.5 * (low + high)))
    return np.where(top > running.inflow_alkalinity_mol_kg, found, np.nan)


def ceiling(*, running: Running, ph_nbs: Numbers) -> Ceiling:
    """The highest effluent of this chamber's water at a pH: `service.science.chamber.ceiling_by_ph`.

    Source: DERIVED, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_chamber_of_the_worked_case.
    """
    return ceiling_by_ph(
        chamber_ph_nbs=ph_nbs,
        inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
        salinity=running.salinity,
        temperature_c=running.effluent_temperature_c,
        boron_factor=running.boron_factor,
    )


def _nan_unless(known: NDArray[np.bool_], found: Setting) -> Setting:
    return Setting(*(np.where(known, getattr(found, name), np.nan) for name in Setting.__dataclass_fields__))
