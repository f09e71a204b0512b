"""Does more gas leave the cylinder for each bubble than it used to? Then it leaves before the bubble counter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.gas_forecast.gather import LineRecords
from service.resources.records.queries import Course
from service.science import Values
from service.science.level_change import SlopeChange, slope_change

SIGNIFICANT_SCORE = 3.0
SIGNIFICANT_SCORE_OF_LESS = 4.0
"""In standard deviations, both by the findings study (tests/studies/findings.py). A leak is to be named within four
weeks; less gas for a bubble than before is no danger and can wait until it is hardly chance."""
LEAST_RATIO = 1.12
"""A bubble wanders with temperature and delivery pressure: a smaller change is not named (our judgement)."""
COUNTED_SD = 0.025
"""Of the bubbles counted over weeks, by ten per cent a count and several counts a week (common practice)."""
LOOKED_BACK_DAYS = 120.0


def leak(records: LineRecords) -> list[dict[str, Any]]:
    """What the weighings say against the bubbles counted on the same line; nothing where either is too sparse."""
    found = _bend(records)
    if found is None or -SIGNIFICANT_SCORE_OF_LESS < found.score < SIGNIFICANT_SCORE:
        return []
    begun = records.clock.at(found.at_days)
    since = f"{begun.day} {begun:%B %Y}"
    if found.ratio > LEAST_RATIO:
        part, low, high = (100.0 * (1.0 - 1.0 / max(each, 1.0)) for each in (found.ratio, found.low, found.high))
        detail = (
            f"Since about {since} the scale loses more for each bubble counted than before: {part:.0f} % "
            f"({low:.0f} to {high:.0f} %) of the gas goes elsewhere. A leak before the bubble counter, or bigger "
            "bubbles (a higher delivery pressure, another tip)? To tell: close the needle valve overnight and weigh "
            "twice; what is then lost leaks. Search with soapy water, not by smell; ventilate first."
        )
        return [remark("gas_leak", detail, records.line.id)]
    if found.ratio < 1.0 / LEAST_RATIO:
        detail = (
            f"Since about {since} the scale loses less for each bubble counted than before, {found.ratio:.2f} times "
            f"({found.low:.2f} to {found.high:.2f}): smaller bubbles (a lower delivery pressure, another tip), a leak "
            "that was closed, or a counting habit that changed? Count over a full minute and weigh again."
        )
        return [remark("bubbles_changed", detail, records.line.id)]
    return []


def _bend(records: LineRecords) -> SlopeChange | None:
    """The likeliest change of mass lost for each bubble, over the weighings that have bubbles beside them."""
    if records.history is None or not records.bubbles or not all(len(course) for course in records.bubbles):
        return None
    counted_from = max(float(records.clock.days_of(course.at_us)[0]) for course in records.bubbles)
    weighed = sorted(records.history.weighings, key=lambda each: each.at_days)
    in_time = [
        each
        for each in weighed
        if each.at_days >= counted_from and each.at_days >= weighed[-1].at_days - LOOKED_BACK_DAYS
    ]
    if not in_time:
        return None
    days = np.array([each.at_days for each in in_time])
    return slope_change(
        at_days=days,
        mass=np.array([each.net_kg for each in in_time]),
        mass_sd=np.array([each.sd_kg for each in in_time]),
        indicated=_counted(records, records.bubbles, days),
        series=np.array([float(each.cylinder) for each in in_time]),
        indicated_relative_sd=COUNTED_SD,
    )


def _counted(records: LineRecords, bubbles: Sequence[Course], days: Values) -> Values:
    """Bubbles of all reactors on the line from the first weighing until each, a rate holding halfway to the next."""
    total = np.zeros(len(days))
    for course in bubbles:
        at, rate = records.clock.days_of(course.at_us), course.value
        halves = np.concatenate([[-np.inf], (at[1:] + at[:-1]) / 2.0, [np.inf]])
        for index, until in enumerate(days):
            lasting = np.clip(np.minimum(halves[1:], until) - np.maximum(halves[:-1], days[0]), 0.0, None)
            total[index] += float((lasting * rate).sum())
    return total
