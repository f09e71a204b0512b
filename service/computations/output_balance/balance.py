"""Supply against demand: what the drip brings each system, for how much of what it takes, and where that settles."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.computations.output_balance.chemistry import omegas_per_meq_l
from service.computations.output_balance.many import by_kind, column, of_known
from service.computations.output_balance.numbers import Divided, Number, Ratio, Z, interval, ratios
from service.computations.output_balance.situation import EFFLUENT_KIT, TIMED_DRIP, Chamber, Fed, Others
from service.science.reactor_output import (
    MG_CALCIUM_PER_MEQ,
    MG_MEDIA_PER_MEQ,
    Answering,
    Flows,
    Mode,
    restoring_per_day,
    settles_at,
    unknown_answering,
)

NEAR_CEILING = 0.9
"""Omega of the effluent from which it is taken to be at its ceiling (our judgement: 0.1 is half a tenth of pH)."""


@dataclass(frozen=True)
class Balanced:
    """One system's part. `covers`: supply over what is left of the demand when others have given theirs."""

    fed: Fed
    supply: Number | None
    over_demand: Ratio | None
    covers: Ratio | None
    settles: dict[str, Any] | None


@dataclass(frozen=True)
class Asked:
    """One system and the chamber that feeds it, in the mode that holds."""

    chamber: Chamber
    fed: Fed
    mode: Mode


def supply_of(chamber: Chamber, fed: Fed) -> Number | None:
    """Q (A_eff - A) times the share, meq/d. A drip of zero brings zero, whatever its alkalinity."""
    if chamber.flow is None:
        return None
    if chamber.flow.value == 0:
        return Number(0.0, 0.0)
    if chamber.alkalinity is None or fed.alkalinity is None:
        return None
    return (chamber.flow * (chamber.alkalinity - fed.alkalinity)).times(fed.share)


def total_supply(chamber: Chamber, fed: tuple[Fed, ...]) -> Number | None:
    """All systems together, meq/d: the drip's error is one and the same for all of them."""
    parts = [supply_of(chamber, each) for each in fed]
    if not parts or any(part is None for part in parts):
        return None
    if chamber.flow is None or chamber.flow.value == 0 or chamber.alkalinity is None:
        return Number(0.0, 0.0)
    above = [(chamber.alkalinity - each.alkalinity).times(each.share) for each in fed if each.alkalinity]
    shared = chamber.alkalinity.sd * sum(each.share for each in fed)
    own = [each.alkalinity.sd * each.share for each in fed if each.alkalinity]
    return chamber.flow * Number(sum(each.value for each in above), math.hypot(shared, *own))


def calcium_of(supply: Number | None) -> Number | None:
    """Grams a day, as pure calcium carbonate brings it."""
    return None if supply is None else supply.times(MG_CALCIUM_PER_MEQ / 1000)


def media_of(supply: Number | None) -> Number | None:
    """Grams of calcium carbonate dissolved a day."""
    return None if supply is None else supply.times(MG_MEDIA_PER_MEQ / 1000)


def mode_of(stated: Mode, omega: float | None) -> Mode:
    """The mode that holds: an effluent near its ceiling can rise no further, whatever the reactor is set to."""
    return Mode.AT_CEILING if omega is not None and omega >= NEAR_CEILING else stated


def balanced(asked: Sequence[Asked]) -> list[Balanced]:
    """Each system's supply, ratios and rest."""
    supplies = [supply_of(each.chamber, each.fed) for each in asked]
    known = [_known(each, supply) for each, supply in zip(asked, supplies, strict=True)]
    over_demand = ratios(None if each is None else _divided(each, each.demand) for each in known)
    covers = ratios(None if each is None else _divided(each, _left(each)) for each in known)
    fed = [each.fed for each in asked]
    return [Balanced(*each) for each in zip(fed, supplies, over_demand, covers, _settle(known), strict=True)]


@dataclass(frozen=True)
class _Known:
    """A part whose supply and demand are known, and their covariance."""

    asked: Asked
    supply: Number
    demand: Number
    covariance: float


def _known(asked: Asked, supply: Number | None) -> _Known | None:
    if supply is None or asked.fed.demand is None:
        return None
    return _Known(asked, supply, asked.fed.demand, _shared_variance(asked.chamber, asked.fed, supply))


def _divided(known: _Known, demand: Number | None) -> Divided | None:
    """Supply over a demand, or what is left of it."""
    return None if demand is None else Divided(known.supply, demand, known.covariance)


def _left(known: _Known) -> Number | None:
    """What is left of the demand when others have given theirs."""
    fed = known.asked.fed
    return None if fed.others is None else known.demand - _by_others(fed, fed.others)


def _by_others(fed: Fed, others: Others) -> Number:
    """What doses, other reactors and changed water bring, meq/d."""
    now = 0.0 if fed.alkalinity is None else fed.alkalinity.value
    exchanged = others.exchange_l_d * (others.exchange_alkalinity - now)
    return Number(others.supply.value + exchanged, others.supply.sd)


def _shared_variance(chamber: Chamber, fed: Fed, supply: Number) -> float:
    """The covariance of supply and a demand that was estimated from it: the error of the drip is in both alike."""
    if not fed.demand_knows_reactor or fed.demand is None or chamber.flow is None or chamber.alkalinity is None:
        return 0.0
    of_kit = EFFLUENT_KIT * chamber.flow.value * chamber.alkalinity.value * fed.share
    shared = (TIMED_DRIP * supply.value) ** 2 + of_kit**2
    return min(shared, supply.sd**2, fed.demand.sd**2)


@dataclass(frozen=True)
class _Moving:
    """A part of which it can be asked where it rests: all that moves its alkalinity is known."""

    known: _Known
    volume_l: float
    alkalinity: Number
    drip: Number
    effluent: Number
    others: Others
    slope: float
    """How Omega rises with a meq/L."""


def _settle(parts: Sequence[_Known | None]) -> list[dict[str, Any] | None]:
    """Where each system rests, or None where nothing brings it back or the records do not say."""
    slopes = iter(omegas_per_meq_l(each.asked.fed for each in parts if each is not None))
    moving = [None if each is None else _moving(each, next(slopes)) for each in parts]
    return of_known(moving, lambda known: by_kind(known, lambda each: each.known.asked.mode, _rests))


def _moving(known: _Known, slope: float | None) -> _Moving | None:
    fed, chamber = known.asked.fed, known.asked.chamber
    if slope is None or fed.volume_l is None or fed.others is None or known.supply.value <= 0:
        return None
    if fed.alkalinity is None or chamber.flow is None or chamber.alkalinity is None:
        return None
    return _Moving(known, fed.volume_l, fed.alkalinity, chamber.flow, chamber.alkalinity, fed.others, slope)


def _rests(mode: Mode, moving: Sequence[_Moving]) -> list[dict[str, Any] | None]:
    """Where the systems rest whose reactors are in one mode."""
    flows = Flows(
        volume_l=column(each.volume_l for each in moving),
        alkalinity_meq_l=column(each.alkalinity.value for each in moving),
        demand_meq_d=column(each.known.demand.value for each in moving),
        drip_l_d=column(each.drip.value * each.known.asked.fed.share for each in moving),
        effluent_alkalinity_meq_l=column(each.effluent.value for each in moving),
        other_supply_meq_d=column(each.others.supply.value for each in moving),
        exchange_l_d=column(each.others.exchange_l_d for each in moving),
        exchange_alkalinity_meq_l=column(each.others.exchange_alkalinity for each in moving),
    )
    slopes, answering = column(each.slope for each in moving), _answering(moving)
    found = settles_at(mode=mode, flows=flows, omega_per_meq_l=slopes, answering=answering)
    least, most = (
        restoring_per_day(mode=mode, flows=flows, omega_per_meq_l=slopes, b=b) for b in (answering.low, answering.high)
    )
    columns = (
        found.alkalinity_meq_l, found.change_meq_l_d, least, most,
        found.time_days, found.shortest_days, found.longest_days,
    )  # fmt: skip
    return [_rest(mode, each, *row) for each, row in zip(moving, np.stack(columns).T.tolist(), strict=True)]


def _rest(
    mode: Mode,
    moving: _Moving,
    value: float,
    change: float,
    least: float,
    most: float,
    days: float,
    shortest: float,
    longest: float,
) -> dict[str, Any] | None:
    """From where a system rests, how it moves now, between what rates it is brought back, and in what time."""
    if not math.isfinite(value) or value <= 0:
        return None
    known = moving.known
    variance = known.supply.sd**2 + known.demand.sd**2 - 2 * known.covariance + moving.others.supply.sd**2
    moves = Number(change, math.sqrt(max(variance, 0.0)) / moving.volume_l)
    low, high = _ends(moving.alkalinity, value, moves, [least, most])
    return {
        "alkalinity": interval(value, low, high, "meq/L"),
        "mode": mode.value,
        "time_constant": interval(days, shortest, longest, "d"),
    }


def _answering(moving: Sequence[_Moving]) -> Answering:
    """How demand answers to saturation: as each system's record tells, else the range of reviews."""
    unknown = unknown_answering()
    usual = (float(unknown.value), float(unknown.low), float(unknown.high))
    answers = [each.known.asked.fed.answer for each in moving]
    b = [
        usual if answer is None else tuple(end / each.slope for end in (answer.value, answer.low, answer.high))
        for each, answer in zip(moving, answers, strict=True)
    ]
    value, low, high = np.array(b).T
    return Answering(value, low, high, is_fitted=None not in answers)


def _ends(now: Number, value: float, change: Number, rates: list[float]) -> tuple[float, float]:
    """Between what the system rests, for every answer of demand and every change within its error.

    Without anything that restores, a change of either sign goes on without end.
    """
    moves = [change.value + sign * Z * change.sd for sign in (-1, 1)]
    rests = [
        now.value + (move / rate if rate > 0 else math.copysign(math.inf, move)) for rate in rates for move in moves
    ]
    error = Z * now.sd
    return value - math.hypot(value - min(rests), error), value + math.hypot(max(rests) - value, error)
