"""Bubbles and gas meters made absolute by weighing: what one unit of the indication weighed over past periods."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from service.computations.gas_forecast.gather import LineRecords
from service.computations.output_balance.numbers import Number
from service.resources.records.queries import Course
from service.science import Values
from service.science.gas_line import Weighing
from service.science.gas_sources import WeighedPeriods, calibrate_by_weighing

COUNTING_SD = 0.10
"""Of a counted bubble rate between two looks (common practice)."""
MOST_RELATIVE_SD = 0.5
"""A unit known worse than this says nothing."""


def calibrated(line: LineRecords | None, course: Course, now: Number) -> Number | None:
    """The rate now, g/d, by an indication and what it weighed before the last weighing; None where it was not weighed.

    The last period is left out, so that this stays a witness beside the weighing.
    """
    if line is None or line.history is None or not len(course):
        return None
    periods = list(_periods(line.history.weighings))[:-1]
    lost = np.array([first.net_kg - last.net_kg for first, last in periods]) * 1000
    sd = np.array([np.hypot(first.sd_kg, last.sd_kg) for first, last in periods]) * 1000
    days = line.clock.days_of(course.at_us)
    shown = np.array([_shown(days, course, first.at_days, last.at_days) for first, last in periods])
    if not periods:
        return None
    found = calibrate_by_weighing(
        periods=WeighedPeriods(lost_g=lost, lost_sd_g=sd, indicated=shown, relative_sd=COUNTING_SD)
    )
    unit, relative = float(found.unit_g), float(found.relative_sd)
    if not (np.isfinite(unit) and unit > 0 and relative < MOST_RELATIVE_SD):
        return None
    return now * Number(unit, unit * relative)


def _periods(weighings: Sequence[Weighing]) -> list[tuple[Weighing, Weighing]]:
    """From each weighing to the next of the same cylinder."""
    in_time = sorted(weighings, key=lambda each: (each.cylinder, each.at_days))
    return [
        (first, last)
        for first, last in pairwise(in_time)
        if first.cylinder == last.cylinder and last.at_days > first.at_days
    ]


def _shown(days: Values, course: Course, start: float, end: float) -> float:
    """The indication summed over a period, each reading holding until the next; NaN where none was yet read."""
    if not (days <= start).any():
        return float("nan")
    inside = days[(days > start) & (days < end)]
    edges = np.array([start, *inside, end])
    held = course.value[np.searchsorted(days, edges[:-1], side="right") - 1]
    return float((held * np.diff(edges)).sum())
