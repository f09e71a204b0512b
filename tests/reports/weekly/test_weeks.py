"""Weeks by a site's clock. Dates of clock changes: IANA time zone database."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from service.errors import Unacceptable
from service.reports.weekly.weeks import week_named, week_of


@pytest.mark.parametrize(
    ("zone", "name", "hours"),
    [
        ("Europe/Berlin", "2026-W12", 168),
        ("Europe/Berlin", "2026-W13", 167),  # 29 March 2026, 02:00 to 03:00
        ("Europe/Berlin", "2026-W43", 169),  # 25 October 2026, 03:00 to 02:00
        ("America/New_York", "2026-W10", 167),
        ("America/New_York", "2026-W44", 169),
        ("Asia/Kolkata", "2026-W30", 168),  # a half-hour zone without changes
    ],
)
def test_a_week_has_the_hours_its_clock_gives_it(zone: str, name: str, hours: int) -> None:
    week = week_named(name, ZoneInfo(zone))
    assert week.hours == hours
    assert (week.start.weekday(), week.start.hour, week.end.hour) == (0, 0, 0)


def test_a_half_hour_change_is_half_an_hour() -> None:
    """Lord Howe moves its clock by 30 minutes on 4 October 2026."""
    week = week_named("2026-W40", ZoneInfo("Australia/Lord_Howe"))
    assert (week.end.timestamp() - week.start.timestamp()) / 3600 == 167.5


def test_consecutive_weeks_leave_no_gap() -> None:
    zone = ZoneInfo("Europe/Berlin")
    weeks = [week_named(f"2026-W{number:02d}", zone) for number in range(1, 54)]
    assert all(first.end == second.start for first, second in pairwise(weeks))


def test_the_week_of_an_instant_is_by_the_sites_clock() -> None:
    sunday_night = datetime(2026, 11, 22, 23, 30, tzinfo=UTC)  # Monday in Auckland
    assert week_of(sunday_night, ZoneInfo("Pacific/Auckland")).name == "2026-W48"
    assert week_of(sunday_night, ZoneInfo("UTC")).name == "2026-W47"


@pytest.mark.parametrize("name", ["2026-47", "2026-W54", "W47", "2026-W00", "0001-W01", "2026-W7", ""])
def test_what_is_no_week_is_refused(name: str) -> None:
    with pytest.raises(Unacceptable) as refused:
        week_named(name, ZoneInfo("UTC"))
    assert refused.value.faults[0].pointer == "week"
