"""What limits a chamber's supply: its gas, its drip or its media.

A chamber at rest (`service.science.chamber_model`) obeys, a kilogram of water,

    2 D Q = kappa (TA_max(pH) - TA),    TA = TA_in + 2 D,    DIC = DIC_in + D + C,    C = G/Q

with G the gas that dissolves a day. Three times the gas, the drip and the media (kappa) is three chambers side by side:
three times the supply S = 2 D Q. So what one per cent more of each brings, in per cent of the supply, adds up to one
(Euler's theorem for a function of first degree):

    d ln S/d ln G + d ln S/d ln Q + d ln S/d ln kappa = 1

and the three are the shares of what limits it. With T_C and T_D what the ceiling TA_max gains by a mole of carbon
dioxide and of calcium carbonate, through the pH, and m = (TA_max - TA)/(n D) the room left under the ceiling,

    gas    T_C (C/D) / (m + 2 - T_D)
    media  m / (m + 2 - T_D)
    drip   the rest

At constant gas a faster drip also has to sour its own tank water down to saturation: the drip's share is small in every
usual chamber and negative in a thin effluent, where more drip brings less. Where a controller holds the pH the gas
follows, the ceiling stands (T_C = T_D = 0), and drip and media share alone.

n is the order of dissolution in the distance from saturation, 1 in the chamber model (Plummer, Wigley & Parkhurst 1978,
for calcite in acid water); the intervals carry 1 to 2, a judgement. Near saturation in seawater orders of 3 to 4.5 were
measured (Naviaux et al. 2020): there the share of the media is smaller still. With the pH held the media lead where the
effluent is less than 1/(1 + n) of the way from the tank to the ceiling: a half at order 1, a third at 2, a fifth at 4.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import dic_per_alkalinity
from service.science.chamber_model import Running, RunningWater
from service.science.chamber_uncertainty import (
    CHAMBER_PH_SD,
    TANK_PH_SD,
    TEMPERATURE_SD_C,
    TITRATION_RELATIVE_SD,
    Z_95,
    Interval,
)
from service.science.chamber_water import ChamberWater

HIGHEST_ORDER = 2.0
STEP_PH = 1e-3
"""Half the step of the derivatives: their errors are below 1e-5 of a share."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What one per cent more of each brings, in per cent of the supply; all fields one shape; they add up to 1."""

    gas: Values
    drip: Values
    media: Values


@dataclass(frozen=True, slots=True)
class LimitsKnown:
    """The same with 95 % intervals, and by how much one share leads another."""

    gas: Interval
    drip: Interval
    media: Interval
    gas_over_drip: Interval
    gas_over_media: Interval
    drip_over_media: Interval


@dataclass(frozen=True, slots=True)
class ReadingErrors:
    """Standard deviations of what a chamber was read by; the defaults are common practice."""

    inflow_alkalinity_relative: Numbers = TITRATION_RELATIVE_SD
    inflow_ph: Numbers = TANK_PH_SD
    effluent_alkalinity_relative: Numbers = TITRATION_RELATIVE_SD
    effluent_ph: Numbers = CHAMBER_PH_SD
    effluent_temperature_c: Numbers = TEMPERATURE_SD_C


def limits(*, running: Running, holds_ph: bool = False, order: Numbers = 1.0) -> Limits:
    """The shares of gas, drip and media in what limits the supply, at constant gas or with the chamber's pH held.

    An effluent read above its ceiling counts as at it. With the pH held the gas follows and its share is 0. NaN where
    nothing dissolved, or no gas is seen.

    Source: DERIVED, PLUMMER78, MUCCI83, LUEKER00.
    Check value: none, tested by test_the_share_of_gas_at_the_ceiling_by_hand.
    """
    dissolved = 0.5 * (
        np.asarray(running.effluent_alkalinity_mol_kg, dtype=np.float64) - running.inflow_alkalinity_mol_kg
    )
    water = RunningWater.of(running)
    added = water.added_co2_mol_kg(running.effluent_alkalinity_mol_kg, running.effluent_ph_nbs)
    known = (dissolved > 0.0) & (added > 0.0)
    dissolved, added = np.where(known, dissolved, np.nan), np.where(known, added, np.nan)
    room = np.maximum(water.effluent.ceiling_mol_kg(running.effluent_ph_nbs) - running.effluent_alkalinity_mol_kg, 0.0)
    m = room / (order * dissolved)
    by_co2, by_carbonate = (
        (np.zeros_like(m), np.zeros_like(m)) if holds_ph else _ceiling_gained(running, water.effluent)
    )
    whole = m + 2.0 - by_carbonate
    gas, media = by_co2 * (added / dissolved) / whole, m / whole
    return Limits(*np.broadcast_arrays(gas, 1.0 - gas - media, media))


def limits_with_errors(*, running: Running, errors: ReadingErrors | None = None, holds_ph: bool = False) -> LimitsKnown:
    """The same with 95 % intervals: each reading moved by its error alone, and the order of dissolution from 1 to 2.

    Source: DERIVED, JCGM08, PRACTICE.
    Check value: none, tested by test_intervals_of_the_shares_hold_what_they_say.
    """
    sd = errors or ReadingErrors()
    steps: dict[str, Values] = {
        "inflow_alkalinity_mol_kg": np.asarray(sd.inflow_alkalinity_relative) * running.inflow_alkalinity_mol_kg,
        "inflow_ph_nbs": np.asarray(sd.inflow_ph),
        "effluent_alkalinity_mol_kg": np.asarray(sd.effluent_alkalinity_relative) * running.effluent_alkalinity_mol_kg,
        "effluent_ph_nbs": np.asarray(sd.effluent_ph),
        "effluent_temperature_c": np.asarray(sd.effluent_temperature_c),
    }
    shape = np.broadcast_shapes(*(np.shape(getattr(running, each.name)) for each in fields(running)))
    # one row a reading and one for the order; moved up, moved down, and last as read
    rows = 2 * (len(steps) + 1) + 1
    moved = {name: np.array(np.broadcast_to(getattr(running, name), (rows, *shape))) for name in steps}
    for row, (name, step) in enumerate(steps.items()):
        moved[name][row] += Z_95 * step
        moved[name][row + len(steps) + 1] -= Z_95 * step
    order = np.ones((rows, *(1 for _ in shape)))
    order[len(steps)] = HIGHEST_ORDER
    found = limits(running=replace(running, **moved), holds_ph=holds_ph, order=order)

    def interval(more: str, less: str | None = None) -> Interval:
        each = np.asarray(getattr(found, more) - (getattr(found, less) if less else 0.0))
        up, down = np.split(each[:-1] - each[-1], 2)
        return Interval.from_moves(each[-1], up, down)

    drip, media = interval("drip"), interval("media")
    return LimitsKnown(
        gas=interval("gas"),
        drip=drip._replace(high=np.minimum(drip.high, 1.0)),  # no error makes a share what no share can be
        media=media._replace(low=np.maximum(media.low, 0.0)),
        gas_over_drip=interval("gas", "drip"),
        gas_over_media=interval("gas", "media"),
        drip_over_media=interval("drip", "media"),
    )


def _ceiling_gained(running: Running, water: ChamberWater) -> tuple[Values, Values]:
    """T_C, T_D: how the ceiling moves with carbon dioxide, and with calcium carbonate, in the effluent (1).

    Through the pH alone: a mole of carbon moves it by 1/(dDIC/dpH), one of calcium carbonate (two of alkalinity, one of
    carbon) by (1 - 2 r)/(dDIC/dpH), r = dDIC/dTA at constant pH.
    """
    ph, alkalinity = np.asarray(running.effluent_ph_nbs, dtype=np.float64), running.effluent_alkalinity_mol_kg
    above, below = ph + STEP_PH, ph - STEP_PH
    of_ph = (water.ceiling_mol_kg(above) - water.ceiling_mol_kg(below)) / (
        water.carbon_mol_kg(alkalinity, above) - water.carbon_mol_kg(alkalinity, below)
    )
    r = dic_per_alkalinity(
        ph_total=water.ph_total(ph), salinity=running.salinity, temperature_c=running.effluent_temperature_c
    )
    return of_ph, of_ph * (1.0 - 2.0 * r)
