"""The chamber of a calcium reactor: water from the system, gas, media that dissolves towards a ceiling."""

from dataclasses import dataclass

import numpy as np

from service.simulation import chemistry
from service.simulation.basin import ALKALINITY, ARAGONITE, CALCIUM, CARBON, CARBON_DIOXIDE, Ledger
from service.simulation.chemistry import CACO3_MG_PER_MMOL, CO2_MG_PER_MMOL, Constants, Values
from service.simulation.gas_line import leaked
from service.simulation.scenario import Reactor

HOUR = 1.0 / 24.0


@dataclass(slots=True)
class Chamber:
    """A stirred tank of constant volume; everything of shape (runs) but the contents (5, runs)."""

    spec: Reactor
    concentration: Values
    hydrogen: Values
    media_kg: Values
    drip_l_d: Values
    flow_factor: Values
    gas_mmol_d: Values
    open_share: Values
    """Of the gas valve, over what it was set to."""
    gas_used_g: Values
    """What passed the bubble counter."""
    activity: Values
    """Dissolution rate of the media over that of sound ones."""
    kept_share: Values
    """Of the gas that passed the counter: the rest is vented without dissolving."""
    gas_vented_g: Values
    leak: Values
    """Share of what the cylinder loses that does not reach the counter."""
    gas_leaked_g: Values

    @classmethod
    def started(cls, spec: Reactor, water: Values, constants: Constants, flow_factor: Values) -> "Chamber":
        """Return the chamber as it runs at the start: the alkalinity and pH the scenario names."""
        concentration = water.copy()
        gained = spec.effluent_alkalinity_meq_l - water[ALKALINITY]
        hydrogen = chemistry.hydrogen_at(np.full_like(gained, spec.chamber_ph), constants)
        concentration[ALKALINITY] += gained
        concentration[CALCIUM] += 0.5 * gained
        concentration[CARBON] = chemistry.carbon_at(concentration[ALKALINITY], hydrogen, constants)
        zero = np.zeros_like(gained)
        return cls(
            spec=spec,
            concentration=concentration,
            hydrogen=hydrogen,
            media_kg=zero + spec.media_kg * spec.media_share_at_start,
            drip_l_d=spec.drip_l_d * flow_factor,
            flow_factor=flow_factor,
            gas_mmol_d=zero + spec.gas_g_d * 1000.0 / CO2_MG_PER_MMOL,
            open_share=zero + 1.0,
            gas_used_g=zero.copy(),
            activity=zero + 1.0,
            kept_share=zero + (1.0 - spec.vented_share),
            gas_vented_g=zero.copy(),
            leak=zero.copy(),
            gas_leaked_g=zero.copy(),
        )

    def turn(self, scale: Values) -> None:
        """Turn the drip up or down by a factor, and a constant feed of gas with it, within what the valves can do."""
        first = self.spec.drip_l_d
        intended = np.clip(self.drip_l_d / self.flow_factor * scale, 0.25 * first, 3.0 * first)
        if self.spec.mode == "constant_gas":
            self.gas_mmol_d = self.gas_mmol_d * (intended * self.flow_factor / self.drip_l_d)
        self.drip_l_d = intended * self.flow_factor

    def hour(self, inflow: Values, flow_l_d: Values, constants: Constants, ledger: Ledger) -> Values:
        """Run one hour and return what the drip carries to the system less what it took, shape (5, runs).

        dc/dt = q/V (c_in - c) + media + gas with the sources held over the hour, solved exactly. Media dissolve at
        rate x (ceiling - alkalinity), the ceiling being aragonite saturation 1 at the chamber's present pH, and slower
        with the 2/3 power of the mass left; above the ceiling nothing precipitates.
        """
        volume = self.spec.chamber_l
        ceiling = chemistry.ceiling_alkalinity(
            self.concentration[ALKALINITY], self.concentration[CALCIUM], self.hydrogen, constants
        )
        left = (np.maximum(self.media_kg, 0.0) / self.spec.media_kg) ** (2.0 / 3.0)
        relax = 24.0 * self.spec.media_rate_per_hour * self.activity * left
        missing = np.maximum(ceiling - self.concentration[ALKALINITY], 0.0)
        dissolved = missing * -np.expm1(-relax * HOUR) * volume  # meq in this hour
        source = ledger.book("media", ARAGONITE * dissolved)
        exchange = flow_l_d / volume * HOUR
        keep = np.exp(-exchange)
        spread = -np.expm1(-exchange) / exchange
        gas = self._gas(inflow, source, keep, spread, constants)
        source = source + ledger.book("gas fed", CARBON_DIOXIDE * gas)
        before = self.concentration
        self.concentration = inflow + (before - inflow) * keep + source / volume * spread
        self.hydrogen = chemistry.follow_hydrogen(
            self.hydrogen, self.concentration[ALKALINITY], self.concentration[CARBON], constants
        )
        self.media_kg = self.media_kg - dissolved / 2.0 * CACO3_MG_PER_MMOL * 1e-6
        passed = gas / self.kept_share * CO2_MG_PER_MMOL / 1000.0
        self.gas_used_g = self.gas_used_g + passed
        self.gas_vented_g = self.gas_vented_g + passed * (1.0 - self.kept_share)
        self.gas_leaked_g = self.gas_leaked_g + leaked(passed, self.leak)
        return source - (self.concentration - before) * volume

    def _gas(self, inflow: Values, source: Values, keep: Values, spread: Values, constants: Constants) -> Values:
        """Return the CO2 that dissolves in this hour, mmol: a constant feed, or what holds the chamber pH."""
        most = self.gas_mmol_d * self.open_share * HOUR * self.kept_share
        if self.spec.mode == "constant_gas":
            return most
        volume = self.spec.chamber_l
        coming = inflow + (self.concentration - inflow) * keep + source / volume * spread
        wanted_hydrogen = chemistry.hydrogen_at(np.full_like(most, self.spec.chamber_ph), constants)
        wanted = chemistry.carbon_at(coming[ALKALINITY], wanted_hydrogen, constants)
        needed: Values = (wanted - coming[CARBON]) * volume / spread
        return np.minimum(np.maximum(needed, 0.0), most)
