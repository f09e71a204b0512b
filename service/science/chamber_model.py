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

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.chamber_water import ChamberWater, chamber_water
from service.science.root import falling_root

LOWEST_PH_NBS, HIGHEST_PH_NBS = 5.0, 8.5
"""Where a chamber's pH is looked for."""


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


@dataclass(frozen=True, slots=True)
class RunningWater:
    """The water of a running chamber, with everything worked out that does not depend on its pH."""

    running: Running
    effluent: ChamberWater
    inflow_dic_mol_kg: Values

    @classmethod
    def of(cls, running: Running) -> RunningWater:
        """Constants of the effluent, and the carbon of the inflow."""
        inflow = chamber_water(
            inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
            salinity=running.salinity,
            temperature_c=running.inflow_temperature_c,
            boron_factor=running.boron_factor,
        )
        effluent = chamber_water(
            inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
            salinity=running.salinity,
            temperature_c=running.effluent_temperature_c,
            boron_factor=running.boron_factor,
        )
        return cls(running, effluent, inflow.carbon_mol_kg(running.inflow_alkalinity_mol_kg, running.inflow_ph_nbs))

    def added_co2_mol_kg(self, alkalinity_mol_kg: Numbers, ph_nbs: Numbers) -> Values:
        """C = DIC_out - DIC_in - D of an effluent of an alkalinity and a pH, mol/kg.

        Source: DERIVED. Check value: none, tested by test_the_chamber_of_the_worked_case.
        """
        dissolved = 0.5 * (np.asarray(alkalinity_mol_kg) - self.running.inflow_alkalinity_mol_kg)
        return np.asarray(self.effluent.carbon_mol_kg(alkalinity_mol_kg, ph_nbs) - self.inflow_dic_mol_kg - dissolved)


@dataclass(frozen=True, slots=True)
class _Chamber:
    """A chamber that has been read: its water, how fast its media dissolve, and the carbon dioxide it was given."""

    running: Running
    water: RunningWater
    kappa: Values
    added: Values

    @classmethod
    def of(cls, running: Running) -> _Chamber:
        water = RunningWater.of(running)
        gained = np.asarray(running.effluent_alkalinity_mol_kg, dtype=np.float64) - running.inflow_alkalinity_mol_kg
        room = water.effluent.ceiling_mol_kg(running.effluent_ph_nbs) - running.effluent_alkalinity_mol_kg
        possible = (gained > 0.0) & (room > 0.0)
        kappa = np.where(possible, running.drip_l_d * gained / np.where(possible, room, 1.0), np.nan)
        added = water.added_co2_mol_kg(running.effluent_alkalinity_mol_kg, running.effluent_ph_nbs)
        return cls(running, water, kappa, added)

    def effluent(self, drip: Values, ph_nbs: Numbers) -> tuple[Values, Values]:
        """Alkalinity and carbon dioxide added of the chamber at rest at a pH and a drip, mol/kg: closed form."""
        top = self.water.effluent.ceiling_mol_kg(ph_nbs)
        alkalinity = (drip * self.running.inflow_alkalinity_mol_kg + self.kappa * top) / (drip + self.kappa)
        return alkalinity, self.water.added_co2_mol_kg(alkalinity, ph_nbs)

    def setting(self, drip: Values, ph_nbs: Values) -> Setting:
        """The chamber at rest at a pH and a drip, against what it was when it was read."""
        running = self.running
        alkalinity, added = self.effluent(drip, ph_nbs)
        gained = np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg
        before = running.drip_l_d * np.where(gained > 0.0, gained, np.nan)
        gas_before = running.drip_l_d * np.where(self.added > 0.0, self.added, np.nan)
        parts = np.broadcast_arrays(
            drip,
            ph_nbs,
            alkalinity,
            added,
            drip * added / gas_before,
            drip * (alkalinity - running.inflow_alkalinity_mol_kg) / before,
        )
        return Setting(*parts)


def dissolving_l_d(*, running: Running) -> Values:
    """kappa: water that the media would bring to its ceiling a day; NaN at the ceiling, above it, or below the tank.

    Source: DERIVED, PLUMMER78, MUCCI83.
    Check value: none, tested by test_a_chamber_asked_for_what_it_does_answers_what_was_read.
    """
    return _Chamber.of(running).kappa


def at_gas_and_drip(*, running: Running, gas_fraction: Numbers, drip_l_d: Numbers) -> Setting:
    """Where the chamber comes to rest at another gas flow (over the present one) and drip: the pH with that much gas.

    NaN where the readings fix no chamber (see `dissolving_l_d`) or show no gas.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_a_simulated_reactor_goes_where_the_model_says.
    """
    chamber, drip = _Chamber.of(running), np.asarray(drip_l_d, dtype=np.float64)
    wanted = chamber.added * gas_fraction * running.drip_l_d / drip
    ph_nbs = _ph_where(lambda ph: chamber.effluent(drip, ph)[1] - wanted)
    return _nan_unless(np.isfinite(chamber.kappa) & (chamber.added > 0.0) & (drip > 0.0), chamber.setting(drip, ph_nbs))


def at_ph_and_drip(*, running: Running, chamber_ph_nbs: Numbers, drip_l_d: Numbers) -> Setting:
    """Where a chamber held at a pH comes to rest with another drip, and the gas that takes.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_a_chamber_asked_for_what_it_does_answers_what_was_read.
    """
    chamber, drip = _Chamber.of(running), np.asarray(drip_l_d, dtype=np.float64)
    found = chamber.setting(drip, np.asarray(chamber_ph_nbs, dtype=np.float64))
    return _nan_unless(np.isfinite(chamber.kappa) & (drip > 0.0), found)


def for_supply_at_drip(*, running: Running, supply_fraction: Numbers) -> Setting:
    """What pH, and so what gas, brings so many times the present supply with the present drip.

    The effluent must be TA_in + f (TA - TA_in), the ceiling as far above it as kappa asks; the pH is that of this
    ceiling. NaN where no pH above 5 does.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_ways_to_more_supply_lead_back_to_it.
    """
    chamber, drip = _Chamber.of(running), np.asarray(running.drip_l_d, dtype=np.float64)
    fraction = np.asarray(supply_fraction, dtype=np.float64)
    gained = fraction * (np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg)
    needed = running.inflow_alkalinity_mol_kg + gained * (1.0 + drip / chamber.kappa)
    ph_nbs = _ph_with_ceiling(chamber.water, needed)
    return _nan_unless(np.isfinite(chamber.kappa) & (ph_nbs > LOWEST_PH_NBS + 1e-6), chamber.setting(drip, ph_nbs))


def for_supply_at_ph(*, running: Running, supply_fraction: Numbers) -> Setting:
    """What drip brings so many times the present supply with the chamber held at its pH.

    S = Q kappa (TA_max - TA_in)/(Q + kappa), so Q = S kappa/(kappa (TA_max - TA_in) - S); NaN where even a flood does
    not bring it.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_ways_to_more_supply_lead_back_to_it.
    """
    chamber = _Chamber.of(running)
    gained = np.asarray(running.effluent_alkalinity_mol_kg) - running.inflow_alkalinity_mol_kg
    wanted = np.asarray(supply_fraction) * running.drip_l_d * gained
    room = chamber.water.effluent.ceiling_mol_kg(running.effluent_ph_nbs) - running.inflow_alkalinity_mol_kg
    left = chamber.kappa * room - wanted
    drip = np.where(left > 0.0, wanted * chamber.kappa / np.where(left > 0.0, left, 1.0), np.nan)
    return at_ph_and_drip(running=running, chamber_ph_nbs=running.effluent_ph_nbs, drip_l_d=drip)


def added_co2(*, running: Running) -> Values:
    """C = DIC_out - DIC_in - D, mol/kg; not above zero where the readings show no gas.

    Source: DERIVED, LUEKER00.
    Check value: none, tested by test_the_chamber_of_the_worked_case.
    """
    return RunningWater.of(running).added_co2_mol_kg(running.effluent_alkalinity_mol_kg, running.effluent_ph_nbs)


def least_added_co2(*, running: Running, solubility: Numbers = 1.0) -> Values:
    """The least CO2 with which this effluent can be had, mol/kg, whatever its pH: that at which it is at its ceiling.

    The pH where the ceiling, times the media's solubility over aragonite's, is the effluent's alkalinity; its C. The
    running's own effluent pH is not used. NaN where the effluent is not above the inflow.

    Source: DERIVED, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_least_gas_by_hand.
    """
    top, water = np.asarray(running.effluent_alkalinity_mol_kg, dtype=np.float64), RunningWater.of(running)
    found = water.added_co2_mol_kg(top, _ph_with_ceiling(water, top / solubility))
    return np.where(top > running.inflow_alkalinity_mol_kg, found, np.nan)


def _ph_with_ceiling(water: RunningWater, alkalinity_mol_kg: Values) -> Values:
    """The pH (NBS) at which the ceiling is an alkalinity; its logarithm is nearly straight in pH."""
    return _ph_where(lambda ph: np.log(water.effluent.ceiling_mol_kg(ph) / alkalinity_mol_kg))


def _ph_where(surplus: Callable[[Values], Values]) -> Values:
    """The pH (NBS) at which something that falls with it is used up; an end of the range where it is beyond."""
    return falling_root(surplus, low=LOWEST_PH_NBS, high=HIGHEST_PH_NBS)


def _nan_unless(known: NDArray[np.bool_], found: Setting) -> Setting:
    return Setting(*(np.where(known, getattr(found, name), np.nan) for name in Setting.__dataclass_fields__))
