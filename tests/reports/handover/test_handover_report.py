"""What changed since a site was last taken over: what a next shift is told, from where on, by whom it may be read."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import quote, urlencode
from uuid import uuid4

import pytest
from sqlalchemy import event
from support.camera import photo
from support.house import House
from support.plant import Plant

from service.reports.handover.lines import is_far
from service.reports.handover.pressing import presses
from service.storage.database import Database

CYLINDER = {
    "stamped_tare": {"value": 6.85, "unit": "kg"},
    "water_capacity": {"value": 6.7, "unit": "L"},
    "charge": {"value": 4.5, "unit": "kg"},
}
TAG = {"If-Match": '"1"'}


@pytest.fixture
def site(house: House) -> Any:
    """A site to hand over."""
    return house.a_site(tag="hall")


def report(house: House, token: str = "", **query: str) -> Any:
    asked = "".join(f"&{name}={quote(value)}" for name, value in query.items())
    return house.call("GET", f"/v1/reports/handover?site=hall{asked}", token=token)


def lines(house: House, token: str = "") -> list[dict[str, Any]]:
    """Every line, whatever its system, the findings of the service aside."""
    told = [line for stop in report(house, token)["stops"] for line in stop["lines"]]
    return [line for line in told if line["kind"] not in ("finding", "gone")]


def kinds_of(read: Any) -> list[str]:
    """The kinds of lines of a report, findings aside."""
    told = [line["kind"] for stop in read["stops"] for line in stop["lines"]]
    return [kind for kind in told if kind not in ("finding", "gone")]


def kinds(house: House) -> list[str]:
    return [line["kind"] for line in lines(house)]


def write_note(house: House, site: Any, text: str = "the drip is slow", **fields: Any) -> Any:
    content = {"site_id": site["id"], "text": text, "written_at": house.now.isoformat(), **fields}
    return house.call("PUT", f"/v1/handovers/{uuid4()}", content)


def take_over(house: House, read: Any, token: str = "", *, status: int = 201, **fields: Any) -> Any:
    """Take over what was read."""
    sent = {"site_id": read["site_id"], "read_to": read["read_to"], "as_of": read["at"], **fields}
    content = {"taken_at": house.now.isoformat(), **sent}
    return house.call("PUT", f"/v1/takeovers/{uuid4()}", content, token=token, status=status)


def handed_over(house: House, site: Any) -> None:
    """The mark is now, and a minute passes."""
    take_over(house, house.call("GET", f"/v1/reports/handover?site={site['tag']}"))
    house.pass_time(minutes=1)


def a_coral(house: House, system: Any, what: str = "staghorn", kind: str = "added") -> Any:
    content = {"subject_id": system["id"], "kind": kind, "at": house.now.isoformat(), "what": what}
    return house.call("PUT", f"/v1/stock-changes/{uuid4()}", content)


def piece(house: House, site: Any, tag: str, kind: str, **fields: Any) -> Any:
    return house.call("POST", "/v1/equipment", {"site_id": site["id"], "tag": tag, "kind": kind, "name": tag, **fields})


def test_everything_that_a_shift_did_is_told(house: House, site: Any) -> None:
    system = house.a_system(site, name="Lagoon", tag="lagoon")
    handed_over(house, site)
    subject, now = {"subject_id": system["id"]}, house.now.isoformat()
    dose = {"system_id": system["id"], "started_at": now, "alkalinity": {"value": 100, "unit": "meq"}}
    house.call("PUT", f"/v1/additions/{uuid4()}", {"kind": "dose", **dose})
    work = {**subject, "kind": "corrective", "performed_at": now, "what": "new pump", "findings": "worn shaft"}
    house.call("PUT", f"/v1/maintenance-events/{uuid4()}", work)
    target = {**subject, "quantity": "target_alkalinity", "unit": "dKH", "from": now, "reason": "more growth"}
    house.call("PUT", f"/v1/set-points/{uuid4()}", {**target, "value": 8.0})
    house.pass_time(minutes=1)
    later = {**target, "value": 8.5, "from": house.now.isoformat()}
    house.call("PUT", f"/v1/set-points/{uuid4()}", later)
    stock = {**subject, "kind": "lost", "at": now, "what": "staghorn", "count": 2}
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", stock)
    run = {**subject, "procedure": "low_ph_cut_off_test", "started_at": now}
    house.call("PUT", f"/v1/commissionings/{uuid4()}", run)
    found = {(line["kind"], line["what"]): line for line in lines(house)}
    assert len(lines(house)) == 6
    assert found["addition", "dose"]["amounts"] == [{"value": 100, "unit": "meq"}]
    assert found["maintenance", "new pump"]["why"] == "worn shaft"
    last = [line for line in lines(house) if line["kind"] == "set_point"][-1]
    assert (last["before"]["value"], last["amounts"][0]["value"], last["why"]) == (8.0, 8.5, "more growth")
    assert (found["stock", "staghorn"]["why"], found["stock", "staghorn"]["amounts"][0]["value"]) == ("lost", 2)
    assert found["commissioning", "low_ph_cut_off_test"]["why"] == "begun"
    assert {line["subject"] for line in lines(house)} == {"Lagoon"}
    assert all(line["by"].startswith("administrator") for line in lines(house))


def test_a_swap_stands_with_the_systems_that_the_line_feeds(house: House, site: Any) -> None:
    system = house.a_system(site, tag="lagoon", name="Lagoon")
    reactor = piece(house, site, "reactor", "calcium_reactor")
    old, new = (piece(house, site, tag, "co2_cylinder", specification=CYLINDER) for tag in ("old", "new"))
    begun = (house.now - timedelta(days=2)).isoformat()
    feed = {"reactor_id": reactor["id"], "system_id": system["id"], "share": 1, "from": begun}
    house.call("POST", "/v1/feeds", feed)
    line = {"site_id": site["id"], "tag": "gas", "reactor_ids": [reactor["id"]], "cylinder_ids": [old["id"]]}
    house.call("POST", "/v1/gas-lines", {**line, "from": begun})
    handed_over(house, site)
    house.call("POST", f"/v1/equipment/{old['id']}/swap", {"at": house.now.isoformat(), "new_cylinder_id": new["id"]})
    stops = {stop["tag"]: stop["lines"] for stop in report(house)["stops"]}
    (swap,) = [each for each in stops["lagoon"] if each["kind"] == "swap"]
    assert (swap["what"], swap["subject"]) == ("old", "new")


def test_a_correction_and_a_withdrawal_say_what_stood_before_and_why(house: House, site: Any) -> None:
    system = house.a_system(site)
    wrong, gone = house.a_reading(system["id"], 8.1), house.a_reading(system["id"], 7.9)
    handed_over(house, site)
    changed = {"value": 8.4, "reason": "misread"}
    house.call("POST", f"/v1/readings/{wrong['id']}/corrections", changed, headers=TAG)
    house.call("POST", f"/v1/readings/{gone['id']}/withdrawal", {"reason": "wrong tank"}, headers=TAG)
    corrected, withdrawn = lines(house)
    assert (corrected["kind"], corrected["what"], corrected["why"]) == ("corrected", "alkalinity", "misread")
    assert (corrected["before"]["value"], corrected["amounts"][0]["value"]) == (8.1, 8.4)
    assert (withdrawn["kind"], withdrawn["before"]["value"], withdrawn["why"]) == ("withdrawn", 7.9, "wrong tank")


def test_of_readings_only_those_a_shift_should_know_of(house: House, site: Any) -> None:
    system = house.a_system(site)
    for step in range(12):
        house.a_reading(system["id"], 8.0 + 0.02 * (step % 5))
        house.pass_time(hours=12)
    handed_over(house, site)
    house.a_reading(system["id"], 8.03)
    assert (lines(house), report(house)["readings"]) == ([], 1)
    house.pass_time(minutes=5)
    house.a_reading(system["id"], 9.4)
    house.pass_time(minutes=5)
    house.a_reading(system["id"], 80.0, confirm=True)
    far, unusual = lines(house)
    assert (far["kind"], far["amounts"][0]["value"]) == ("reading", 9.4)
    assert "far_from_usual" in far["shown_for"]
    assert far["usual"]["low"] < far["usual"]["high"] < 3.0  # meq/L: 8.08 dKH is 2.88 (1 meq/L = 2.8 dKH)
    assert "unusual" in unusual["shown_for"]
    assert report(house)["readings"] == 3


@pytest.mark.parametrize(("value", "far"), [(7.0, False), (8.0, False), (6.5, False), (6.4, True), (8.6, True)])
def test_far_is_beyond_half_the_width_of_the_band(value: float, far: bool) -> None:
    """Worked by hand: a band of 7 to 8 reaches from 6.5 to 8.5. The rule is our own."""
    assert is_far(value, (7.0, 8.0)) is far


def test_taking_over_moves_the_mark(house: House, site: Any) -> None:
    keeper = house.token("keeper", site=site["id"])
    system = house.a_system(site)
    house.pass_time(days=2)
    a_coral(house, system)
    note = write_note(house, site, subject_id=system["id"], written_by="early shift")
    found = report(house)
    assert (found["mark"], kinds(house)) == (None, ["stock"])
    assert [(each["text"], each["by"]) for each in found["notes"]] == [("the drip is slow", "early shift")]
    taken = take_over(house, report(house, keeper), keeper)
    assert (report(house, keeper)["notes"], report(house, keeper)["stops"]) == ([], [])
    noted = house.call("GET", f"/v1/handovers/{note['id']}")
    assert noted["acknowledged_by"] == taken["recorded_by"]
    house.pass_time(hours=3)
    after = report(house)
    assert (after["notes"], kinds(house)) == ([], [])
    assert (after["mark"]["takeover_id"], after["mark"]["by"][:6]) == (taken["id"], "keeper")
    assert after["since"] == taken["as_of"]


def test_two_who_take_over_together_read_the_same_and_both_count(house: House, site: Any) -> None:
    first, second, next_ = (house.token("keeper", site=site["id"]) for _ in range(3))
    system = house.a_system(site)
    a_coral(house, system)
    write_note(house, site)
    one = take_over(house, report(house, first), first)
    house.pass_time(minutes=10)
    read = report(house, second)
    assert ([each["takeover_id"] for each in read["beside"]], kinds_of(read)) == ([one["id"]], ["stock"])
    assert [each["acknowledged_by"][:6] for each in read["notes"]] == ["keeper"]
    other = take_over(house, read, second)
    assert (kinds_of(report(house, first)), kinds_of(report(house, second))) == ([], [])
    house.pass_time(hours=7)
    a_coral(house, system, "later", "lost")
    told = report(house, next_)
    assert [line["what"] for line in lines(house, next_)] == ["later"]
    assert (told["mark"]["takeover_id"], told["beside"], told["notes"]) == (other["id"], [], [])
    assert len(house.call("GET", "/v1/takeovers?site=hall")) == 2


def test_a_list_read_without_a_network_is_taken_over_as_far_as_it_went(house: House, site: Any) -> None:
    """What came between reading and sending was not read: the next shift is told."""
    system, keeper = house.a_system(site), house.token("keeper", site=site["id"])
    a_coral(house, system, "read")
    write_note(house, site, "read")
    read = report(house, keeper)
    house.pass_time(minutes=30)
    a_coral(house, system, "not read")
    write_note(house, site, "not read")
    take_over(house, read, keeper, taken_at=read["at"])
    after = report(house, keeper)
    assert ([line["what"] for line in lines(house, keeper)], after["since"]) == (["not read"], read["at"])
    assert [(each["text"], each["acknowledged_by"]) for each in after["notes"]] == [("not read", None)]
    late = take_over(house, {**read, "read_to": 1}, keeper)
    assert report(house, keeper)["mark"]["takeover_id"] != late["id"], "an older list moves nothing back"


def test_a_takeover_by_mistake_is_withdrawn_and_counts_no_more(house: House, site: Any) -> None:
    a_coral(house, house.a_system(site))
    write_note(house, site)
    taken = take_over(house, report(house))
    assert (kinds(house), report(house)["notes"]) == ([], [])
    house.call("POST", f"/v1/takeovers/{taken['id']}/withdrawal", {"reason": "a slip"}, headers=TAG)
    assert (kinds(house), len(report(house)["notes"])) == (["stock"], 1)


def test_a_takeover_is_refused_by_its_field(house: House, site: Any) -> None:
    read, ahead = report(house), (house.now + timedelta(hours=1)).isoformat()
    bad: list[tuple[dict[str, Any], str, int]] = [
        ({"read_to": read["read_to"] + 1}, "/read_to", 422),
        ({"read_to": -1}, "/read_to", 422),
        ({"as_of": ahead}, "/as_of", 422),
        ({"taken_at": ahead}, "/taken_at", 422),
        ({"site_id": str(uuid4())}, "/site_id", 404),
    ]
    for fields, pointer, status in bad:
        problem = take_over(house, read, status=status, **fields)
        assert problem["errors"][0]["pointer"] == pointer, problem


def test_since_a_chosen_instant(house: House, site: Any) -> None:
    system = house.a_system(site)
    for what in ("monday", "tuesday"):
        house.pass_time(days=1)
        a_coral(house, system, what)
    handed_over(house, site)
    since = (house.now - timedelta(hours=1)).isoformat()
    assert kinds(house) == []
    assert [line["what"] for stop in report(house, since=since)["stops"] for line in stop["lines"]] == ["tuesday"]
    assert report(house, since=since)["mark"] is None
    for wrong in (house.now + timedelta(minutes=1), house.now - timedelta(days=7, minutes=1)):
        path = f"/v1/reports/handover?site=hall&since={quote(wrong.isoformat())}"
        assert house.call("GET", path, status=422)["errors"][0]["pointer"] == "since"


def test_work_that_waits_and_whether_it_is_new(house: House, site: Any) -> None:
    plan = {"subject_id": house.a_system(site)["id"], "kind": "inspection"}
    for what, recurrence, days in (("look it over", "FREQ=DAILY", 0), ("clean the glass", "FREQ=WEEKLY", 7)):
        begun = (house.now + timedelta(days=days)).isoformat()
        house.call("POST", "/v1/maintenance-plans", {**plan, "what": what, "recurrence": recurrence, "from": begun})
    house.pass_time(days=5)
    handed_over(house, site)
    assert [(each["detail"], each["is_new"]) for each in report(house)["waiting"]] == [
        ("Look it over: 5 days overdue.", False)
    ]
    house.pass_time(days=4)
    assert [(each["detail"], each["is_new"]) for each in report(house)["waiting"]] == [
        ("Clean the glass: 2 days overdue.", True),
        ("Look it over: 9 days overdue.", False),
    ]


def test_a_finding_is_told_when_it_comes_and_when_it_is_gone(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet(last=7)
    plant.read(plant.reactor, "effluent_flow", 82.0, "L/d")

    def found() -> list[tuple[str, int]]:
        told = house.call("GET", f"/v1/reports/handover?site={plant.site['tag']}")
        lines_ = [line for stop in told["stops"] for line in stop["lines"] if line["code"] == "no_drip"]
        return [(line["kind"], line["presses"]) for line in lines_]

    handed_over(house, plant.site)
    plant.read(plant.reactor, "effluent_flow", 0.0, "L/d")
    assert found() == [("finding", 0)]
    handed_over(house, plant.site)
    assert found() == []
    plant.read(plant.reactor, "effluent_flow", 82.0, "L/d")
    assert found() == [("gone", 4)]


def test_what_presses_first() -> None:
    lines_ = [
        {"kind": "finding", "code": "gas_leak"}, {"kind": "stock", "why": "lost"},
        {"kind": "finding", "code": "no_gas_seen"},
        {"kind": "reading", "shown_for": ["unusual"]}, {"kind": "set_point"}, {"kind": "finding", "code": "kit_off"},
        {"kind": "maintenance"}, {"kind": "stock", "why": "added"}, {"kind": "gone", "code": "gas_leak"},
    ]  # fmt: skip
    assert [presses(line) for line in lines_] == [0, 1, 2, 2, 3, 3, 4, 4, 4]


def test_photos_stand_with_what_they_are_of(house: House, site: Any) -> None:
    system = house.a_system(site)
    note, coral = write_note(house, site), a_coral(house, system)
    for kind, of in (("handover", note), ("stock_change", coral)):
        query = urlencode({"of_kind": kind, "of_id": of["id"], "taken_at": house.now.isoformat()})
        path = f"/v1/photos/{uuid4()}?{query}"
        house.send("PUT", path, content=photo(), headers={"Content-Type": "image/jpeg"})
    assert len(report(house)["notes"][0]["photo_ids"]) == 1
    assert len(lines(house)[0]["photo_ids"]) == 1


def test_what_was_done_before_and_sent_later_is_told(house: House, site: Any) -> None:
    """A phone without a network: the trail decides what is new, not the time of the work."""
    system = house.a_system(site)
    done = (house.now - timedelta(minutes=30)).isoformat()
    handed_over(house, site)
    event_ = {"subject_id": system["id"], "kind": "inspection", "performed_at": done, "what": "brown film"}
    house.call("PUT", f"/v1/maintenance-events/{uuid4()}", event_)
    assert [line["what"] for line in lines(house)] == ["brown film"]


def test_without_a_mark_it_is_the_last_day_and_an_old_one_counts_no_more(house: House, site: Any) -> None:
    handed_over(house, site)
    system = house.a_system(site)
    house.pass_time(days=8)
    house.a_reading(system["id"], 80.0, confirm=True)
    house.pass_time(hours=23)
    assert (report(house)["mark"], kinds(house)) == (None, ["reading"])
    house.pass_time(hours=2)
    assert kinds(house) == []


def test_systems_come_as_they_are_walked(house: House, site: Any) -> None:
    for tag, kind in (("a-sick", "quarantine"), ("z-clean", "clean"), ("b-new", "observation")):
        system = house.a_system(site, tag=tag, quarantine_class=kind)
        house.a_reading(system["id"], 80.0, confirm=True)
    stops = [stop["tag"] for stop in report(house)["stops"] if any(line["kind"] == "reading" for line in stop["lines"])]
    assert stops == ["z-clean", "b-new", "a-sick"]


def test_another_site_neither_reads_it_nor_is_in_it(house: House, site: Any) -> None:
    other = house.a_site(tag="other")
    house.a_reading(house.a_system(other)["id"], 80.0, confirm=True)
    write_note(house, other)
    handed_over(house, other)
    assert (kinds(house), report(house)["notes"], report(house)["mark"]) == ([], [], None)
    stranger, reader = house.token("administrator", site=other["id"]), house.token("reader", site=site["id"])
    house.call("GET", "/v1/reports/handover?site=hall", token=stranger, status=404)
    house.call("GET", "/v1/reports/handover?site=hall", token=reader)


def test_the_number_of_queries_grows_with_nothing(house: House, site: Any, database: Database) -> None:
    counted: list[str] = []
    event.listen(database.engine, "before_cursor_execute", lambda *call: counted.append(call[2]))

    def queries() -> int:
        counted.clear()
        report(house)
        return len(counted)

    def a_busy_system() -> None:
        system = house.a_system(site)
        reading = house.a_reading(system["id"], 80.0, confirm=True)
        house.call("POST", f"/v1/readings/{reading['id']}/corrections", {"value": 8, "reason": "slip"}, headers=TAG)
        write_note(house, site, subject_id=system["id"])

    for _ in range(2):
        a_busy_system()
    few = queries()
    for _ in range(6):
        a_busy_system()
    assert queries() == few
    print(f"{few} queries")
