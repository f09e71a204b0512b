"""ISO 8601 weeks on a site's own clock: 168 hours, or 167 or 169 when the clock changes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from service.errors import Fault, Unacceptable

WEEK_NAME = re.compile(r"^(\d{4})-W(\d{2})$")


@dataclass(frozen=True)
class Week:
    """One week of a site: its name and its half-open span, Monday 00:00 to Monday 00:00 by the site's clock."""

    name: str
    zone: ZoneInfo
    start: datetime
    end: datetime

    @property
    def hours(self) -> int:
        """The hours that pass in it."""
        return round((self.end.timestamp() - self.start.timestamp()) / 3600)


def week_named(name: str, zone: ZoneInfo) -> Week:
    """The week of this name, such as 2026-W47. Raises Unacceptable naming `week`."""
    found = WEEK_NAME.match(name)
    try:
        if found is None:
            raise ValueError("not of the form")
        monday = date.fromisocalendar(int(found[1]), int(found[2]), 1)
        if not 1970 <= monday.year <= 2200:
            raise ValueError("out of range")
    except ValueError as error:
        detail = "An ISO 8601 week is expected, such as 2026-W47."
        raise Unacceptable(f"week: {detail}", (Fault("week", detail, name, "query"),)) from error
    return _week(name, monday, zone)


def week_of(at: datetime, zone: ZoneInfo) -> Week:
    """The week that an instant lies in, by the site's clock."""
    today = at.astimezone(zone).date()
    year, number, _ = today.isocalendar()
    return _week(f"{year}-W{number:02d}", date.fromisocalendar(year, number, 1), zone)


def _week(name: str, monday: date, zone: ZoneInfo) -> Week:
    return Week(name, zone, _midnight(monday, zone), _midnight(monday + timedelta(days=7), zone))


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=zone)
