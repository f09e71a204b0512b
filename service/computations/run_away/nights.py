"""The lowest pH of a system's last thirty nights, from what was read by day and by night."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from service.computations.run_away.situation import Start
from service.resources.records.queries import Course
from service.storage.types import instant

NIGHTS = timedelta(days=30)
NIGHT_HOURS = range(2, 10)
"""Before the lights go on, when pH is lowest: the site's hours (common practice)."""


def lowest_of(course: Course, zone: ZoneInfo) -> Start | None:
    """Where a fault would begin: the lowest reading of thirty days, and on how many nights anybody looked."""
    if not len(course):
        return None
    local = [instant(int(at_us)).astimezone(zone) for at_us in course.at_us]
    lowest = int(course.value.argmin())
    nights = {at.date() for at in local if at.hour in NIGHT_HOURS}
    return Start(
        ph=float(course.value[lowest]),
        by="night_minimum" if nights else "lowest_reading",
        at=local[lowest],
        nights=len(nights),
        days=len({at.date() for at in local}),
    )


def thirty_days_before(at: datetime) -> datetime:
    """Where the thirty nights begin."""
    return at - NIGHTS
