"""Recorded values made right: a line for each recalibrated span, applied when a series is read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from service.resources.records.series.blocks import HOUR_US, Points, Sums

Values = NDArray[np.float64]


class Line(NamedTuple):
    """From one instant to before another the right value is slope x recorded value + shift; slope above 0."""

    from_us: int
    to_us: int
    slope: float
    shift: float


Lines: TypeAlias = Sequence[Line]
"""Of two lines that overlap the later in the sequence counts."""


def right_points(points: Points, lines: Lines) -> Points:
    """Points with the values they should have had."""
    if not lines:
        return points
    slope, shift = _at(points["at"], lines)
    right = points.copy()
    right["value"] = slope * points["value"] + shift
    return right


def right_hours(hours: Sums, lines: Lines) -> Sums:
    """Hours with what they should have come to; none may be one of `cut_hours`, whose points differ in line."""
    if not lines:
        return hours
    slope, shift = _at(hours["at"], lines)
    right = hours.copy()
    right["total"] = slope * hours["total"] + shift * hours["count"]
    for name in ("low", "high"):
        right[name] = slope * hours[name] + shift
    return right


def cut_hours(lines: Lines) -> list[int]:
    """The starts of the hours within which a line begins or ends."""
    edges = {edge for line in lines for edge in (line.from_us, line.to_us)}
    return sorted({edge // HOUR_US * HOUR_US for edge in edges if edge % HOUR_US})


def _at(at_us: NDArray[np.int64], lines: Lines) -> tuple[Values, Values]:
    slope, shift = np.ones(len(at_us)), np.zeros(len(at_us))
    for line in lines:
        inside = (at_us >= line.from_us) & (at_us < line.to_us)
        slope[inside], shift[inside] = line.slope, line.shift
    return slope, shift
