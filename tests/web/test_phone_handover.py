"""The page of a change of shifts as it is rendered: what presses first, in the units and words of the site."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from support.house import House
from web.visitor import look, signed_in

from service.reports.handover.mark import LONGEST
from service.resources.places.sites.models import Site
from service.storage.database import Database
from service.web.phone.handing_over import ways_back


@pytest.fixture
def house(database: Database) -> House:
    """A service of a test's own: its sites are named alike in each."""
    return House(database)


@pytest.fixture
def system(house: House) -> Any:
    """A system with readings of some days, on a site with a clock of its own."""
    site = house.a_site(tag="shifts", name="The house", time_zone="Asia/Tokyo", units={"alkalinity": "dKH"})
    made = house.a_system(site, tag="lagoon", name="<i>Lagoon</i>")
    for _ in range(6):
        house.a_reading(made["id"], 8.0)
        house.pass_time(hours=12)
    return made


def shown(house: House, query: str = "", cookie: str = "", **headers: str) -> str:
    """The words of the page, tags and spacing aside."""
    answer = look(house, f"/phone/handover/shifts{query}", cookie or signed_in(house), **headers)
    assert answer.status_code == 200, answer.text
    body = answer.text.partition("<main")[2]
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", body)).replace("&nbsp;", " ")


def test_figures_stand_in_the_unit_they_were_read_in(house: House, system: Any) -> None:
    house.a_reading(system["id"], 9.9)
    page = shown(house)
    assert "Alkalinity 9.9 dKH, usually 8 to 8 dKH" in page
    assert "&lt;i&gt;Lagoon&lt;/i&gt;" in page
    assert "<i>Lagoon" not in page


def test_targets_and_settings_are_named_in_words(house: House, system: Any) -> None:
    now = house.now.isoformat()
    changed = {"subject_id": system["id"], "from": now, "reason": "more growth"}
    for code, value, unit in (("target_alkalinity", 8.5, "dKH"), ("water_volume", 900, "L")):
        house.call("PUT", f"/v1/set-points/{uuid4()}", {**changed, "quantity": code, "value": value, "unit": unit})
    page, german = shown(house), shown(house, Accept_Language="de")
    assert "Target of alkalinity: set to 8.5 dKH" in page
    assert "Water volume: set to 900 L" in page
    assert "More growth" in page
    assert "Zielwert für Alkalinität: gestellt auf 8.5 dKH" in german
    assert "target_" not in page + german


def test_it_begins_at_a_time_by_the_sites_own_clock(house: House, system: Any) -> None:
    stock = {"subject_id": system["id"], "kind": "lost", "at": house.now.isoformat(), "what": "staghorn"}
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", stock)
    local = house.now + timedelta(hours=9)  # Japan has no summer time
    house.pass_time(minutes=10)
    assert "staghorn: lost" in shown(house, f"?since={local - timedelta(minutes=1):%Y-%m-%dT%H:%M}")
    page = shown(house, f"?since={local + timedelta(minutes=5):%Y-%m-%dT%H:%M}")
    assert "staghorn" not in page
    assert f"What is new since {local + timedelta(minutes=5):%Y-%m-%d %H:%M}" in page


def test_the_ways_back_lead_there_from_a_page_that_is_hours_old(house: House, system: Any) -> None:
    stock = {"subject_id": system["id"], "kind": "lost", "at": house.now.isoformat(), "what": "staghorn"}
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", stock)
    house.pass_time(hours=50)
    offered = look(house, "/phone/handover/shifts", signed_in(house)).text
    ways = re.findall(r'href="/phone/handover/shifts(\?[^"]+)"', offered)
    assert len(ways) == 3
    house.pass_time(hours=6)
    assert ["staghorn: lost" in shown(house, way) for way in ways] == [False, True, True]


def test_the_earliest_that_may_be_chosen_may_be_shown_after_a_change_of_clocks() -> None:
    site = Site(name="Hall", tag="hall", time_zone="Europe/Oslo")
    at = datetime(2027, 3, 30, 10, 0, tzinfo=UTC)  # two days after the clocks went forward
    assert ways_back(site, at)["earliest"] == "2027-03-23T11:01"
    assert datetime(2027, 3, 23, 11, 1, tzinfo=ZoneInfo("Europe/Oslo")) == at - LONGEST + timedelta(minutes=1)


@pytest.mark.parametrize("days", ["0", "8", "-1", "many"])
def test_days_that_cannot_be_are_refused_by_name(house: House, system: Any, days: str) -> None:
    answer = look(house, f"/phone/handover/shifts?days={days}", signed_in(house))
    assert answer.status_code == 422
    assert "days" in answer.text


@pytest.mark.parametrize("since", ["yesterday", "2026-13-01T00:00", "1999-01-01T00:00", "2199-01-01T00:00"])
def test_a_time_that_cannot_be_is_refused_by_name(house: House, system: Any, since: str) -> None:
    answer = look(house, f"/phone/handover/shifts?since={since}", signed_in(house))
    assert answer.status_code == 422
    assert "since" in answer.text


def test_of_danger_the_whole_is_told_of_the_rest_the_first_sentence(house: House, system: Any) -> None:
    reactor = house.call(
        "POST", "/v1/equipment", {"site_id": system["site_id"], "tag": "reactor", "kind": "calcium_reactor"}
    )
    feed = {"reactor_id": reactor["id"], "system_id": system["id"], "share": 1}
    house.call("POST", "/v1/feeds", {**feed, "from": (house.now - timedelta(days=2)).isoformat()})
    house.a_reading(reactor["id"], 0, quantity="effluent_flow", unit="L/d", confirm=True)
    page = shown(house)
    assert "Nothing drips" in page
    assert "look for a blocked line or a stopped pump" in page, "what to do now is the later sentence"
    assert page.index("Nothing drips") < page.index("From the shift before")


def test_the_places_and_the_round_lead_there(house: House, system: Any) -> None:
    cookie = signed_in(house)
    for path in ("/phone", "/phone/round/shifts"):
        assert 'href="/phone/handover/shifts" data-keep' in look(house, path, cookie).text
