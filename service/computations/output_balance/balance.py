"""Supply against demand: what the drip brings each system, for how much of what it takes, and where that settles."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.computations.output_balance.chemistry import omega_per_meq_l
from service.computations.output_balance.numbers import Number, Ratio, Z, interval, ratio
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


def balanced(chamber: Chamber, fed: Fed, mode: Mode) -> Balanced:
    """One system's supply, ratio and rest."""
    supply = supply_of(chamber, fed)
    if supply is None or fed.demand is None:
        return Balanced(fed, supply, None, None, None)
    shared = _shared_variance(chamber, fed, supply)
    left = None if fed.others is None else fed.demand - _by_others(fed, fed.others)
    return Balanced(
        fed,
        supply,
        ratio(supply, fed.demand, covariance=shared),
        None if left is None else ratio(supply, left, covariance=shared),
        _settles(chamber, fed, supply, mode, shared),
    )


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


def _settles(chamber: Chamber, fed: Fed, supply: Number, mode: Mode, shared: float) -> dict[str, Any] | None:
    """Where the system rests, or None where nothing brings it back or the records do not say."""
    slope = omega_per_meq_l(fed)
    if slope is None or fed.volume_l is None or fed.others is None or supply.value <= 0:
        return None
    if fed.demand is None or fed.alkalinity is None or chamber.flow is None or chamber.alkalinity is None:
        return None
    flows = Flows(
        volume_l=fed.volume_l,
        alkalinity_meq_l=fed.alkalinity.value,
        demand_meq_d=fed.demand.value,
        drip_l_d=chamber.flow.value * fed.share,
        effluent_alkalinity_meq_l=chamber.alkalinity.value,
        other_supply_meq_d=fed.others.supply.value,
        exchange_l_d=fed.others.exchange_l_d,
        exchange_alkalinity_meq_l=fed.others.exchange_alkalinity,
    )
    answering = _answering(fed, slope)
    found = settles_at(mode=mode, flows=flows, omega_per_meq_l=slope, answering=answering)
    value = float(found.alkalinity_meq_l)
    if not math.isfinite(value) or value <= 0:
        return None
    net = max(supply.sd**2 + fed.demand.sd**2 - 2 * shared + fed.others.supply.sd**2, 0.0)
    change = Number(float(found.change_meq_l_d), math.sqrt(net) / fed.volume_l)
    rates = [
        float(restoring_per_day(mode=mode, flows=flows, omega_per_meq_l=slope, b=b))
        for b in (answering.low, answering.high)
    ]
    low, high = _ends(fed.alkalinity, value, change, rates)
    return {
        "alkalinity": interval(value, low, high, "meq/L"),
        "mode": mode.value,
        "time_constant": interval(float(found.time_days), float(found.shortest_days), float(found.longest_days), "d"),
    }


def _answering(fed: Fed, omega_per_meq_l: float) -> Answering:
    """How demand answers to saturation: as the system's record tells, else the range of reviews."""
    if fed.answer is None:
        return unknown_answering()
    answer = fed.answer
    value, low, high = (np.asarray(each / omega_per_meq_l) for each in (answer.value, answer.low, answer.high))
    return Answering(value, low, high, is_fitted=True)


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
