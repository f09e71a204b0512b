"""Recurrence rules of RFC 5545 on the days of a site: read strictly, and followed day by day.

A rule is the value of an RRULE alone. Its days are a site's own days: nothing here knows of hours, so that a change of
the clocks moves no date.

Source: RFC 5545, 3.3.10 (the grammar, which parts go with which frequency, days that do not exist are left out).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import islice

from dateutil.relativedelta import relativedelta
from dateutil.rrule import rrulestr

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
LARGEST_INTERVAL = {"DAILY": 3650, "WEEKLY": 520, "MONTHLY": 120, "YEARLY": 10}  # ten years
TOO_OFTEN = ("SECONDLY", "MINUTELY", "HOURLY")
HOURLY_PARTS = ("BYHOUR", "BYMINUTE", "BYSECOND")
ENDING_PARTS = ("COUNT", "UNTIL")
NUMBERS = {"BYMONTHDAY": 31, "BYYEARDAY": 366, "BYWEEKNO": 53, "BYMONTH": 12, "BYSETPOS": 366}
ONLY_POSITIVE = ("BYMONTH",)
NOT_WITH = {
    "BYMONTHDAY": ("WEEKLY",),
    "BYYEARDAY": ("DAILY", "WEEKLY", "MONTHLY"),
    "BYWEEKNO": ("DAILY", "WEEKLY", "MONTHLY"),
}
STEP = {
    "DAILY": relativedelta(days=1),
    "WEEKLY": relativedelta(weeks=1),
    "MONTHLY": relativedelta(months=1),
    "YEARLY": relativedelta(years=1),
}
WITHIN = timedelta(days=3653)  # ten years
CYCLE = 400  # years: the calendar then repeats to the day, weekdays and all
LAST_YEAR = 9999


class NotARule(ValueError):
    """The text is no recurrence rule that a plan can follow; the message says what to send instead."""


@dataclass(frozen=True)
class Recurrence:
    """A checked rule. `text` is its canonical spelling (upper case, parts as sent)."""

    text: str
    frequency: str
    interval: int
    is_plain: bool  # no BY part: the rule is an interval and nothing else

    def dates(self, begun: date) -> Iterator[date]:
        """The rule's dates from the day it begins, in order. The first may be later than that day."""
        for at in rrulestr(self.text, dtstart=datetime.combine(begun, time())):
            yield at.date()

    def next_on_or_after(self, day: date, *, begun: date) -> date | None:
        """The rule's first date on or after a day, for a rule begun on `begun`; None at the end of the calendar."""
        rule = rrulestr(self.text, dtstart=datetime.combine(self._near(begun, day), time()))
        found: datetime | None = rule.after(datetime.combine(max(day, begun), time()), inc=True)
        return None if found is None else found.date()

    def next_after_done(self, done: date) -> date | None:
        """The day due next when the interval counts from the day of the work.

        A plain rule gives that day and its interval later, at most the month's last day: done on 31 January and
        repeated each month, it is due on the last of February. A rule with BY parts gives its first date after that
        day, begun anew on it.
        """
        if self.is_plain:
            return done + STEP[self.frequency] * self.interval
        return self.next_on_or_after(done + timedelta(days=1), begun=done)

    def _near(self, begun: date, day: date) -> date:
        """A beginning that gives the same dates from `day` on, closer to it: whole intervals of days or weeks later."""
        days = {"DAILY": 1, "WEEKLY": 7}.get(self.frequency)
        if days is None or day <= begun:
            return begun
        whole = days * self.interval
        return begun + timedelta(days=max(0, (day - begun).days // whole - 1) * whole)


def read(text: str, *, begun: date) -> Recurrence:
    """The rule that a text says, for a plan that begins on a day. Raises NotARule, saying what is expected.

    Refused: what is not RFC 5545, anything more often than daily, an end of its own (a plan has `to`), intervals beyond
    ten years, and rules that give no two dates within ten years each of the other.
    """
    parts = _parts(text.upper())
    frequency, interval = _frequency(parts), _interval(parts)
    if interval > LARGEST_INTERVAL[frequency]:
        raise NotARule(f"INTERVAL of at most {LARGEST_INTERVAL[frequency]} is expected with {frequency}: ten years.")
    for name, value in parts.items():
        _check(name, value, frequency, parts)
    rule = Recurrence(
        text=";".join(f"{name}={value}" for name, value in parts.items()),
        frequency=frequency,
        interval=interval,
        is_plain=not any(name.startswith("BY") for name in parts),
    )
    _refuse_seldom(rule, begun)
    return rule


def known(text: str) -> Recurrence:
    """A rule that was checked before it was stored."""
    parts = _parts(text)
    return Recurrence(text, _frequency(parts), _interval(parts), not any(name.startswith("BY") for name in parts))


def _parts(text: str) -> dict[str, str]:
    if text.startswith(("RRULE", "DTSTART")) or "\n" in text:
        raise NotARule("The rule alone is expected, without RRULE: or DTSTART, such as FREQ=MONTHLY;INTERVAL=6.")
    parts: dict[str, str] = {}
    for piece in text.split(";"):
        name, equals, value = piece.partition("=")
        if not equals or not name or not value:
            raise NotARule(f"NAME=VALUE is expected where '{piece}' stands, such as FREQ=MONTHLY;INTERVAL=6.")
        if name in parts:
            raise NotARule(f"{name} is given twice. Give it once.")
        parts[name] = value
    return parts


def _frequency(parts: dict[str, str]) -> str:
    found = parts.get("FREQ")
    if found in TOO_OFTEN:
        raise NotARule("A plan is by days: FREQ of DAILY, WEEKLY, MONTHLY or YEARLY is expected.")
    if found not in STEP:
        raise NotARule("FREQ of DAILY, WEEKLY, MONTHLY or YEARLY is expected, such as FREQ=MONTHLY;INTERVAL=6.")
    return found


def _interval(parts: dict[str, str]) -> int:
    found = parts.get("INTERVAL", "1")
    if not re.fullmatch(r"[1-9]\d{0,3}", found):
        raise NotARule("INTERVAL of a whole number from 1 is expected.")
    return int(found)


def _check(name: str, value: str, frequency: str, parts: dict[str, str]) -> None:
    if name in HOURLY_PARTS:
        raise NotARule(f"A plan is by days: leave {name} out.")
    if name in ENDING_PARTS:
        raise NotARule(f"Leave {name} out: a plan ends at its `to`.")
    if frequency in NOT_WITH.get(name, ()):
        raise NotARule(f"{name} does not go with {frequency} (RFC 5545).")
    if name in NUMBERS:
        _check_numbers(name, value)
    elif name == "BYDAY":
        _check_days(value, frequency, parts)
    elif name == "WKST":
        if value not in WEEKDAYS:
            raise NotARule(f"WKST of one of {', '.join(WEEKDAYS)} is expected.")
    elif name not in ("FREQ", "INTERVAL"):
        raise NotARule(f"{name} is no part of a recurrence rule (RFC 5545).")
    if name == "BYSETPOS" and not any(other.startswith("BY") and other != name for other in parts):
        raise NotARule("BYSETPOS chooses among the days of another BY part; give one (RFC 5545).")


def _check_numbers(name: str, value: str) -> None:
    sign = r"" if name in ONLY_POSITIVE else r"[+-]?"
    largest = NUMBERS[name]
    for piece in value.split(","):
        if not re.fullmatch(rf"{sign}\d{{1,3}}", piece) or not 1 <= abs(int(piece)) <= largest:
            ends = f"1 to {largest}" if not sign else f"1 to {largest} or -1 to -{largest}"
            raise NotARule(f"{name} of whole numbers from {ends} is expected, with commas between.")


def _check_days(value: str, frequency: str, parts: dict[str, str]) -> None:
    for piece in value.split(","):
        found = re.fullmatch(r"([+-]?\d{1,2})?(MO|TU|WE|TH|FR|SA|SU)", piece)
        if found is None or (found[1] and not 1 <= abs(int(found[1])) <= 53):
            raise NotARule(f"BYDAY of {', '.join(WEEKDAYS)} is expected, in months and years with a number: 1MO, -1FR.")
        if found[1] and (frequency not in ("MONTHLY", "YEARLY") or "BYWEEKNO" in parts):
            raise NotARule("A number before a weekday goes with MONTHLY and YEARLY only, and not with BYWEEKNO.")


def _refuse_seldom(rule: Recurrence, begun: date) -> None:
    """Refuse a rule without two dates in ten years of each other.

    The question is put whole cycles of the calendar later, shortly before its end: a rule that never gives a date is
    then known after 400 years instead of 8000.
    """
    later = begun.replace(year=begun.year + (LAST_YEAR - begun.year) // CYCLE * CYCLE)
    found = list(islice(rule.dates(later), 2))
    if len(found) < 2 or found[0] - later > WITHIN or found[1] - found[0] > WITHIN:
        raise NotARule("This gives no two days within ten years. Check BYMONTH against BYMONTHDAY, and INTERVAL.")
