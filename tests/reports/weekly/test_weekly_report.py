"""GET /v1/reports/weekly: the week as JSON and as a page."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event
from support.diary import add, titrations
from support.house import House
from support.large_site import write_large_site

from service.access.caller import Scope
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.models import WeeklyReport
from service.reports.weekly.weeks import week_named
from service.resources.places.sites import queries as sites
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


def test_what_the_water_says_stands_in_the_headline(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site, name="South loop")
    titrations(house, system["id"], [3.0] * 31)
    for index in range(16):
        at = (house.now - timedelta(days=4 * (15 - index))).isoformat()
        house.a_reading(
            system["id"], 35.0 - 0.25 * index, quantity="salinity", unit="1", taken_at=at, relative_sd=0.003
        )
    week = report(house, site)
    codes = [each["code"] for each in week["lines"][0]["findings"]]
    assert codes == ["salinity_drifts", "salinity_off"]
    assert any(each.startswith("South loop: salinity falls by 0.4") for each in week["headline"])


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


def test_nor_with_reactors_gas_lines_plans_and_stock(database: Database) -> None:
    """Measured on whole simulated sites: 2 systems and 12, of which 1 and 3 have a reactor."""
    end = datetime(2026, 11, 22, 18, tzinfo=UTC)
    counts = []
    for number in (2, 12):
        tag = write_large_site(database, systems=number, end=end, tag=f"hall-{number}")
        with database.read() as session:
            site = sites.named(session, Scope(None), tag)
            week = week_named("2026-W47", ZoneInfo(site.time_zone))
            counted: list[str] = []

            def count(*call: Any, counted: list[str] = counted) -> None:
                counted.append(call[2])

            event.listen(database.engine, "before_cursor_execute", count)
            found = weekly_report(session, site, week, now=week.end)
            event.remove(database.engine, "before_cursor_execute", count)
        assert len(found["lines"]) == number
        assert len(found["reactors"]) == number // 5 + 1
        assert found["gas"]
        assert found["due"]
        counts.append(len(counted))
    assert counts[0] == counts[1]


def test_a_simulated_hall_is_told_as_it_is(database: Database) -> None:
    """Known of it: 300 meq/d taken by each system, and as much given by 50 L/d of effluent 6 meq/L above the tank."""
    tag = write_large_site(database, systems=10, end=datetime(2026, 11, 22, 18, tzinfo=UTC))
    with database.read() as session:
        site = sites.named(session, Scope(None), tag)
        week = week_named("2026-W47", ZoneInfo(site.time_zone))
        found = weekly_report(session, site, week, now=week.end)
    WeeklyReport.model_validate(found)
    meq_in_dkh = 1 / 0.35665
    for line in found["lines"]:
        assert line["consumption"]["low"] < 0.3 * meq_in_dkh < line["consumption"]["high"]
        calcium, magnesium = line["ions"]
        assert calcium["level"]["low"] < 425 < calcium["level"]["high"]
        assert magnesium["level"]["low"] < 1320 < magnesium["level"]["high"]
        assert (calcium["readings"], calcium["quantity"], magnesium["quantity"]) == (1, "calcium", "magnesium")
    for reactor in found["reactors"]:
        ratio = reactor["systems"][0]["supply_over_demand"]
        assert ratio["low"] < 1 < ratio["high"]
        assert reactor["flow"]["low"] < 50 / 1.44 < reactor["flow"]["high"]  # 1 mL/min is 1.44 L/d
        assert reactor["alkalinity"]["low"] < 8.9 * meq_in_dkh < reactor["alkalinity"]["high"]
        assert reactor["media_level"]["unit"] == "%"
    assert found["to_order"] == sorted(found["to_order"], key=lambda each: each["by"])


def test_a_demand_that_stepped_is_told_with_the_corals_that_came(house: House) -> None:
    site = house.a_site(time_zone="Europe/Oslo", units={"alkalinity": "dKH"})
    still, grown = house.a_system(site, name="North loop")["id"], house.a_system(site, name="South loop")["id"]
    titrations(house, still, [5.0 - 0.05 * day for day in range(57)], every_days=1.0)
    falls = [0.02] * 35 + [0.08] * 21  # meq/L/d: four times as much since three weeks ago
    titrations(house, grown, [5.2 - sum(falls[:day]) for day in range(57)], every_days=1.0)
    came = house.now - timedelta(days=21)
    for at, kind, what in ((came, "added", "branching colonies"), (came - timedelta(days=30), "lost", "fragments")):
        sent = {"subject_id": grown, "kind": kind, "at": at.isoformat(), "what": what, "count": 24}
        house.call("PUT", f"/v1/stock-changes/{uuid4()}", sent)
    lines = {line["name"]: line for line in report(house, site)["lines"]}
    assert lines["North loop"]["demand_changes"] == []
    changes = {change["weeks"]: change for change in lines["South loop"]["demand_changes"]}
    change = changes[4]["change"]
    assert change["low"] < 0.06 / 0.35665 < change["high"]
    assert change["low"] > 0
    assert [near["what"] for near in changes[4]["events"]] == ["24 branching colonies added"]
    assert changes[4]["words"].endswith("since 24 branching colonies added on 9 February.")
    assert "more than four weeks ago" in changes[4]["words"]


def test_what_is_overdue_and_due_next_week_is_listed(house: House) -> None:
    site = house.a_site()  # the clock stands at Monday 2 March 2026, 12:00 UTC
    pump = house.call(
        "POST", "/v1/equipment", {"site_id": site["id"], "tag": "pump-1", "kind": "pump", "name": "Return"}
    )
    plan = {"subject_id": pump["id"], "kind": "predetermined", "recurrence": "FREQ=MONTHLY;INTERVAL=6"}
    for what, start in (("later", "2026-03-10"), ("next week", "2026-03-09"), ("cleaned", "2026-02-20")):
        house.call("POST", "/v1/maintenance-plans", {**plan, "what": what, "from": f"{start}T12:00:00Z"})
    week = report(house, site)
    assert [(row["subject"], row["what"], row["words"]) for row in week["due"]] == [
        ("Return", "cleaned", "10 days overdue"),
        ("Return", "next week", "due on Monday 9 March"),
    ]
    assert "1 job is overdue: cleaned (Return), 10 days overdue." in week["headline"]
    assert [task["detail"] for task in week["to_do"]] == ["Cleaned: 10 days overdue."]
    event = {
        "subject_id": pump["id"],
        "kind": "predetermined",
        "performed_at": house.now.isoformat(),
        "what": "Cleaned",
    }
    house.call("PUT", f"/v1/maintenance-events/{uuid4()}", event)
    house.pass_time(minutes=5)
    assert [row["what"] for row in report(house, site)["due"]] == ["next week"]


def test_a_system_off_its_target_is_given_so_much_more(house: House) -> None:
    site = house.a_site(units={"alkalinity": "dKH"})
    target = {"targets": {"alkalinity": {"value": 8.4, "unit": "dKH"}}}
    down = house.a_system(site, name="South loop", **target)
    up = house.a_system(site, name="North loop", **target)
    titrations(house, down["id"], [3.0 - 0.05 * day for day in range(-15, 16)], every_days=1.0)
    titrations(house, up["id"], [2.3 + 0.02 * day for day in range(31)], every_days=1.0)  # on its way to the target
    lines = {line["name"]: line for line in report(house, site)["lines"]}
    (advice,) = lines["South loop"]["advice"]
    assert advice["code"] == "give_more"
    # 0.05 meq/L/d from 1000 L: 50 meq a day
    found = re.search(r"Give (\d+) \((\d+) to (\d+)\) meq a day more, by dosing", advice["detail"])
    assert found is not None
    assert int(found[2]) < 50 < int(found[3])
    assert lines["North loop"]["words"].startswith("Rising")
    assert lines["North loop"]["advice"] == []


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
