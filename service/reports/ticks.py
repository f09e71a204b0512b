"""Where the axes of a plot are marked: round levels, and instants that mean something by the site's own clock."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from itertools import takewhile
from math import ceil, floor, log10
from zoneinfo import ZoneInfo

DAY = 86_400.0
HOURS, DAYS, WEEKS = (1, 3, 6, 12), (1, 2), (7, 14, 28)


def value_ticks(low: float, high: float, *, about: int = 5) -> list[float]:
    """Some `about` round values from `low` to `high`, ascending, in steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / about
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough * (1 - 1e-9))
    return [round(step * n, 12) for n in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def time_ticks(start: float, end: float, zone: ZoneInfo, *, at_most: int = 8) -> list[tuple[float, str]]:
    """Instants (s since 1970) and labels: hours, midnights, Mondays or firsts of a month by the clock of the zone."""
    days = (end - start) / DAY
    midnight = datetime.fromtimestamp(start, zone).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=None)
    monday = midnight - timedelta(days=midnight.weekday())
    for hours in HOURS:
        if days * 24 / hours <= at_most:
            return _within(start, end, zone, _every(midnight, timedelta(hours=hours)), _hour)
    for first, steps in ((midnight, DAYS), (monday, WEEKS)):
        for step in steps:
            if days / step <= at_most:
                return _within(start, end, zone, _every(first, timedelta(days=step)), _day)
    return _within(start, end, zone, _firsts(midnight, ceil(days / 30.4 / at_most)), _month)


def _every(first: datetime, step: timedelta) -> Iterator[datetime]:
    while True:
        yield first
        first += step


def _firsts(first: datetime, months: int) -> Iterator[datetime]:
    count = first.year * 12 + first.month - 1
    while True:
        yield first.replace(year=count // 12, month=count % 12 + 1, day=1)
        count += months


def _within(
    start: float, end: float, zone: ZoneInfo, walls: Iterator[datetime], label: Callable[[datetime], str]
) -> list[tuple[float, str]]:
    instants = ((wall.replace(tzinfo=zone).timestamp(), label(wall)) for wall in walls)
    return [tick for tick in takewhile(lambda tick: tick[0] <= end, instants) if tick[0] >= start]


def _hour(wall: datetime) -> str:
    return f"{wall:%H:%M}" if wall.hour else _day(wall)


def _day(wall: datetime) -> str:
    return f"{wall.day} {wall:%b}"


def _month(wall: datetime) -> str:
    return f"{wall:%b %Y}"
