"""The lowest pH of a system's last thirty nights, from what was read by day and by night."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from service.computations.run_away.situation import Start
from service.resources.records.queries import Course
from service.storage.types import instant

NIGHTS = timedelta(days=30)
NIGHT_HOURS = range(2, 10)
"""Before the lights go on, when pH is lowest: the site's hours (common practice)."""
ENOUGH_DAYS = 7
FAR_BELOW, FAR_SCORE = 0.3, 4.0
"""A day's lowest this far below the usual one, in pH and in robust sd, is no night: a buffer, a dry probe, a fault."""
MAD_TO_SD = 1.4826  # of a normal distribution


@dataclass(frozen=True)
class Low:
    """The lowest reading of a day."""

    ph: float
    at: datetime
    origin: UUID


@dataclass(frozen=True)
class Nights:
    """Where a fault would begin, and the days' lowest that are no nights."""

    start: Start | None
    set_aside: tuple[Low, ...] = ()


def lowest_of(course: Course, zone: ZoneInfo) -> Nights:
    """The lowest reading of thirty days, on how many nights anybody looked, and what was left out."""
    if not len(course):
        return Nights(None)
    local = [instant(int(at_us)).astimezone(zone) for at_us in course.at_us]
    days: dict[date, Low] = {}
    for at, ph, origin in zip(local, course.value.tolist(), course.origin, strict=True):
        low = days.get(at.date())
        if low is None or ph < low.ph:
            days[at.date()] = Low(ph, at, origin)
    far = _far_below(list(days.values()))
    left_out = {low.at.date() for low in far}
    lowest = min((low for day, low in days.items() if day not in left_out), key=lambda low: low.ph)
    nights = {at.date() for at in local if at.hour in NIGHT_HOURS} - left_out
    start = Start(
        ph=lowest.ph,
        by="night_minimum" if nights else "lowest_reading",
        at=lowest.at,
        nights=len(nights),
        days=len(days) - len(left_out),
    )
    return Nights(start, tuple(far))


def _far_below(lows: Sequence[Low]) -> list[Low]:
    """Days whose lowest is far below what the others' scatter explains (median and its absolute deviations)."""
    if len(lows) < ENOUGH_DAYS:
        return []
    values = np.array([low.ph for low in lows])
    usual = float(np.median(values))
    sd = MAD_TO_SD * float(np.median(np.abs(values - usual)))
    return [low for low in lows if low.ph < usual - max(FAR_BELOW, FAR_SCORE * sd)]


def shown_aside(nights: Sequence[Nights]) -> list[dict[str, Any]]:
    """The readings that were left out, as they leave."""
    reason = "far below every other day's lowest: a probe in a buffer or in air, or a fault; not one of its nights"
    return [
        {"reading_id": low.origin, "taken_at": low.at, "value": low.ph, "unit": "[pH]", "score": None, "reason": reason}
        for each in nights
        for low in each.set_aside
    ]


def thirty_days_before(at: datetime) -> datetime:
    """Where the thirty nights begin."""
    return at - NIGHTS
