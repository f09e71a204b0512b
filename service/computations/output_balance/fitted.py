"""The chambers fitted to their last readings, and what it would take to bring another supply."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.computations.output_balance.many import by_kind, column, of_known, rows
from service.computations.output_balance.outflow import Outflow, inflow_of, outflow_of, runnings
from service.computations.output_balance.situation import Situation
from service.science import Values
from service.science.chamber_model import Running, for_supply_at_drip, for_supply_at_ph
from service.science.reactor_output import Mode
from service.science.seawater import density


@dataclass(frozen=True)
class Wanted:
    """A chamber asked for so many times its present supply, the least and the most, in a mode."""

    situation: Situation
    mode: Mode
    least: float
    most: float


@dataclass(frozen=True)
class Turned:
    """The chamber at rest when its supply is changed by the least and by the most that the records ask for.

    Each pair in the order least, most: gas over the present gas, drip, pH, effluent alkalinity.
    """

    gas_factor: tuple[float, float]
    drip_l_d: tuple[float, float]
    ph: tuple[float, float]
    effluent_meq_l: tuple[float, float]


def fitted_to(situation: Situation) -> Outflow | None:
    """The readings that fix a chamber; None where one lacks."""
    outflow = outflow_of(situation.chamber, inflow_of(situation.fed))
    return None if outflow is None or outflow.inflow.ph is None or outflow.flow is None else outflow


def running_of(situation: Situation) -> Running | None:
    """The chamber as it was last read; None where a reading lacks."""
    return of_known([fitted_to(situation)], lambda known: rows(runnings(known)))[0]


def turned(wanted: Sequence[Wanted | None]) -> list[Turned | None]:
    """What brings so many times the present supply: gas at constant gas, the drip where the pH is held.

    None where the readings fix no chamber, or it cannot bring that much.
    """
    able = [None if each is None else _able(each) for each in wanted]
    return of_known(able, lambda known: by_kind(known, lambda each: each[0].mode is Mode.PH_CONTROLLED, _turned))


def _able(wanted: Wanted) -> tuple[Wanted, Outflow] | None:
    outflow = fitted_to(wanted.situation)
    return None if outflow is None else (wanted, outflow)


def _turned(holds_ph: bool, able: Sequence[tuple[Wanted, Outflow]]) -> list[Turned | None]:
    running = runnings([outflow for _, outflow in able])
    fractions = np.array([column(wanted.least for wanted, _ in able), column(wanted.most for wanted, _ in able)])
    found = (for_supply_at_ph if holds_ph else for_supply_at_drip)(running=running, supply_fraction=fractions)
    litre = density(salinity=running.salinity, temperature_c=running.effluent_temperature_c)
    columns = (found.gas_fraction, found.drip_l_d, found.ph_nbs, found.alkalinity_mol_kg * litre)
    return [_pairs(each) for each in np.moveaxis(np.stack(columns), -1, 0)]


def _pairs(each: Values) -> Turned | None:
    """One chamber's four pairs."""
    gas = each[0]
    if not np.all(np.isfinite(gas)) or not np.all(gas > 0):
        return None
    return Turned(*((float(first), float(last)) for first, last in each))
