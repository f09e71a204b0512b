"""POST /v1/imports: every row stored or rejected with its true reason, once, and undone as a whole."""

from __future__ import annotations

import base64
import csv
import io
import json
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import openpyxl
import pytest
from support.house import House
from transfer.imports.tables import HEADINGS, SPOILINGS, rows

from service.errors import Busy
from service.resources.records import checking
from service.storage import trail
from service.transfer.imports import running

WIDE = "Date,Tank,Alk (dKH),Ca (ppm),Temp,Initials,Notes\n"


@pytest.fixture
def site(house: House) -> Any:
    """A site with four systems."""
    found = house.a_site(tag="house", time_zone="Europe/Oslo")
    for number in range(1, 5):
        house.a_system(found, tag=f"tank-{number}", name=f"Tank {number}")
    return found


def send(house: House, text: str, *, status: int = 200, name: str = "log.csv", **more: Any) -> Any:
    """The answer to an import of this text."""
    sent = {"site": "house", "file": {"name": name, "text": text}, **more}
    return house.call("POST", "/v1/imports", sent, status=status)


def head(house: House, site: Any) -> Any:
    with house.database.read() as session:
        found = trail.head(session, UUID(site["id"]))
        return found and (found.seq, found.hash)


def trail_faults(house: House) -> list[str]:
    """What `ooid check` would find, but for the tokens that tests make behind the trail."""
    with house.database.read() as session:
        return [fault for fault in checking.faults(session) if not fault.startswith("token ")]


def faults(answer: Any) -> dict[int, str]:
    return {
        result["row"]: "; ".join(f"{fault['column']}: {fault['detail']}" for fault in result["faults"])
        for result in answer["results"]
        if result["faults"]
    }


def test_columns_are_guessed_and_shown_with_the_reason(house: House, site: Any) -> None:
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,fed late\n21/02/2026,tank-2,8.0,430,24.9,CD,\n"
    answer = send(house, text)
    assert answer["counts"] == {
        "rows": 2, "recorded": 2, "known": 0, "rejected": 0, "held_back": 0, "blank": 0, "records": 7, "flagged": 0,
    }  # fmt: skip
    mapping, because = answer["understood"]["mapping"], answer["understood"]["because"]
    assert (mapping["date_order"], mapping["decimal"], mapping["time_zone"]) == (
        "day_month_year", "point", "Europe/Oslo",
    )  # fmt: skip
    assert because["columns/Alk (dKH)"] == "alkalinity in dKH: by the heading"
    assert because["columns/Temp"] == "temperature in Cel: the middle value is 25"
    assert because["date_order"] == "2 of 2 dates read so"
    (first, second) = house.call("GET", "/v1/readings?quantity=alkalinity&site=house")[::-1]
    assert (first["value"], first["unit"], first["observed_by"], first["taken_at"]) == (
        8.2, "dKH", "AB", "2026-02-20T12:00:00+01:00",
    )  # fmt: skip
    assert first["inferred"] == ["time_of_day"]
    assert second["observed_by"] == "CD"
    (note,) = house.call("GET", "/v1/maintenance-events?site=house")
    assert (note["kind"], note["what"], note["performed_by"]) == ("inspection", "fed late", "AB")


def test_a_mapping_is_saved_and_used_again(house: House, site: Any) -> None:
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,\n"
    mapping = send(house, text, dry_run=True)["understood"]["mapping"]
    again = send(house, WIDE + "02/03/2026,tank-1,8.3,,,,\n", mapping=json.loads(json.dumps(mapping)))
    assert again["counts"]["recorded"] == 1
    assert again["understood"]["because"] == {}
    (reading,) = house.call("GET", "/v1/readings?site=house")
    assert reading["taken_at"].startswith("2026-03-02")


def test_decimal_commas_semicolons_and_windows_letters(house: House, site: Any) -> None:
    content = "Datum;Tank;Alk (dKH);Temp (°C)\n20.02.2026 08:15;tank-1;8,2;25,1\n".encode("cp1252")
    sent = {"site": "house", "file": {"name": "log.csv", "base64": base64.b64encode(content).decode()}}
    answer = house.call("POST", "/v1/imports", sent)
    mapping = answer["understood"]["mapping"]
    assert (mapping["decimal"], mapping["delimiter"], mapping["encoding"]) == ("comma", ";", "windows-1252")
    assert answer["counts"]["records"] == 2
    values = {reading["quantity"]: reading["value"] for reading in house.call("GET", "/v1/readings?site=house")}
    assert values == {"alkalinity": 8.2, "temperature": 25.1}


def test_a_midnight_that_was_left_off_is_midnight(house: House, site: Any) -> None:
    text = "time,alk (dKH)\n2026-02-19 23:55:00,8.2\n2026-02-20,8.1\n2026-02-20 00:05:00,8.0\n"
    send(house, text, mapping={"subject": "tank-1"})
    found = {each["value"]: each["taken_at"] for each in house.call("GET", "/v1/readings?site=house")}
    assert found[8.1] == "2026-02-20T00:00:00+01:00"


def test_an_order_of_dates_that_nothing_settles_is_not_guessed(house: House, site: Any) -> None:
    text = WIDE + "02/03/2026,tank-1,8.2,420,25.1,AB,\n"
    answer = send(house, text, status=422)
    assert answer["errors"][0]["pointer"] == "/mapping/date_order"
    assert send(house, text, mapping={"date_order": "day_month_year"})["counts"]["recorded"] == 1


def test_units_are_taken_from_where_values_lie_or_not_at_all(house: House, site: Any) -> None:
    for values, unit in (((2.8, 3.0), "meq/L"), ((7.9, 8.4), "dKH"), ((140, 150), "mg/L CaCO3"), ((40, 45), None)):
        lines = "".join(f"2026-02-2{index},tank-1,{value},1\n" for index, value in enumerate(values))
        answer = send(house, f"date,tank,alk,temp\n{lines}".replace(",1\n", ",25\n"), dry_run=True)
        (column,) = [each for each in answer["understood"]["mapping"]["columns"] if each["column"] == "alk"]
        assert column.get("unit") == unit
        assert (column["use"] == "ignore") is (unit is None)


def test_what_is_filled_down_is_marked_inferred(house: House, site: Any) -> None:
    text = "Date,Tank,Alk (dKH)\n2026-02-20,tank-1,8.2\n,tank-2,8.0\n,tank-3,8.1\n"
    without = send(house, text, dry_run=True)
    assert faults(without) == dict.fromkeys(
        (3, 4), "Date: the date is empty; name this column in fill_down if it means the one above"
    )
    answer = send(house, text, mapping={"fill_down": ["Date"]})
    assert answer["counts"]["recorded"] == 3
    inferred = [reading["inferred"] for reading in house.call("GET", "/v1/readings?site=house")]
    assert sorted(inferred) == [["date", "time_of_day"], ["date", "time_of_day"], ["time_of_day"]]


def test_implausible_values_are_flagged_or_rejected(house: House, site: Any) -> None:
    text = "Date,Tank,pH\n2026-02-20,tank-1,9.55\n2026-02-20,tank-2,8.1\n"
    rejected = send(house, text, mapping={"implausible": "reject"}, dry_run=True)
    assert "outside the usual" in faults(rejected)[2]
    answer = send(house, text)
    assert answer["counts"]["flagged"] == 1
    assert answer["results"][0]["remarks"] == ["inferred: time_of_day", "flagged as implausible: pH 9.55"]
    readings = house.call("GET", "/v1/readings?site=house")
    assert {reading["value"]: reading["flagged"] for reading in readings} == {9.55: True, 8.1: False}


def test_a_dry_run_says_all_and_changes_nothing(house: House, site: Any) -> None:
    before, stored = head(house, site), house.everything_stored()
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,x\n21/02/2026,nowhere,8.0,430,24.9,CD,\n"
    dry = send(house, text, dry_run=True)
    assert dry["import"] is None
    assert (head(house, site), house.everything_stored()) == (before, stored)
    wet = send(house, text)
    assert [result["status"] for result in dry["results"]] == [result["status"] for result in wet["results"]]
    assert dry["counts"] == wet["counts"]
    assert dry["results"][0]["records"] == wet["results"][0]["records"]


def test_all_or_none(house: House, site: Any) -> None:
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,x\n21/02/2026,nowhere,8.0,430,24.9,CD,\n"
    before = head(house, site)
    answer = send(house, text, all_or_none=True)
    assert [result["status"] for result in answer["results"]] == ["held_back", "rejected"]
    assert (answer["import"], head(house, site)) == (None, before)
    good = send(house, text.replace("nowhere", "tank-2"), all_or_none=True)
    assert good["counts"]["recorded"] == 2


def test_like_rows_are_two_and_a_longer_log_adds_only_what_is_new(house: House, site: Any) -> None:
    text = "Date,Tank,Alk (dKH)\n2026-02-20,tank-1,8.2\n2026-02-20,tank-1,8.2\n"
    assert send(house, text)["counts"]["records"] == 2
    longer = send(house, text + "2026-02-21,tank-1,8.2\n")
    assert [result["status"] for result in longer["results"]] == ["known", "known", "recorded"]
    assert len(house.call("GET", "/v1/readings?site=house")) == 3


def test_ten_thousand_rows_with_three_hundred_bad_ones_of_fifteen_kinds(house: House, site: Any) -> None:
    made = list(rows(10_000, bad=300))
    text = HEADINGS + "\n" + "".join(line for line, _ in made)
    mapping = {"time_zone": "UTC"}  # on a clock that jumps, an hour of it would be bad too
    answer = send(house, text, mapping=mapping)
    results = answer["results"]
    assert [result["row"] for result in results] == list(range(2, 10_002))  # in input order
    told: Counter[str] = Counter()
    for (_, spoiling), result in zip(made, results, strict=True):
        if spoiling is None:
            assert (result["status"], result["faults"]) == ("recorded", []), result
            continue
        assert result["status"] == "rejected", (spoiling, result)
        (fault,) = result["faults"]
        assert spoiling.reason in fault["detail"], (spoiling, fault)
        assert fault["column"] == spoiling.blamed, (spoiling, fault)
        told[spoiling.name] += 1
    print(f"{answer['counts']}; one true reason for each of {sum(told.values())} bad rows of {len(told)} kinds")
    assert told == {spoiling.name: 20 for spoiling in SPOILINGS}
    assert answer["counts"]["recorded"] == answer["counts"]["records"] == 9_700
    before, stored = head(house, site), house.everything_stored()
    again = send(house, text, mapping=mapping)
    assert again["counts"]["known"] == 9_700
    assert again["counts"]["records"] == 0
    assert (head(house, site), house.everything_stored()) == (before, stored)
    print(f"the same file again: {again['counts']}, nothing stored changed")


def test_the_file_of_failed_rows_is_mended_and_imported(house: House, site: Any) -> None:
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,=1+1\n21/02/2026,tnak-2,-8.0,430,24.9,CD,=cmd|x\n"
    answer = send(house, text)
    failed = list(csv.reader(io.StringIO(answer["failed_rows"])))
    assert failed[0] == [*WIDE.strip().split(","), "error"]
    assert failed[1][:3] == ["21/02/2026", "tnak-2", "-8.0"]  # a number stays one
    assert failed[1][6] == "'=cmd|x"  # a formula does not run
    assert failed[1][7].startswith("Tank: no system, tank, equipment or room")
    kept = house.send("GET", f"/v1/imports/{answer['import']['id']}/failed-rows")
    assert kept.text == answer["failed_rows"]
    mended = answer["failed_rows"].replace("tnak-2", "tank-2").replace("-8.0", "8.0")
    again = send(house, mended, mapping=answer["understood"]["mapping"])
    assert again["counts"]["recorded"] == 1
    notes = [event["what"] for event in house.call("GET", "/v1/maintenance-events?site=house")]
    assert sorted(notes) == ["=1+1", "=cmd|x"]  # the guard is taken off again


def test_an_interrupted_import_goes_on(house: House, site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOST_DRAFTS", 10)
    text = HEADINGS + "\n" + "".join(line for line, _ in rows(40))
    keep = running._Run._keep
    calls = iter(range(100))

    def broken(self: Any, *arguments: Any) -> None:
        if next(calls) == 2:
            raise Busy("the power went")
        keep(self, *arguments)

    with monkeypatch.context() as during:
        during.setattr(running._Run, "_keep", broken)
        house.call("POST", "/v1/imports", {"site": "house", "file": {"name": "a", "text": text}}, status=503)
    (kept,) = house.call("GET", "/v1/imports?site=house")
    assert kept["state"] == "in_progress"
    assert len(house.call("GET", "/v1/readings?site=house")) == 20
    answer = house.call("POST", "/v1/imports", {"site": "house", "file": {"name": "a", "text": text}})
    assert (answer["counts"]["known"], answer["counts"]["recorded"]) == (20, 20)
    assert answer["import"]["id"] == kept["id"]
    assert answer["import"]["state"] == "done"
    assert trail_faults(house) == []


def test_an_import_is_undone_as_a_whole(house: House, site: Any) -> None:
    system = house.call("GET", "/v1/systems?site=house")[0]
    own = house.a_reading(system["id"])
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,fed late\n21/02/2026,tank-2,8.0,430,24.9,CD,\n"
    made = send(house, text)["import"]
    undone = house.call("POST", f"/v1/imports/{made['id']}/undoing", {"reason": "the wrong site"})
    assert (undone["state"], undone["undone_reason"]) == ("undone", "the wrong site")
    assert [reading["id"] for reading in house.call("GET", "/v1/readings?site=house")] == [own["id"]]
    withdrawn = house.call("GET", "/v1/readings?site=house&withdrawn=true")
    assert [(each["state"], each["correction_reason"]) for each in withdrawn if each["id"] != own["id"]] == [
        ("withdrawn", "the wrong site")
    ] * 6
    changes = house.call("GET", "/v1/changes?site=house&after=0&limit=1000")["changes"]
    assert Counter(change["action"] for change in changes)["withdrawn"] == 7
    entries = house.call("GET", "/v1/audit?site=house")
    assert any(entry["why"] == "the wrong site" for entry in entries)
    house.call("POST", f"/v1/imports/{made['id']}/undoing", {"reason": "twice"}, status=409)
    assert send(house, text, status=409)["errors"][0]["pointer"] == "/again"
    anew = send(house, text, again=1)
    assert anew["counts"]["records"] == 7
    assert trail_faults(house) == []


def test_a_keeper_undoes_their_own_for_a_day_and_nobody_elses(house: House, site: Any) -> None:
    keeper, other = (house.token("keeper", site=site["id"]) for _ in range(2))
    text = WIDE + "20/02/2026,tank-1,8.2,420,25.1,AB,\n"
    sent = {"site": "house", "file": {"name": "log.csv", "text": text}}
    made = house.call("POST", "/v1/imports", sent, token=keeper)["import"]
    path, reason = f"/v1/imports/{made['id']}/undoing", {"reason": "wrong"}
    house.call("POST", path, reason, token=other, status=403)
    house.pass_time(hours=25)
    house.call("POST", path, reason, token=keeper, status=403)
    assert house.call("GET", f"/v1/imports/{made['id']}")["state"] == "done"


def test_water_changes_doses_and_maintenance(house: House, site: Any) -> None:
    tank = {"site_id": site["id"], "tag": "rack", "name": "Rack", "water_volume": {"value": 500, "unit": "L"}}
    system_id = house.call("POST", "/v1/tanks", tank)["system_id"]
    text = "date,time,tank,change (L),alk dose,work\n2026-02-20,08:00,tank:rack,100,50,cleaned the pump\n"
    mapping = {
        "columns": [
            {"column": "date", "use": "date"},
            {"column": "time", "use": "time"},
            {"column": "tank", "use": "subject"},
            {"column": "change (L)", "use": "water_change", "unit": "L", "relative_sd": 0.05},
            {"column": "alk dose", "use": "dose", "of": "alkalinity", "unit": "meq", "hours": 24},
            {"column": "work", "use": "maintenance", "kind": "predetermined"},
        ]
    }
    assert send(house, text, mapping=mapping)["counts"]["records"] == 3
    additions = {each["kind"]: each for each in house.call("GET", "/v1/additions?site=house")}
    assert additions["water_change"]["volume"] == {"value": 100.0, "unit": "L"}
    assert additions["water_change"]["system_id"] == system_id
    assert additions["dose"]["ended_at"] == "2026-02-21T08:00:00+01:00"
    (event,) = house.call("GET", "/v1/maintenance-events?site=house")
    assert (event["kind"], event["what"]) == ("predetermined", "cleaned the pump")


def test_a_workbook_with_dates_and_times_of_its_own(house: House, site: Any, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Date", "Time", "Tank", "Alk (dKH)"])
    book.active.append([datetime(2026, 2, 20), datetime(2026, 2, 20, 8, 51).time(), "tank-1", 8.2])  # noqa: DTZ001
    path = tmp_path / "log.xlsx"
    book.save(path)
    content = base64.b64encode(path.read_bytes()).decode()
    answer = house.call("POST", "/v1/imports", {"site": "house", "file": {"name": "log.xlsx", "base64": content}})
    assert answer["counts"]["recorded"] == 1
    (reading,) = house.call("GET", "/v1/readings?site=house")
    assert datetime.fromisoformat(reading["taken_at"]) == datetime(2026, 2, 20, 7, 51, tzinfo=UTC)


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"file": {"name": "a"}}, "/file"),
        ({"file": {"name": "a", "text": "x", "base64": "eA=="}}, "/file"),
        ({"file": {"name": "a", "base64": "no base64!"}}, "/file/base64"),
        ({"file": {"name": "a", "text": ""}}, "/file"),
        ({"mapping": {"columns": [{"column": "nowhere", "use": "date"}]}}, "/mapping/columns/0/column"),
        ({"mapping": {"columns": [{"column": "Alk (dKH)", "use": "reading"}]}}, "/mapping/columns/0/quantity"),
        ({"mapping": {"columns": [{"column": "Date", "use": "year"}]}}, "/mapping/columns/0/use"),
        ({"mapping": {"date_order": "year_day_month"}}, "/mapping/date_order"),
        ({"mapping": {"time_zone": "Mars/Olympus"}}, "/mapping/time_zone"),
        ({"mapping": {"fill_down": ["nowhere"]}}, "/mapping/fill_down"),
        ({"mapping": {"subject": "nowhere"}}, "/mapping/subject"),
        ({"mapping": {"colums": []}}, "/mapping/colums"),
        ({"site": ""}, "/site"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, site: Any, sent: dict[str, Any], pointer: str) -> None:
    whole = {"site": "house", "file": {"name": "a", "text": WIDE + "20/02/2026,tank-1,8.2,420,25,AB,\n"}, **sent}
    answer = house.call("POST", "/v1/imports", whole, status=422)
    assert answer["errors"][0]["pointer"] == pointer


def test_more_rows_than_one_request_takes(house: House, site: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.transfer.imports.routes.MOST_ROWS", 3)
    text = "Date,Tank,Alk (dKH)\n" + "2026-02-20,tank-1,8.2\n" * 4
    assert "ooid import" in send(house, text, status=413, dry_run=True)["detail"]
