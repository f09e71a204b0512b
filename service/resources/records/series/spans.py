"""Resolutions: the means of a series over equal spans, over hours, or over the days of its site."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Protocol
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.errors import TooLarge
from service.resources.keeping.amounts import refused
from service.resources.records.series.blocks import HOUR_US, SUM, Sums, merged, sums_of
from service.resources.records.series.queries import hours, points
from service.resources.records.series.recalibrated import Lines, right_points
from service.storage.types import instant, microseconds

Whole = NDArray[np.int64]

SPAN = re.compile(r"PT(\d{1,5})([MH])")
UNIT_US = {"M": HOUR_US // 60, "H": HOUR_US}
LONGEST_US = 366 * 24 * HOUR_US
MOST_POINTS = 5_000_000  # read at once for spans that cut hours
EXPECTED = "raw, hour, day, or a span such as PT10M or PT6H, up to a year, is expected."


class Spans(Protocol):
    """Spans of time, one after another without gaps. `edges` gives the start of each that touches [start, end), and
    the end of the last."""

    def edges(self, start_us: int, end_us: int) -> Whole: ...


@dataclass(frozen=True)
class Equal:
    """Spans of one width, counted from 1970 UTC."""

    width_us: int

    def edges(self, start_us: int, end_us: int) -> Whole:
        """The starts from start to end, and the end of the last."""
        first, last = start_us // self.width_us, -(-end_us // self.width_us)
        return np.arange(first, last + 1, dtype=np.int64) * self.width_us


@dataclass(frozen=True)
class Days:
    """The days of a site: 23 or 25 hours long when its clock changes."""

    zone: ZoneInfo

    def edges(self, start_us: int, end_us: int) -> Whole:
        """The midnights from start to end, and the one after."""
        day = instant(start_us).astimezone(self.zone).date()
        last = instant(end_us - 1).astimezone(self.zone).date()
        count = (last - day).days + 2
        midnights = (datetime.combine(day + timedelta(days=n), time.min, self.zone) for n in range(count))
        return np.array([microseconds(midnight) for midnight in midnights], dtype=np.int64)


def spans_named(text: str, zone: ZoneInfo) -> Spans:
    """The spans that a resolution names. Raises Unacceptable."""
    if text == "hour":
        return Equal(HOUR_US)
    if text == "day":
        return Days(zone)
    found = SPAN.fullmatch(text)
    width = int(found[1]) * UNIT_US[found[2]] if found else 0
    if not 0 < width <= LONGEST_US:
        raise refused("resolution", EXPECTED, text, place="query")
    return Equal(width)


def means(session: Session, series_id: UUID, spans: Spans, start_us: int, end_us: int, lines: Lines = ()) -> Sums:
    """What the series comes to in each span that begins from start to before end; empty spans are left out.

    As recorded, or with `lines` as recalibrated. Whole spans always: points behind `end` belong to the last one.
    Raises TooLarge when too many points would be read.
    """
    edges = spans.edges(start_us, end_us)
    edges = edges[np.searchsorted(edges, start_us) :]
    if len(edges) < 2:
        return np.empty(0, dtype=SUM)
    if not np.any(edges % HOUR_US):
        sums = hours(session, [series_id], int(edges[0]), int(edges[-1]), {series_id: lines})[series_id]
        sums = sums.copy()
        sums["at"] = _starts(edges, sums["at"])
        return merged(sums)
    found = points(session, series_id, int(edges[0]), int(edges[-1]), at_most=MOST_POINTS + 1)
    if len(found) > MOST_POINTS:
        detail = f"This would read more than {MOST_POINTS} points. Ask for whole hours, or for a shorter time."
        raise TooLarge(detail)
    return sums_of(right_points(found, lines), _starts(edges, found["at"]))


def _starts(edges: Whole, at_us: Whole) -> Whole:
    return edges[np.searchsorted(edges, at_us, side="right") - 1]
