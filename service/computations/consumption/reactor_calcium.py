"""Calcium that a reactor's effluent brings: not measured, but bound to the alkalinity that it adds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from math import hypot

import numpy as np

from service.computations.consumption.practice import PRACTICE
from service.computations.timeframe import Clock, Volume
from service.resources.equipment.feeds.models import Feed as ReactorFeed
from service.resources.records.queries import Course
from service.science import Values
from service.science.history import Doses
from service.science.reactor_output import MG_CALCIUM_PER_MEQ

CALCIUM_SHARE_SD = 0.05
"""Of calcium a meq: media hold some magnesium, down to 17 mg a meq in coralline ones (common practice)."""
RELATIVE_SD = hypot(PRACTICE.timed_drip, PRACTICE.effluent_kit, CALCIUM_SHARE_SD)


def calcium_of_drip(
    clock: Clock, volume: Volume, stay: ReactorFeed, flow: Course, effluent: Course, tank: Course, end: datetime
) -> Doses | None:
    """What one reactor's drip has added of calcium, mg/L of the system, a piece between two tests of its effluent.

    None where its drip, its effluent or the system's alkalinity was never read.
    """
    if not len(flow) or not len(effluent) or not len(tank):
        return None
    start = max(clock.days(stay.from_at), 0.0)
    stop = clock.days(end if stay.to_at is None else min(stay.to_at, end))
    tests = clock.days_of(effluent.at_us)
    edges = np.unique(np.concatenate([[start], tests[(tests > start) & (tests < stop)], [stop]]))
    if stop <= start or len(edges) < 2:
        return None
    middle, lasting = (edges[1:] + edges[:-1]) / 2.0, np.diff(edges)
    added = _between(clock, effluent, middle) - _between(clock, tank, middle)
    litres = np.array([volume.at(clock.at(float(day))) for day in middle])
    daily = _between(clock, flow, middle) * stay.share * np.maximum(added, 0.0) * MG_CALCIUM_PER_MEQ / litres
    return Doses(
        start_days=edges[:-1], end_days=edges[1:], amount=daily * lasting, relative_sd=np.full(len(middle), RELATIVE_SD)
    )


def together(doses: Sequence[Doses]) -> Doses:
    """All of them in one table."""
    names = ("start_days", "end_days", "amount", "relative_sd")
    return Doses(**{name: np.concatenate([getattr(each, name) for each in doses]) for name in names})


def _between(clock: Clock, course: Course, days: Values) -> Values:
    return np.interp(days, clock.days_of(course.at_us), course.value)
