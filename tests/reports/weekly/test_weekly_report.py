"""GET /v1/reports/weekly: the week as JSON and as a page."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from sqlalchemy import event
from support.diary import add, titrations
from support.house import House

from service.storage.database import Database


def report(house: House, site: dict[str, Any], **query: str) -> Any:
    return house.call("GET", "/v1/reports/weekly", params={"site": site["tag"], **query})


def test_a_falling_system_is_named_on_the_first_lines(house: House) -> None:
    site = house.a_site(units={"alkalinity": "dKH"})
    steady = house.a_system(site, name="North loop")
    falling = house.a_system(site, name="South loop", targets={"alkalinity": {"value": 8.4, "unit": "dKH"}})
    titrations(house, steady["id"], [3.0] * 31)
    titrations(house, falling["id"], [3.6 - 0.04 * index for index in range(31)])
    week = report(house, site)
    lines = {line["name"]: line for line in week["lines"]}
    assert lines["North loop"]["words"] == "Steady"
    assert lines["South loop"]["words"].startswith("Falling")
    assert lines["South loop"]["target"] == {"value": pytest.approx(8.4, abs=1e-6), "unit": "dKH"}
    assert "moving away" in lines["South loop"]["heading"] or "at its target" not in lines["South loop"]["heading"]
    assert week["headline"][0] == "1 of 2 systems held its alkalinity this week."
    assert week["headline"][1].startswith("South loop is falling (")
    assert week["cautions"]


def test_what_was_found_in_the_week_is_told_in_that_week(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)
    house.pass_time(days=6)  # Sunday
    levels = [3.0] * 28 + [3.6] * 3
    levels[25] = 4.1
    ids = titrations(house, system["id"], levels, every_days=1.0)
    (line,) = report(house, site)["lines"]
    assert [finding["code"] for finding in line["findings"]] == ["level_shift"]
    assert "rose by 0." in line["findings"][0]["detail"]
    assert "nobody recorded" in line["findings"][0]["detail"]
    assert [left_out["reading_id"] for left_out in line["set_aside"]] == [ids[25]]
    assert line["readings_course"]["flag"].count("set_aside") == 1
    house.pass_time(days=7)
    (later,) = report(house, site)["lines"]
    assert (later["findings"], later["set_aside"]) == ([], [])


def test_a_week_that_has_not_begun_has_no_report(house: House) -> None:
    refused = house.call("GET", f"/v1/reports/weekly?site={house.a_site()['tag']}&week=2026-W30", status=422)
    assert (refused["errors"][0]["pointer"], refused["errors"][0]["in"]) == ("week", "query")


def test_what_was_just_recorded_counts_at_once(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)
    titrations(house, system["id"], [3.0] * 10)
    house.pass_time(minutes=20)
    house.a_reading(system["id"], 3.0, unit="meq/L")
    (line,) = report(house, site)["lines"]
    assert line["readings"] == 2


def test_a_site_is_shown_in_units_that_its_quantities_have(house: House) -> None:
    site = house.a_site()
    path = f"/v1/sites/{site['id']}"
    for units, pointer in (
        ({"alkalinity": "dkh"}, "/units/alkalinity"),
        ({"alkalinity": "mg/L NO3"}, "/units/alkalinity"),
        ({"alkalinity": "umol/kg"}, "/units/alkalinity"),  # means nothing without salinity and temperature
        ({"happiness": "1"}, "/units/happiness"),
    ):
        refused = house.call("PATCH", path, {"units": units}, headers={"If-Match": '"1"'}, status=422)
        assert refused["errors"][0]["pointer"] == pointer
    house.call("PATCH", path, {"units": {"alkalinity": "mg/L CaCO3"}}, headers={"If-Match": '"1"'})
    house.a_system(site)
    assert report(house, site)["lines"][0]["unit"] == "mg/L CaCO3"


def test_what_happened_stands_in_the_report(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site, name="North loop")
    titrations(house, system["id"], [3.0] * 10)
    add(
        house, kind="water_change", system_id=system["id"], at=house.now.isoformat(), volume={"value": 100, "unit": "L"}
    )
    house.call(
        "PUT",
        f"/v1/maintenance-events/{uuid4()}",
        {
            "subject_id": system["id"],
            "kind": "inspection",
            "performed_at": house.now.isoformat(),
            "what": "pump looked at",
        },
    )
    wrong = house.a_reading(system["id"], 9.0)
    house.call("POST", f"/v1/readings/{wrong['id']}/withdrawal", {"reason": "wrong tank"}, headers={"If-Match": '"1"'})
    house.pass_time(hours=2)
    week = report(house, site)
    assert {happening["kind"] for happening in week["lines"][0]["events"]} == {"addition", "maintenance"}
    assert [job["what"] for job in week["maintenance"]] == ["pump looked at"]
    (correction,) = week["corrections"]
    assert (correction["action"], correction["why"]) == ("withdrawn", "wrong tank")


def test_a_system_nobody_tested_is_listed(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site, name="North loop")
    titrations(house, system["id"], [3.0] * 10)
    house.pass_time(days=14)
    week = report(house, site)
    assert week["lines"][0]["words"] == "Not tested this week"
    assert week["unlogged"][0]["system"] == "North loop"


def test_an_empty_site_has_a_report(house: House) -> None:
    week = report(house, house.a_site())
    assert (week["lines"], week["headline"]) == ([], ["No systems are described yet."])


def test_a_past_week_tells_what_was_known_at_its_end(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)
    titrations(house, system["id"], [3.0] * 20)
    name = report(house, site)["week"]
    house.pass_time(days=20)
    past = report(house, site, week=name)
    house.a_reading(system["id"], 20.0, confirm=True)
    again = report(house, site, week=name)
    assert past["at"] == past["to"]
    assert {**past, "audit_seq": 0} == {**again, "audit_seq": 0}


def test_the_page_is_negotiated_and_pulls_are_conditional(house: House) -> None:
    site = house.a_site(name="<svg onload=alert(1)>")
    path = f"/v1/reports/weekly?site={site['tag']}"
    page = house.send("GET", path, headers={"Accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"})
    assert page.headers["content-type"].startswith("text/html")
    assert "<svg onload" not in page.text
    assert house.send("GET", path).headers["content-type"].startswith("application/json")
    house.call("GET", path, headers={"Accept": "image/png"}, status=406)
    tag = page.headers["ETag"]
    assert house.send("GET", path, headers={"Accept": "text/html", "If-None-Match": tag}).status_code == 304
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 200  # another representation
    house.call("GET", f"{path}&week=2026-99", status=422)
    house.call("GET", "/v1/reports/weekly?site=nowhere", status=404)


def test_the_number_of_queries_does_not_grow_with_the_systems(house: House, database: Database) -> None:
    site = house.a_site()
    counted: list[str] = []
    event.listen(database.engine, "before_cursor_execute", lambda *call: counted.append(call[2]))

    def queries() -> int:
        counted.clear()
        report(house, site)
        return len(counted)

    for _ in range(2):
        titrations(house, house.a_system(site)["id"], [3.0] * 5)
    few = queries()
    for _ in range(8):
        titrations(house, house.a_system(site)["id"], [3.0] * 5)
    house.pass_time(hours=2)
    assert queries() == few


def test_another_sites_report_is_not_found(house: House) -> None:
    ours, theirs = house.a_site(), house.a_site()
    token = house.token("supervisor", site=ours["id"])
    house.call("GET", f"/v1/reports/weekly?site={theirs['tag']}", token=token, status=404)
    house.call("GET", f"/v1/reports/weekly?site={ours['tag']}", token=token)


def test_the_instant_of_a_running_week_is_on_the_hour(house: House) -> None:
    site = house.a_site()
    house.pass_time(minutes=47)
    first = report(house, site)["at"]
    house.pass_time(minutes=10)
    assert report(house, site)["at"] == first


def test_a_cylinder_that_runs_out_soon_is_in_the_headline(house: House) -> None:
    site = house.a_site()
    specification = {
        "stamped_tare": {"value": 7, "unit": "kg"},
        "water_capacity": {"value": 6.6, "unit": "L"},
        "charge": {"value": 4.5, "unit": "kg"},
    }
    cylinder = house.call(
        "POST",
        "/v1/equipment",
        {"site_id": site["id"], "tag": "cylinder-a", "kind": "co2_cylinder", "specification": specification},
    )
    start = house.now - timedelta(days=70)
    line = {"site_id": site["id"], "tag": "gas-1", "name": "Hall gas line", "cylinder_ids": [cylinder["id"]]}
    house.call("POST", "/v1/gas-lines", {**line, "from": start.isoformat()})
    assert report(house, site)["gas"][0]["words"] == "Not known."
    for week in range(11):  # 40 g/d from 4.3 kg: 1.5 kg are left today, 1.3 kg are gas alone
        at = (start + timedelta(days=7 * week)).isoformat()
        mass = {"quantity": "cylinder_gross_mass", "unit": "kg", "taken_at": at}
        house.a_reading(cylinder["id"], round(7 + 4.3 - 0.04 * 7 * week, 2), **mass)
    house.pass_time(hours=1)
    week = report(house, site)
    (gas,) = week["gas"]
    assert gas["use"]["low"] < 40 < gas["use"]["high"]
    assert gas["remaining"]["low"] < 1.5 < gas["remaining"]["high"]
    assert gas["change_by"] is not None
    assert any(sentence.startswith("Hall gas line: change the cylinder") for sentence in week["headline"])
    page = house.send("GET", f"/v1/reports/weekly?site={site['tag']}&format=html").text
    assert "Hall gas line" in page
    assert "says nothing about what is left" in page
