"""What one projection is computed from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from service.computations.consumption.gather import Gathered
from service.computations.output_balance.outflow import mol_kg
from service.computations.output_balance.waters import USUAL_C, Water
from service.computations.projection.plan import Reactor
from service.computations.run_away.situation import Exchange
from service.resources.places.systems.models import System
from service.science import Numbers
from service.science.hazards import Tank


@dataclass(frozen=True)
class Situation:
    """A system now, the reactors that feed it with what is planned of each, and how its water breathes.

    `gathered` None: its volume was never stated. `minerals`: the same of calcium and magnesium, by quantity.
    """

    system: System
    at: datetime
    gathered: Gathered | None
    water: Water
    reactors: Sequence[Reactor]
    exchange: Exchange
    minerals: Mapping[str, Gathered | None]

    @property
    def temperature_c(self) -> float:
        """As read, else the usual one."""
        return USUAL_C if self.water.temperature_c is None else self.water.temperature_c


def tank_of(water: Water, *, ph_nbs: Numbers | None = None) -> Tank | None:
    """A system's water as the carbon of it is reckoned; None without its volume, alkalinity or pH, or where no open
    water has this pH and alkalinity.

    ph_nbs: other values of its pH, any shape.
    """
    if water.volume_l is None or water.alkalinity is None or water.alkalinity.value <= 0 or water.ph is None:
        return None
    celsius = USUAL_C if water.temperature_c is None else water.temperature_c
    tank = Tank(
        volume_l=water.volume_l,
        alkalinity_mol_kg=mol_kg(water.alkalinity.value, water.salinity, celsius),
        ph_nbs=water.ph.value if ph_nbs is None else ph_nbs,
        salinity=water.salinity,
        temperature_c=celsius,
        boron_factor=water.system.boron_factor,
    )
    state = tank.state_at(tank.ph_nbs)
    return tank if np.all((state.dic_mol_kg > 0.0) & (state.pco2_atm <= 1.0)) else None
