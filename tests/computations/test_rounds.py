"""Rounds: what is usually read by today and what is planned, clean water before quarantine."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from support.house import House

from service.computations.rounds.cadence import due_on

TODAY = date(2026, 3, 20)


def days_ago(*ago: int) -> list[date]:
    """Days counted back from today, in order."""
    return [TODAY - timedelta(days=each) for each in ago]


@pytest.mark.parametrize(
    ("days", "due"),
    [
        (days_ago(8, 6, 4, 2), 0),  # every other day: today
        (days_ago(9, 7, 5, 3), 1),  # yesterday: overdue
        (days_ago(4, 3, 2, 1), 0),  # daily
        (days_ago(22, 15, 8, 1), -6),  # weekly, yesterday: in six days
        (days_ago(20, 8, 6, 4, 2), 0),  # one holiday does not change a habit
        (days_ago(8, 6, 4, 2, 0), 0),  # read today: it was due today
        (days_ago(6, 4, 2), None),  # three days are no habit
        (days_ago(60, 58, 56, 54), None),  # given up
    ],
)
def test_a_habit_makes_a_due_day(days: list[date], due: int | None) -> None:
    """Worked by hand; the rule itself is common practice, no source."""
    assert due_on(days, TODAY) == (None if due is None else TODAY - timedelta(days=due))


def read_daily(house: House, subject_id: str, days: int, *, last: int = 1) -> None:
    """A reading a day, the last one so many days ago."""
    for back in range(days + last - 1, last - 1, -1):
        house.a_reading(subject_id, taken_at=(house.now - timedelta(days=back)).isoformat())


def test_a_round_is_walked_from_clean_to_quarantine(house: House) -> None:
    site = house.a_site(tag="walked")
    sick, clean, watched = (
        house.a_system(site, tag=tag, name=tag, quarantine_class=kind)
        for tag, kind in (("a-sick", "quarantine"), ("z-clean", "clean"), ("b-new", "observation"))
    )
    for system in (sick, clean, watched):
        read_daily(house, system["id"], 5)
    found = house.call("GET", "/v1/rounds?site=walked")
    assert [stop["tag"] for stop in found["stops"]] == ["z-clean", "b-new", "a-sick"]
    assert (found["count"], found["done"]) == (3, 0)
    house.a_reading(clean["id"])
    again = house.call("GET", "/v1/rounds?site=walked")
    assert (again["count"], again["done"]) == (3, 1)
    assert again["stops"][0]["due"][0]["done"] is True


def test_planned_work_is_due_where_its_reactor_feeds(house: House) -> None:
    site = house.a_site(tag="planned")
    system = house.a_system(site, tag="lagoon", name="Lagoon")
    reactor = a_piece(house, site, "reactor", "calcium_reactor")
    pump = a_piece(house, site, "pump", "pump")
    began = (house.now - timedelta(days=9)).isoformat()
    feed = {"reactor_id": reactor["id"], "system_id": system["id"], "share": 1, "from": began}
    house.call("POST", "/v1/feeds", feed)
    for piece in (reactor, pump):
        plan = {"subject_id": piece["id"], "what": "clean", "kind": "predetermined", "recurrence": "FREQ=WEEKLY"}
        house.call("POST", "/v1/maintenance-plans", {**plan, "from": began})
    found = house.call("GET", "/v1/rounds?site=planned")
    assert [(stop["tag"], [each["subject_id"] for each in stop["due"]]) for stop in found["stops"]] == [
        ("lagoon", [reactor["id"]]),
        (None, [pump["id"]]),
    ]
    assert {each["kind"] for stop in found["stops"] for each in stop["due"]} == {"maintenance"}


def a_piece(house: House, site: dict[str, Any], tag: str, kind: str) -> dict[str, Any]:
    """A described piece of equipment."""
    piece: dict[str, Any] = house.call("POST", "/v1/equipment", {"site_id": site["id"], "tag": tag, "kind": kind})
    return piece


def test_a_new_site_has_an_empty_round(house: House) -> None:
    house.a_site(tag="new-site")
    assert house.call("GET", "/v1/rounds?site=new-site")["stops"] == []
