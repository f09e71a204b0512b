"""Numbers and instants in the words of a page: as many decimals as the interval supports, the site's own clock."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime, timedelta
from math import floor, log10
from typing import Any
from zoneinfo import ZoneInfo

MOST_DECIMALS = 3
FOUR_DIGITS = 10_000
HALF_A_SECOND = timedelta(milliseconds=500)  # computed instants may fall a microsecond short of the minute
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
SENTENCE = re.compile(r"(?<=[.!?])\s+(?=[A-Z])")
NO_BREAK = "\N{NO-BREAK SPACE}"

Number = Mapping[str, Any]


def decimals(bounds: Number) -> int:
    """How many decimals a computed number is worth: one digit of its half-width, two when that begins with 1 or 2.

    Common practice in stating uncertainty.
    """
    value = bounds["value"]
    sides = [abs(value - side) for side in (bounds["low"], bounds["high"]) if side is not None]
    scale = sum(sides) / len(sides) if any(sides) else abs(value) / 3
    return min(max(-floor(log10(scale / 3)), 0), MOST_DECIMALS) if scale > 0 else 2


def figure(bounds: Number) -> str:
    """A computed number without its unit, such as `7.9`."""
    return f"{bounds['value']:z.{decimals(bounds)}f}"


def between(bounds: Number) -> str:
    """The interval of a computed number, such as `7.7 to 8.1`; an open side is said, never left out."""
    low, high, places = bounds["low"], bounds["high"], decimals(bounds)
    if low is None and high is None:
        return "no bounds from these records"
    if low is None:
        return f"at most {high:z.{places}f}"
    if high is None:
        return f"at least {low:z.{places}f}"
    return f"{low:z.{places}f} to {high:z.{places}f}"


def amount(entered: Number) -> str:
    """A number with its unit, to four digits, such as `8.2 dKH`, kept on one line."""
    value = entered["value"]
    digits = "z.4g" if abs(value) < FOUR_DIGITS else "z.0f"
    return f"{value:{digits}}{NO_BREAK}{entered['unit']}"


def instant(at: datetime | str) -> datetime:
    """An instant of a report to the nearest second: datetimes when it is fresh, RFC 3339 text when it was stored."""
    exact = at if isinstance(at, datetime) else datetime.fromisoformat(at)
    return (exact + HALF_A_SECOND).replace(microsecond=0)


def moment(at: datetime | str, zone: ZoneInfo) -> str:
    """An instant by the site's clock, such as `Thu 19 Nov 07:40`."""
    local = instant(at).astimezone(zone)
    weekday, month = DAYS[local.weekday()], MONTHS[local.month - 1]
    return f"{weekday} {local.day}{NO_BREAK}{month} {local.hour:02}:{local.minute:02}"


def brief(at: datetime | str, zone: ZoneInfo) -> str:
    """The day of an instant by the site's clock, such as `19 Nov`."""
    local = instant(at).astimezone(zone)
    return f"{local.day}{NO_BREAK}{MONTHS[local.month - 1]}"


def date_of(at: datetime | str, zone: ZoneInfo) -> str:
    """The day of an instant by the site's clock without its year, such as `19 November`."""
    local = instant(at).astimezone(zone)
    return f"{local.day} {local:%B}"


def first_sentence(text: str) -> str:
    """The first sentence of a remark: what it says, without why and how."""
    return SENTENCE.split(text, maxsplit=1)[0]


def day(at: datetime | str, zone: ZoneInfo) -> str:
    """The day of an instant by the site's clock, such as `19 November 2026`."""
    local = instant(at).astimezone(zone)
    return f"{local.day}{NO_BREAK}{local:%B} {local.year}"


def machine(at: datetime | str) -> str:
    """An instant for the `datetime` attribute of a `<time>` element."""
    return instant(at).isoformat()


def span(start: datetime | str, end: datetime | str, zone: ZoneInfo) -> str:
    """The days from an instant to before another, such as `Monday 16 to Sunday 22 November 2026`."""
    first = instant(start).astimezone(zone)
    last = instant(end).astimezone(zone) - timedelta(minutes=1)
    month = "" if (first.year, first.month) == (last.year, last.month) else f" {first:%B}"
    year = "" if first.year == last.year else f" {first.year}"
    return f"{first:%A} {first.day}{month}{year} to {last:%A} {last.day} {last:%B} {last.year}"


def named(code: str) -> str:
    """A code as words: `low_ph_cut_off` as `low ph cut off`."""
    return code.replace("_", " ")
