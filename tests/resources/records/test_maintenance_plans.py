"""Maintenance plans: what is due when, by the days of the site, and which events count for which plan."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import event as listening
from support.house import House

from service.access.caller import Scope
from service.resources.records.checking import faults
from service.resources.records.maintenance_plans import queries

PATH = "/v1/maintenance-plans"


def planned(house: House, subject_id: str, /, *, status: Any = 201, **fields: Any) -> Any:
    """A described plan, some fields replaced."""
    content = {
        "subject_id": subject_id,
        "what": "Clean the drip line",
        "kind": "predetermined",
        "recurrence": "FREQ=MONTHLY",
        "from": "2026-01-01T12:00:00Z",
    }
    return house.call("POST", PATH, {**content, **fields}, status=status)


def done(house: House, subject_id: str, at: str, /, *, status: Any = 201, **fields: Any) -> Any:
    """A recorded event."""
    content = {"subject_id": subject_id, "kind": "predetermined", "performed_at": at, "what": "clean the drip line"}
    return house.call("PUT", f"/v1/maintenance-events/{uuid4()}", {**content, **fields}, status=status)


def standing(house: House, plan: dict[str, Any]) -> tuple[str | None, int | None]:
    """When it is due next, and for how many days it has been."""
    read = house.call("GET", f"{PATH}/{plan['id']}")
    return read["next_due_on"], read["overdue_days"]


def at(house: House, text: str) -> None:
    """Set the clock."""
    house.now = datetime.fromisoformat(text).astimezone(UTC)


def test_a_plan_is_due_from_its_first_day_and_then_counts_from_the_work(house: House) -> None:
    pump = house.a_system()["id"]
    plan = planned(house, pump)
    assert (plan["counts_from"], plan["last_done_at"]) == ("done", None)
    at(house, "2026-01-05T12:00:00Z")
    assert standing(house, plan) == ("2026-01-01", 4)
    done(house, pump, "2026-01-05T08:00:00Z", plan_id=plan["id"])
    assert standing(house, plan) == ("2026-02-05", 0)
    assert house.call("GET", f"{PATH}/{plan['id']}")["last_done_at"] == "2026-01-05T08:00:00Z"
    at(house, "2026-03-02T12:00:00Z")
    assert standing(house, plan) == ("2026-02-05", 25)


def test_by_the_calendar_a_late_day_moves_no_other(house: House) -> None:
    pump = house.a_system()["id"]
    plan = planned(house, pump, counts_from="calendar", recurrence="FREQ=MONTHLY;BYDAY=1MO")
    at(house, "2026-01-08T12:00:00Z")
    assert standing(house, plan) == ("2026-01-05", 3)
    done(house, pump, "2026-01-08T08:00:00Z", plan_id=plan["id"])
    assert standing(house, plan) == ("2026-02-02", 0)  # not a month after the work
    at(house, "2026-02-02T21:00:00Z")
    assert standing(house, plan) == ("2026-02-02", 0)
    done(house, pump, "2026-02-02T20:00:00Z", plan_id=plan["id"])
    assert standing(house, plan) == ("2026-03-02", 0)


def test_months_without_the_day(house: House) -> None:
    """Counted from the work, the month's last day stands for one that it lacks; RFC 5545 leaves such a month out."""
    pump = house.a_system()["id"]
    by_work = planned(house, pump, what="by the work", **{"from": "2026-01-31T12:00:00Z"})
    by_rule = planned(house, pump, what="by the rule", counts_from="calendar", **{"from": "2026-01-31T12:00:00Z"})
    last = planned(house, pump, what="the last", counts_from="calendar", recurrence="FREQ=MONTHLY;BYMONTHDAY=-1")
    at(house, "2026-01-31T12:00:00Z")
    for plan in (by_work, by_rule, last):
        done(house, pump, "2026-01-31T09:00:00Z", what=plan["what"])
    at(house, "2026-02-01T12:00:00Z")
    assert [standing(house, plan)[0] for plan in (by_work, by_rule, last)] == ["2026-02-28", "2026-03-31", "2026-02-28"]


@pytest.mark.parametrize(
    ("zone", "performed", "now", "due", "overdue"),
    [
        # The day of the work is the site's: 00:15 on 3 January in Kolkata (UTC+5:30) is 2 January in UTC.
        ("Asia/Kolkata", "2026-01-02T18:45:00Z", "2026-01-03T18:25:00Z", "2026-01-04", 0),
        ("Asia/Kolkata", "2026-01-02T18:25:00Z", "2026-01-03T18:35:00Z", "2026-01-03", 1),
        # Clocks go forward in Oslo on 29 March 2026: that day has 23 hours, and is a day.
        ("Europe/Oslo", "2026-03-28T22:30:00Z", "2026-03-29T21:59:00Z", "2026-03-29", 0),
        ("Europe/Oslo", "2026-03-28T22:30:00Z", "2026-03-29T22:01:00Z", "2026-03-29", 1),
        ("Europe/Oslo", "2026-03-28T23:30:00Z", "2026-03-29T22:01:00Z", "2026-03-30", 0),
        # They go back on 25 October 2026, a day of 25 hours, and in Adelaide (UTC+9:30) forward on 4 October.
        ("Europe/Oslo", "2026-10-24T21:30:00Z", "2026-10-25T22:59:00Z", "2026-10-25", 0),
        ("Europe/Oslo", "2026-10-24T21:30:00Z", "2026-10-25T23:01:00Z", "2026-10-25", 1),
        ("Australia/Adelaide", "2026-10-03T14:00:00Z", "2026-10-04T13:29:00Z", "2026-10-04", 0),
        ("Australia/Adelaide", "2026-10-03T14:00:00Z", "2026-10-04T13:31:00Z", "2026-10-04", 1),
    ],
)
def test_days_are_the_sites(house: House, zone: str, performed: str, now: str, due: str, overdue: int) -> None:
    system = house.a_system(house.a_site(time_zone=zone))["id"]
    plan = planned(house, system, recurrence="FREQ=DAILY")
    at(house, now)
    done(house, system, performed, plan_id=plan["id"])
    assert standing(house, plan) == (due, overdue)


def test_which_events_count(house: House) -> None:
    site = house.a_site()
    one, two = house.a_system(site)["id"], house.a_system(site)["id"]
    plan = planned(house, one)
    for subject, fields in (
        (one, {"what": "clean the drip line, half of it"}),
        (two, {}),  # the same words, another subject
        (one, {"plan_id": planned(house, one, what="Look it over")["id"]}),  # the same words, another plan named
    ):
        done(house, subject, "2026-02-01T08:00:00Z", **fields)
    assert standing(house, plan)[0] == "2026-01-01"
    done(house, one, "2026-02-02T08:00:00Z", what="CLEAN  the drip line")
    assert standing(house, plan)[0] == "2026-03-02"
    named = done(house, one, "2026-02-03T08:00:00Z", what="descaled", plan_id=plan["id"])
    assert standing(house, plan)[0] == "2026-03-03"
    path = f"/v1/maintenance-events/{named['id']}"
    house.call("POST", f"{path}/withdrawal", {"reason": "another line"}, headers={"If-Match": '"1"'})
    assert standing(house, plan)[0] == "2026-03-02"
    done(house, one, "2026-02-20T08:00:00Z", what="descaled", plan_id=plan["id"])
    due = house.call("GET", f"{PATH}/due?at=2026-02-10T12:00:00Z&days=60")
    assert next(row for row in due if row["id"] == plan["id"])["next_due_on"] == "2026-03-02"  # as it stood then


def test_an_event_names_a_plan_of_its_own_subject(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    one, two, elsewhere = house.a_system(site)["id"], house.a_system(site)["id"], house.a_system(other)["id"]
    plan = planned(house, one)["id"]
    when = "2026-02-01T08:00:00Z"
    for subject, plan_id, status in ((two, plan, 422), (elsewhere, plan, 404), (one, str(uuid4()), 404)):
        problem = done(house, subject, when, plan_id=plan_id, status=status)
        assert problem["errors"][0]["pointer"] == "/plan_id"
    stranger = house.token("supervisor", site=other["id"])
    content = {"subject_id": elsewhere, "kind": "inspection", "performed_at": when, "what": "x", "plan_id": plan}
    house.call("PUT", f"/v1/maintenance-events/{uuid4()}", content, token=stranger, status=404)
    event = done(house, one, when, plan_id=plan)
    change = {"subject_id": two, "reason": "the other one"}
    path = f"/v1/maintenance-events/{event['id']}/corrections"
    problem = house.call("POST", path, change, headers={"If-Match": '"1"'}, status=422)
    assert problem["errors"][0]["pointer"] == "/plan_id"
    house.call("POST", path, {**change, "plan_id": None}, headers={"If-Match": '"1"'})


def test_bad_plans_are_named(house: House) -> None:
    system = house.a_system()["id"]
    bad = [
        ({"recurrence": "FREQ=HOURLY"}, "/recurrence", 422),
        ({"recurrence": "twice a year"}, "/recurrence", 422),
        ({"recurrence": "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30"}, "/recurrence", 422),
        ({"recurrence": 6}, "/recurrence", 422),
        ({"recurrence": "FREQ=DAILY;BYMONTHDAY=" + "1," * 200}, "/recurrence", 422),
        ({"kind": "corrective"}, "/kind", 422),
        ({"what": ""}, "/what", 422),
        ({"counts_from": "bought"}, "/counts_from", 422),
        ({"from": "2026-01-01"}, "/from", 422),
        ({"to": "2026-01-01T12:00:00Z"}, "/to", 422),
        ({"subject_id": str(uuid4())}, "/subject_id", 404),
        ({"site_id": str(uuid4())}, "/site_id", 422),
    ]
    for fields, pointer, status in bad:
        problem = planned(house, system, status=status, **fields)
        assert problem["errors"][0]["pointer"] == pointer, problem
    assert house.call("GET", PATH) == []


def test_a_plan_is_changed_and_ends(house: House) -> None:
    system = house.a_system()["id"]
    plan = planned(house, system, procedure="Acid, then rinse.")
    path = f"{PATH}/{plan['id']}"
    house.call("PATCH", path, {"recurrence": "FREQ=SECONDLY"}, headers={"If-Match": '"1"'}, status=422)
    house.call("PATCH", path, {"what": "Descale the drip line"}, status=428)
    changed = house.call(
        "PATCH", path, {"recurrence": "freq=weekly", "what": "Descale", "procedure": None}, headers={"If-Match": '"1"'}
    )
    assert (changed["recurrence"], changed["what"], changed["procedure"]) == ("FREQ=WEEKLY", "Descale", None)
    done(house, system, "2026-02-27T08:00:00Z", what="descale")
    assert standing(house, plan) == ("2026-03-06", 0)
    house.call("PATCH", path, {"to": "2026-03-06T00:00:00Z"}, headers={"If-Match": '"2"'})
    assert standing(house, plan) == (None, None)  # the day it would be due, it has ended
    house.call("PATCH", path, {"to": None}, headers={"If-Match": '"3"'})
    assert standing(house, plan) == ("2026-03-06", 0)
    house.call("PATCH", path, {"to": plan["from"]}, headers={"If-Match": '"4"'})
    assert standing(house, plan) == (None, None)
    with house.database.read() as session:
        assert [fault for fault in faults(session) if "maintenance" in fault] == []


def test_what_is_retired_is_not_due(house: House) -> None:
    site = house.a_site()
    piece = house.call("POST", "/v1/equipment", {"site_id": site["id"], "tag": "p-1", "kind": "pump"})
    plan = planned(house, piece["id"])
    assert standing(house, plan)[1] == 60  # 1 January to 2 March
    house.call("PATCH", f"/v1/equipment/{piece['id']}", {"state": "retired"}, headers={"If-Match": '"1"'})
    assert standing(house, plan) == (None, None)


def test_the_due_list_has_the_longest_overdue_first(house: House) -> None:
    site, other = house.a_site(tag="reefhouse"), house.a_site()
    system = house.a_system(site)["id"]
    starts = {"next week": "2026-03-09", "overdue": "2026-02-20", "later": "2026-03-10", "today": "2026-03-02"}
    for what, start in starts.items():
        planned(house, system, what=what, **{"from": f"{start}T12:00:00Z"})
    planned(house, house.a_system(other)["id"], what="elsewhere")
    listed = house.call("GET", f"{PATH}/due?site=reefhouse")
    assert [(row["what"], row["overdue_days"]) for row in listed] == [("overdue", 10), ("today", 0), ("next week", 0)]
    assert [row["what"] for row in house.call("GET", f"{PATH}/due?site=reefhouse&days=0")] == ["overdue", "today"]
    stranger = house.token("reader", site=other["id"])
    assert [row["what"] for row in house.call("GET", f"{PATH}/due", token=stranger)] == ["elsewhere"]
    house.call("GET", f"{PATH}/due?site=reefhouse", token=stranger, status=404)
    for query in ("days=-1", "days=367", "at=yesterday"):
        house.call("GET", f"{PATH}/due?{query}", status=422)


def test_queries_do_not_grow_with_the_plans(house: House) -> None:
    site = house.a_site()
    counts = []
    for number in (2, 9):
        for index in range(number):
            planned(house, house.a_system(site)["id"], what=f"plan {index}")
        with house.database.read() as session:
            plans = queries.of_sites(session, Scope(None), UUID(site["id"]))
            sent: list[str] = []

            def count(_connection: Any, _cursor: Any, statement: str, *_: Any, sent: list[str] = sent) -> None:
                sent.append(statement)

            listening.listen(house.database.engine, "before_cursor_execute", count)
            queries.dues(session, plans, house.now)
            listening.remove(house.database.engine, "before_cursor_execute", count)
            counts.append(len(sent))
    assert counts[0] == counts[1] == 4
