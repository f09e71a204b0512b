"""The chamber fitted to its last readings, and what it would take to bring another supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.computations.output_balance.chemistry import inflow_of, mol_kg
from service.computations.output_balance.situation import Situation
from service.science.chamber_model import Running, Setting, for_supply_at_drip, for_supply_at_ph
from service.science.reactor_output import Mode
from service.science.seawater import density


@dataclass(frozen=True)
class Turned:
    """The chamber at rest when its supply is changed by the least and by the most that the records ask for.

    Each pair in the order least, most: gas over the present gas, drip, pH, effluent alkalinity.
    """

    gas_factor: tuple[float, float]
    drip_l_d: tuple[float, float]
    ph: tuple[float, float]
    effluent_meq_l: tuple[float, float]


def running_of(situation: Situation) -> Running | None:
    """The chamber as it was last read; None where a reading lacks."""
    chamber, inflow = situation.chamber, inflow_of(situation.fed)
    if inflow is None or inflow.ph is None or chamber.flow is None or chamber.alkalinity is None or chamber.ph is None:
        return None
    celsius = inflow.temperature_c if chamber.temperature_c is None else chamber.temperature_c
    return Running(
        drip_l_d=chamber.flow.value,
        inflow_alkalinity_mol_kg=mol_kg(inflow.alkalinity.value, inflow.salinity, inflow.temperature_c),
        inflow_ph_nbs=inflow.ph.value,
        effluent_alkalinity_mol_kg=mol_kg(chamber.alkalinity.value, inflow.salinity, celsius),
        effluent_ph_nbs=chamber.ph.value,
        salinity=inflow.salinity,
        inflow_temperature_c=inflow.temperature_c,
        effluent_temperature_c=celsius,
        boron_factor=inflow.boron_factor,
    )


def turned(situation: Situation, mode: Mode, least: float, most: float) -> Turned | None:
    """What brings so many times the present supply: gas at constant gas, the drip where the pH is held.

    None where the readings fix no chamber, or it cannot bring that much.
    """
    running = running_of(situation)
    if running is None:
        return None
    wanted = np.array([least, most])
    held = mode is Mode.PH_CONTROLLED
    found = (for_supply_at_ph if held else for_supply_at_drip)(running=running, supply_fraction=wanted)
    if not np.all(np.isfinite(found.gas_fraction)) or not np.all(found.gas_fraction > 0):
        return None
    return _pairs(found, running)


def _pairs(found: Setting, running: Running) -> Turned:
    litre = density(salinity=running.salinity, temperature_c=running.effluent_temperature_c)
    pairs = [
        (float(first), float(last))
        for first, last in (found.gas_fraction, found.drip_l_d, found.ph_nbs, found.alkalinity_mol_kg * litre)
    ]
    return Turned(*pairs)
