"""Probe series: stored once however often they are sent, never overwritten, and read back as they were sent."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from support.house import House
from support.probes import batch, read, send

from service.resources.records.checking import faults
from service.resources.records.series.models import LARGEST_BATCH


def times(house: House, *minutes_ago: float) -> list[str]:
    """Instants so many minutes ago."""
    return [(house.now - timedelta(minutes=ago)).isoformat() for ago in minutes_ago]


def ph(house: House, subject: str, **fields: Any) -> dict[str, Any]:
    """Three values of pH a minute apart."""
    return batch(subject, [8.1, 8.2, 8.3], end=house.now, **fields)


def test_what_was_sent_is_read_back(house: House) -> None:
    system = house.a_system()["id"]
    body = ph(house, system)
    answer = send(house, body, status=201)
    assert (answer["stored"], answer["held_already"], answer["conflicts"], answer["refused"]) == (3, 0, [], [])
    columns = read(house, system)
    assert columns["value"] == [8.1, 8.2, 8.3]
    assert columns["taken_at"] == ["2026-03-02T11:58:00Z", "2026-03-02T11:59:00Z", "2026-03-02T12:00:00Z"]
    assert (columns["unit"], columns["resolution"], columns["count"]) == ("[pH]", "raw", None)


def test_the_same_again_changes_nothing(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    body = ph(house, system)
    send(house, body, status=201)
    before = house.call("GET", f"/v1/changes?site={site['id']}&limit=1000")
    again = send(house, body, status=200)
    assert (again["stored"], again["held_already"], again["batch_id"]) == (0, 3, None)
    assert house.call("GET", f"/v1/changes?site={site['id']}&limit=1000") == before
    assert read(house, system)["value"] == [8.1, 8.2, 8.3]


def test_another_value_for_an_instant_is_reported_and_what_is_held_stands(house: House) -> None:
    system = house.a_system()["id"]
    send(house, ph(house, system))
    mixed = {**ph(house, system), "taken_at": times(house, 0.5, 1, 2), "value": [8.25, 8.9, 8.1]}
    answer = send(house, mixed, status=201)
    assert (answer["stored"], answer["held_already"]) == (1, 1)
    assert answer["conflicts"] == [
        {
            "index": 1,
            "taken_at": "2026-03-02T11:59:00Z",
            "held": {"value": 8.2, "unit": "[pH]"},
            "sent": {"value": 8.9, "unit": "[pH]"},
        }
    ]
    assert read(house, system)["value"] == [8.1, 8.2, 8.25, 8.3]


def test_an_instant_twice_in_one_batch_counts_once(house: House) -> None:
    system = house.a_system()["id"]
    body = {**ph(house, system), "taken_at": times(house, 3, 3, 3), "value": [8.1, 8.1, 8.4]}
    answer = send(house, body)
    assert (answer["stored"], answer["held_already"]) == (1, 1)
    assert [(each["index"], each["held"]["value"]) for each in answer["conflicts"]] == [(2, 8.1)]
    assert read(house, system)["value"] == [8.1]


def test_the_same_value_in_another_unit_is_the_same(house: House) -> None:
    system = house.a_system()["id"]
    kelvin = batch(system, [298.15, 299.15], end=house.now, quantity="temperature", unit="K")
    send(house, kelvin)
    again = send(house, {**kelvin, "unit": "Cel", "value": [25.0, 26.0]}, status=200)
    assert (again["held_already"], again["conflicts"]) == (2, [])
    assert read(house, system, quantity="temperature")["value"] == pytest.approx([25.0, 26.0])
    assert read(house, system, "&unit=degF", quantity="temperature")["value"] == pytest.approx([77.0, 78.8])


def test_impossible_values_are_refused_one_by_one(house: House) -> None:
    system = house.a_system()["id"]
    answer = send(house, {**ph(house, system), "value": [8.1, 17.0, 8.3]}, status=201)
    assert answer["stored"] == 2
    assert [(each["index"], each["sent"]["value"]) for each in answer["refused"]] == [(1, 17.0)]
    nothing = send(house, {**ph(house, house.a_system()["id"]), "value": [-1, 17.0, 99]}, status=200)
    assert (nothing["stored"], nothing["batch_id"], len(nothing["refused"])) == (0, None, 3)


def test_late_points_fall_into_their_places(house: House) -> None:
    system = house.a_system()["id"]
    days = timedelta(days=1)
    for values, end in (([8.1, 8.2], house.now), ([7.9, 8.0], house.now - 3 * days), ([8.05], house.now - 2 * days)):
        send(house, batch(system, values, end=end, every=days))
    assert read(house, system)["value"] == [7.9, 8.0, 8.05, 8.1, 8.2]


def test_one_batch_is_one_entry_and_one_change(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    keeper = house.token("keeper", site=site["id"])
    before = house.call("GET", f"/v1/changes?site={site['id']}&limit=1000")["next_after"]
    body = batch(system, [8.2] * 300, end=house.now, every=timedelta(hours=1), conditions={"temperature": 25.0})
    answer = send(house, body, token=keeper)
    (change,) = house.call("GET", f"/v1/changes?site={site['id']}&after={before}")["changes"]
    assert (change["kind"], change["id"], change["action"]) == ("series_batch", answer["batch_id"], "recorded")
    shown = change["body"]
    assert (shown["subject_id"], shown["quantity"], shown["unit"], shown["count"]) == (system, "ph", "[pH]", 300)
    assert shown["conditions"] == {"temperature": 25.0}
    entry = house.call("GET", f"/v1/audit?site={site['id']}&thing={answer['batch_id']}")[0]
    assert (entry["count"], entry["after"]["points_sha256"]) == (1, shown["points_sha256"])


def test_batches_say_who_sent_what_in_which_unit(house: House) -> None:
    site = house.a_site()
    system = house.a_system(site)["id"]
    keeper, stranger = house.token("keeper", site=site["id"]), house.token("keeper", site=house.a_site()["id"])
    for days, unit, value in ((1, "K", 298.15), (2, "degF", 77.0), (3, "Cel", 25.0)):
        at = house.now - timedelta(days=days)
        send(house, batch(system, [value], end=at, quantity="temperature", unit=unit), token=keeper)
    found = house.call("GET", f"/v1/series/batches?subject={system}", token=keeper)
    assert [each["unit"] for each in found] == ["Cel", "degF", "K"]
    assert len({each["recorded_by"] for each in found}) == 1
    assert house.call("GET", "/v1/series/batches?quantity=ph", token=keeper) == []
    assert house.call("GET", f"/v1/series/batches?subject={system}", token=stranger) == []
    first = house.send("GET", "/v1/series/batches?limit=2", token=keeper)
    rest = house.call("GET", first.links["next"]["url"], token=keeper)
    assert first.json() + rest == found
    assert read(house, system, quantity="temperature")["value"] == pytest.approx([25.0] * 3)


BAD: list[tuple[dict[str, Any], str, int]] = [
    ({"value": [8.1, "8.2", 8.3]}, "/value/1", 422),
    ({"value": [8.1, 8.2, True]}, "/value/2", 422),
    ({"value": [None, 8.2, 8.3]}, "/value/0", 422),
    ({"value": [8.1, 8.2]}, "/value", 422),
    ({"value": []}, "/value", 422),
    ({"value": 8.1}, "/value", 422),
    ({"taken_at": ["2026-03-02T11:00:00Z", "2026-03-02T11:01:00", "2026-03-02T11:02:00Z"]}, "/taken_at/1", 422),
    ({"taken_at": ["2026-03-02T11:00:00Z", "2026-03-02T11:01:00Z", "yesterday, at about noon"]}, "/taken_at/2", 422),
    ({"taken_at": ["2026-03-02T11:00:00Z", "2026-02-30T11:01:00Z", "2026-03-02T11:02:00Z"]}, "/taken_at/1", 422),
    ({"taken_at": ["2026-03-02T11:00:00Z", 7, "2026-03-02T11:02:00Z"]}, "/taken_at/1", 422),
    ({"taken_at": ["2026-03-02T12:05:01Z", "2026-03-02T12:05:00Z", "2026-03-02T12:02:00Z"]}, "/taken_at/0", 422),
    ({"unit": "stone"}, "/unit", 422),
    ({"quantity": "acidity"}, "/quantity", 422),
    ({"quantity": "effluent_flow", "unit": "L/d"}, "/subject_id", 422),
    ({"quantity": "salinity", "unit": "SG"}, "/conditions/temperature", 422),
    ({"conditions": {"moon": "full"}}, "/conditions/moon", 422),
    ({"method": "by eye"}, "/method", 404),
    ({"subject_id": str(uuid4())}, "/subject_id", 404),
    ({"probe": 1}, "/probe", 422),
]


def test_bad_input_is_named_and_nothing_is_stored(house: House) -> None:
    good = ph(house, house.a_system()["id"])
    for fields, pointer, status in BAD:
        problem = send(house, {**good, **fields}, status=status)
        assert problem["errors"][0]["pointer"] == pointer, (fields, problem)
    for number in ("NaN", "Infinity", "1e999"):
        text = '{"subject_id": "%s", "quantity": "ph", "unit": "[pH]", "taken_at": ["%s"], "value": [%s]}'
        content = text % (good["subject_id"], good["taken_at"][0], number)
        headers = {"Content-Type": "application/json"}
        response = house.send("POST", "/v1/series", content=content, headers=headers)
        assert (response.status_code, response.json()["errors"][0]["pointer"]) == (422, "/value/0")
    assert house.call("GET", "/v1/series/overview") == []


def test_a_batch_has_a_largest_size(house: House) -> None:
    system = house.a_system()["id"]
    many = batch(system, [8.2] * (LARGEST_BATCH + 1), end=house.now, every=timedelta(seconds=1))
    assert send(house, many, status=422)["errors"][0]["pointer"] == "/taken_at"
    fitting = {**many, "taken_at": many["taken_at"][1:], "value": many["value"][1:]}
    assert send(house, fitting)["stored"] == LARGEST_BATCH


def test_another_site_sees_nothing_and_readers_record_nothing(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    system = house.a_system(site)["id"]
    body = ph(house, system)
    stranger, reader = house.token("supervisor", site=other["id"]), house.token("reader", site=site["id"])
    send(house, body, token=stranger, status=404)
    send(house, body, token=reader, status=403)
    send(house, body, token=house.token("keeper", site=site["id"]), status=201)
    read(house, system, token=stranger, status=404)
    assert len(read(house, system, token=reader)["value"]) == 3
    assert house.call("GET", "/v1/series/overview", token=stranger) == []
    house.call("GET", f"/v1/series/overview?site={site['tag']}", token=stranger, status=404)
    assert len(house.call("GET", "/v1/series/overview", token=reader)) == 1


def test_methods_are_series_of_their_own(house: House) -> None:
    system = house.a_system()["id"]
    titrator = batch(
        system, [2.9, 3.0], end=house.now, every=timedelta(hours=3), quantity="alkalinity", unit="meq/L",
        method="titrator",
    )  # fmt: skip
    send(house, titrator)
    assert read(house, system, quantity="alkalinity")["method"] == "titrator"
    send(house, {**titrator, "method": "photometer", "value": [3.1, 3.2]})
    refused = read(house, system, quantity="alkalinity", status=422)
    assert (refused["errors"][0]["pointer"], refused["errors"][0]["in"]) == ("method", "query")
    assert read(house, system, "&method=photometer", quantity="alkalinity")["value"] == [3.1, 3.2]
    assert read(house, system, "&method=laboratory", quantity="alkalinity")["value"] == []
    assert read(house, system, "&method=", quantity="alkalinity")["value"] == []
    send(house, {**{name: titrator[name] for name in titrator if name != "method"}, "value": [3.3, 3.4]})
    assert read(house, system, "&method=", quantity="alkalinity")["value"] == [3.3, 3.4]


def test_the_overview_says_what_there_is(house: House) -> None:
    site = house.a_site()
    one, two = house.a_system(site)["id"], house.a_system(site)["id"]
    for system in (one, two):
        send(house, ph(house, system))
        send(house, batch(system, [25.0], end=house.now, quantity="temperature", unit="Cel"))
    send(house, ph(house, house.a_system()["id"]))
    found = house.call("GET", f"/v1/series/overview?site={site['tag']}")
    assert len(found) == 4
    (of_one,) = house.call("GET", f"/v1/series/overview?subject={one}&quantity=ph")
    assert (of_one["first_at"], of_one["last_at"]) == ("2026-03-02T11:58:00Z", "2026-03-02T12:00:00Z")
    assert (of_one["count"], of_one["unit"], of_one["method"]) == (3, "[pH]", None)
    paged, path = [], f"/v1/series/overview?site={site['tag']}&limit=3"
    while path:
        response = house.send("GET", path)
        paged += response.json()
        path = response.links.get("next", {}).get("url", "")
    assert paged == found


def test_points_come_in_pages(house: House) -> None:
    system = house.a_system()["id"]
    values = [round(8 + index / 10_000, 4) for index in range(3000)]
    send(house, batch(system, values[1000:], end=house.now))
    send(house, batch(system, values[:1000], end=house.now - timedelta(minutes=2000)))
    path, found, pages = f"/v1/series?subject_id={system}&quantity=ph&limit=700", [], 0
    while path:
        response = house.send("GET", path)
        found += response.json()["value"]
        pages += 1
        path = response.links.get("next", {}).get("url", "")
    assert (found, pages) == (values, 5)


def test_a_window_holds_from_and_not_to(house: House) -> None:
    system = house.a_system()["id"]
    send(house, batch(system, [8.0, 8.1, 8.2, 8.3], end=house.now, every=timedelta(hours=10)))
    window = "&from=2026-03-01T16:00:00Z&to=2026-03-02T13:00:00%2B01:00"
    assert read(house, system, window)["value"] == [8.1, 8.2]
    backwards = read(house, system, "&from=2026-03-02T16:00:00Z&to=2026-03-01T16:00:00Z", status=422)
    assert backwards["errors"][0]["pointer"] == "to"


def test_a_subject_without_a_series_answers_empty_columns(house: House) -> None:
    system = house.a_system()["id"]
    for resolution in ("raw", "hour", "day", "PT10M"):
        columns = read(house, system, f"&resolution={resolution}")
        assert (columns["taken_at"], columns["value"]) == ([], [])
    assert read(house, str(uuid4()), status=404)["errors"][0]["pointer"] == "subject_id"
    assert read(house, system, quantity="acidity", status=422)["errors"][0]["pointer"] == "quantity"
    assert read(house, system, "&resolution=week", status=422)["errors"][0]["pointer"] == "resolution"
    assert read(house, system, "&unit=kg", status=422)["errors"][0]["pointer"] == "unit"


def test_csv_is_for_machines(house: House) -> None:
    system = house.a_system()["id"]
    send(house, ph(house, system))
    path = f"/v1/series?subject_id={system}&quantity=ph"
    response = house.send("GET", path, headers={"Accept": "text/csv"})
    assert response.headers["content-type"].startswith("text/csv")
    assert response.text == (
        "taken_at,value,unit\r\n2026-03-02T11:58:00Z,8.1,[pH]\r\n2026-03-02T11:59:00Z,8.2,[pH]\r\n"
        "2026-03-02T12:00:00Z,8.3,[pH]\r\n"
    )
    hours = house.send("GET", f"{path}&resolution=hour&format=csv").text.splitlines()
    assert hours[0] == "taken_at,value,unit,count,low,high"
    assert hours[-1] == "2026-03-02T12:00:00Z,8.3,[pH],1,8.3,8.3"
    assert house.send("GET", path, headers={"Accept": "image/png"}).status_code == 406


EDITS = [
    ("UPDATE series_blocks SET points = {nothing}", "its points are cut off|its points were edited"),
    ("UPDATE series_blocks SET hours = NULL", "was edited beside its points"),
    ("UPDATE series_blocks SET first_at = first_at - 1", "was edited beside its points"),
    ("UPDATE series_blocks SET count = count + 1", "was edited beside its points"),
    ("DELETE FROM series_blocks", "its points were edited"),
    ("UPDATE series_batches SET unit = 'K'", "was edited"),
    ("UPDATE series_batches SET digest = {nothing}", "was edited"),
    ("UPDATE series SET quantity = 'temperature'", "of another subject, quantity or method"),
    ("UPDATE series SET count = count - 1", "add up to other totals"),
    ("UPDATE series SET last_at = last_at + 1", "add up to other totals"),
]


@pytest.mark.parametrize(("statement", "expected"), EDITS, ids=[statement for statement, _ in EDITS])
def test_an_edit_behind_the_service_is_found(house: House, statement: str, expected: str) -> None:
    import re

    from sqlalchemy import text
    from sqlmodel import Session

    send(house, batch(house.a_system()["id"], [8.1] * 600, end=house.now))
    nothing = "X'00'" if house.database.is_sqlite else r"'\x00'::bytea"
    with house.database.engine.connect() as connection:
        with Session(connection) as session:
            whole = [fault for fault in faults(session) if "token" not in fault]
        assert whole == []
        assert connection.execute(text(statement.format(nothing=nothing))).rowcount > 0
        with Session(connection) as session:
            found = [fault for fault in faults(session) if "token" not in fault]
        connection.rollback()
    assert any(re.search(expected, fault) for fault in found), found
