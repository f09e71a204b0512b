"""Which jumps of the water are named: those that neither a few mistakes nor a change of what runs in looks like."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from service.science.answer import ConsumptionEstimate, LevelShift
from service.science.history import Checks, Readings, SystemHistory

FEWEST_OF_A_RISE, FEWEST_OF_A_FALL = 2, 3
"""Readings that must speak for a jump. A fall has more other causes, and is the sooner two mistakes (a judgement)."""
LEAST_CHANGE = 0.12
"""Of a flow, against what its checks said before: less is within a drip's clogging and cleaning (our judgement)."""
FEWEST_BEFORE, USUAL_CHECKS = 2, 5
"""So many checks before it at least, and at most, say what a flow usually is."""
SETTLING_DAYS = 14.0
"""After a change of what runs in: by then its flow and what it holds were checked anew (common practice: weekly)."""


def named_shifts(history: SystemHistory, estimate: ConsumptionEstimate) -> list[LevelShift]:
    """The jumps that are worth naming, in time order: shown by enough readings, and not by what runs in."""
    return [
        shift
        for shift in estimate.level_shifts
        if support(history, estimate, shift) >= (FEWEST_OF_A_RISE if shift.size > 0.0 else FEWEST_OF_A_FALL)
        and not is_of_a_flow(history, shift)
    ]


def support(history: SystemHistory, estimate: ConsumptionEstimate, shift: LevelShift) -> int:
    """By how many tests since a jump more were believed than set aside: two mistakes in a row look like a jump."""
    since = history.readings.at_days >= shift.at_days
    aside = sum(bool(since[each.index]) for each in estimate.set_aside)
    return _tests(history.readings, since) - 2 * aside


def _tests(readings: Readings, which: NDArray[np.bool_]) -> int:
    """How many tests some readings are, replicates being one."""
    if readings.replicate_group is None:
        return int(which.sum())
    group = readings.replicate_group[which]
    return int((group < 0).sum() + len(np.unique(group[group >= 0])))


def is_of_a_flow(history: SystemHistory, shift: LevelShift) -> bool:
    """Whether a flow that changed shortly before would look like this jump.

    Where a flow reads clearly less than before, the course foretold falls away below a water that goes on as it did: a
    reading that is wrong, or a drip that slowed and carries a richer effluent that nobody tested yet. Until both were
    checked again, a jump to that side says nothing of the water.
    """
    return any(
        shift.size * change < 0.0 and 0.0 <= shift.at_days - at <= SETTLING_DAYS
        for feed in history.feeds
        for at, change in flow_changes(feed.flow)
    )


def flow_changes(flow: Checks) -> list[tuple[float, float]]:
    """Days of the first checks that lie clearly off those before them, each with its logarithm over them."""
    log = np.log(np.maximum(flow.value / _in_force(flow), 1e-9))
    off = np.array([_off(log, index) for index in range(len(log))])
    is_first = (off != 0.0) & (np.append(0.0, np.sign(off[:-1])) != np.sign(off))
    return [(float(flow.at_days[index]), float(off[index])) for index in np.flatnonzero(is_first)]


def _off(log: NDArray[np.float64], index: int) -> float:
    """By how much a check is off those before it; 0 where that is little, or where there are too few."""
    if index < FEWEST_BEFORE:
        return 0.0
    off = float(log[index] - np.median(log[max(index - USUAL_CHECKS, 0) : index]))
    return off if abs(off) > -np.log(1.0 - LEAST_CHANGE) else 0.0


def _in_force(flow: Checks) -> NDArray[np.float64]:
    """What the flow was set to at each check; ones where it was never set before the first of them."""
    if not len(flow.set_at_days) or not len(flow.at_days) or flow.set_at_days[0] > flow.at_days[0]:
        return np.ones(len(flow.at_days))
    held = flow.set_value[np.searchsorted(flow.set_at_days, flow.at_days, side="right") - 1]
    return np.where(held > 0, held, 1.0)
