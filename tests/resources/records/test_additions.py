"""Additions: kept as entered and in canonical units, each field checked against its kind."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

import pytest
from support.house import House

from service.resources.places.subjects import new_subject
from service.resources.records.additions.queries import media_of, of_systems


def sent(house: House, kind: str, subject_id: str, /, **fields: Any) -> dict[str, Any]:
    """A valid addition of a kind to a system of 1000 L, some fields replaced (None: left out)."""
    now, before = house.now.isoformat(), (house.now - timedelta(days=1)).isoformat()
    content: dict[str, Any] = {
        "dose": {"started_at": before, "ended_at": now, "alkalinity": {"value": 500, "unit": "meq"}},
        "water_change": {"at": now, "volume": {"value": 100, "unit": "L"}},
        "top_off": {
            "started_at": before,
            "ended_at": now,
            "volume": {"value": 8, "unit": "L"},
            "liquid": "limewater",
        },
        "exchange": {"started_at": before, "flow": {"value": 2, "unit": "L/h"}},
        "salt": {"at": now, "mass": {"value": 2, "unit": "kg"}},
        "media": {"at": now, "mass": {"value": 10, "unit": "lb"}},
    }[kind]
    subject = {"reactor_id" if kind == "media" else "system_id": subject_id}
    return {key: value for key, value in {"kind": kind, **subject, **content, **fields}.items() if value is not None}


def recorded(house: House, kind: str, subject_id: str, **fields: Any) -> dict[str, Any]:
    """A recorded addition."""
    return house.call("PUT", f"/v1/additions/{uuid4()}", sent(house, kind, subject_id, **fields))


def a_reactor(house: House, site: dict[str, Any]) -> str:
    """The id of a calcium reactor on a site."""
    with house.database.write() as session:
        return str(new_subject(session, UUID(site["id"]), "calcium_reactor").id)


def canonical(addition: dict[str, Any], name: str) -> float:
    """A canonical amount of an answer, without its unit."""
    return addition["canonical"][name]["value"]


def test_a_dose_is_kept_in_meq_and_mg(house: House) -> None:
    system = house.a_system()["id"]
    amounts = {
        "alkalinity": {"value": 0.5, "unit": "mol"},
        "calcium": {"value": 100, "unit": "mmol"},
        "magnesium": {"value": 2.5, "unit": "g"},
    }
    dose = recorded(house, "dose", system, **amounts)
    assert dose["alkalinity"] == {"value": 0.5, "unit": "mol"}
    assert dose["canonical"]["alkalinity"] == {"value": 500.0, "unit": "meq"}  # a mole of charge is 1000 meq
    # 40.078 g of calcium a mole: IUPAC standard atomic weights 2005
    assert canonical(dose, "calcium") == pytest.approx(4007.8, abs=0.5)
    assert canonical(dose, "magnesium") == pytest.approx(2500.0)


def test_a_water_change_brings_its_water(house: House) -> None:
    system = house.a_system()["id"]
    new_water = {
        "alkalinity": {"value": 8, "unit": "dKH"},
        "calcium": {"value": 0.42, "unit": "g/L"},
        "salinity": {"value": 35, "unit": "1"},
    }
    change = recorded(house, "water_change", system, volume={"value": 30, "unit": "gal US"}, new_water=new_water)
    assert change["mode"] == "drained"
    assert canonical(change, "volume") == pytest.approx(113.562, abs=1e-3)  # a US gallon is 231 cubic inches
    assert canonical(change, "alkalinity") == pytest.approx(8 * 0.35665, abs=1e-3)  # a German degree: 10 mg/L CaO
    assert canonical(change, "calcium") == pytest.approx(420.0)
    assert "magnesium" not in change["canonical"]


def test_limewater_media_salt_and_exchange(house: House) -> None:
    site = house.a_site()
    system, reactor = house.a_system(site)["id"], a_reactor(house, site)
    top_off = recorded(house, "top_off", system, strength={"value": 0.0203, "unit": "mol/L Ca(OH)2"})
    # saturated at 25 C: 0.0203 mol/L (Bates, Bower & Smith 1956), two equivalents a mole
    assert canonical(top_off, "strength") == pytest.approx(40.6)
    assert canonical(recorded(house, "exchange", system), "flow") == 48.0
    assert canonical(recorded(house, "salt", system), "mass") == 2.0
    media = recorded(house, "media", reactor, batch="coarse, lot 7", replaces=True)
    assert canonical(media, "mass") == pytest.approx(4.536, abs=1e-3)  # a pound is 0.45359237 kg
    assert (media["batch"], media["replaces"], media["subject_id"]) == ("coarse, lot 7", True, reactor)
    refused = house.call("PUT", f"/v1/additions/{uuid4()}", sent(house, "media", system), status=422)
    assert refused["errors"][0]["pointer"] == "/reactor_id"
    refused = house.call("PUT", f"/v1/additions/{uuid4()}", sent(house, "dose", reactor), status=422)
    assert refused["errors"][0]["pointer"] == "/system_id"


BAD = [
    ("dose", {"alkalinity": None}, "/alkalinity"),
    ("dose", {"started_at": None}, "/started_at"),
    ("dose", {"volume": {"value": 1, "unit": "L"}}, "/volume"),
    ("dose", {"alkalinity": {"value": 40, "unit": "g"}}, "/alkalinity/unit"),
    ("dose", {"alkalinity": {"value": -1, "unit": "meq"}}, "/alkalinity/value"),
    ("dose", {"alkalinity": {"value": "40", "unit": "meq"}}, "/alkalinity/value"),
    ("dose", {"calcium": {"value": 0, "unit": "mg"}}, "/calcium/value"),
    ("dose", {"calcium": {"value": 4, "unit": "meq"}}, "/calcium/unit"),
    ("dose", {"ended_at": "2020-01-01T00:00:00Z"}, "/ended_at"),
    ("dose", {"started_at": "2026-03-02T12:00:00"}, "/started_at"),
    ("dose", {"started_at": "2026-03-04T12:00:00Z", "ended_at": None}, "/started_at"),
    ("dose", {"relative_sd": 1}, "/relative_sd"),
    ("dose", {"relative_sd": -0.1}, "/relative_sd"),
    ("dose", {"kind": "does"}, "/kind"),
    ("dose", {"sytem_id": 1}, "/sytem_id"),
    ("dose", {"system_id": None}, "/system_id"),
    ("water_change", {"at": "2026-03-03T12:00:00Z"}, "/at"),
    ("water_change", {"at": "1960-03-03T12:00:00Z"}, "/at"),
    ("water_change", {"volume": {"value": 0, "unit": "L"}}, "/volume/value"),
    ("water_change", {"volume": {"value": 1001, "unit": "L"}}, "/volume/value"),
    ("water_change", {"volume": {"value": 1001, "unit": "L"}, "confirm": True}, "/volume/value"),
    ("water_change", {"volume": {"value": 1001, "unit": "L"}, "mode": "simultaneous"}, "/volume/value"),
    ("water_change", {"mode": "poured"}, "/mode"),
    ("water_change", {"started_at": "2026-03-02T12:00:00Z"}, "/started_at"),
    ("water_change", {"new_water": {"alkalinity": {"value": 2800, "unit": "umol/kg"}}}, "/new_water/alkalinity/unit"),
    ("water_change", {"new_water": {"calcium": {"value": 1e6, "unit": "mg/L"}}}, "/new_water/calcium/value"),
    ("water_change", {"new_water": {"iron": {"value": 1, "unit": "mg/L"}}}, "/new_water/iron"),
    ("top_off", {"ended_at": None}, "/ended_at"),
    ("top_off", {"liquid": None}, "/liquid"),
    ("top_off", {"liquid": "fresh_water", "strength": {"value": 40, "unit": "meq/L"}}, "/strength"),
    ("top_off", {"strength": {"value": 20, "unit": "mmol/L"}}, "/strength/unit"),
    ("top_off", {"volume": {"value": 200, "unit": "L"}}, "/volume/value"),
    ("exchange", {"flow": {"value": 2, "unit": "L"}}, "/flow/unit"),
    ("exchange", {"flow": None}, "/flow"),
    ("salt", {"mass": None}, "/mass"),
]


def test_bad_input_is_named_and_nothing_is_stored(house: House) -> None:
    system = house.a_system()["id"]
    for kind, fields, pointer in BAD:
        body = sent(house, kind, system, **fields)
        problem = house.call("PUT", f"/v1/additions/{uuid4()}", body, status=422)
        assert pointer in [error["pointer"] for error in problem["errors"]], (kind, fields, problem)
    assert house.call("GET", "/v1/additions") == []


def test_more_water_than_there_is_names_both_volumes(house: House) -> None:
    system = house.a_system()
    body = sent(house, "water_change", system["id"], volume={"value": 1200, "unit": "L"})
    detail = house.call("PUT", f"/v1/additions/{uuid4()}", body, status=422)["detail"]
    assert "1200 L" in detail
    assert "1000 L" in detail
    house.call(
        "PATCH",
        f"/v1/systems/{system['id']}",
        {"water_volume": {"value": 2, "unit": "m3"}},
        headers={"If-Match": '"1"'},
    )
    house.call("PUT", f"/v1/additions/{uuid4()}", body)
    earlier = {**body, "at": (house.now - timedelta(hours=1)).isoformat()}  # when it still held 1000 L
    house.call("PUT", f"/v1/additions/{uuid4()}", earlier, status=422)


def test_a_dose_that_would_shock_wants_confirming(house: House) -> None:
    system = house.a_system()["id"]
    body = sent(house, "dose", system, alkalinity={"value": 5000, "unit": "meq"})
    problem = house.call("PUT", f"/v1/additions/{uuid4()}", body, status=422)
    assert problem["type"] == "/problems/needs-confirmation"
    assert house.call("PUT", f"/v1/additions/{uuid4()}", {**body, "confirm": True})["flagged"] is True
    over_days = {**body, "started_at": (house.now - timedelta(days=10)).isoformat()}
    assert house.call("PUT", f"/v1/additions/{uuid4()}", over_days)["flagged"] is False


def test_a_repeat_confirms_and_other_content_conflicts(house: House) -> None:
    system = house.a_system()["id"]
    path, body = f"/v1/additions/{uuid4()}", sent(house, "dose", system)
    first = house.call("PUT", path, body, status=201)
    corrected = house.call(
        "POST",
        f"{path}/corrections",
        {"alkalinity": {"value": 300, "unit": "meq"}, "reason": "read the wrong line"},
        headers={"If-Match": '"1"'},
    )
    assert canonical(corrected, "alkalinity") == 300
    same = {**body, "started_at": "2026-03-01T13:00:00+01:00", "note": None}
    assert house.call("PUT", path, same, status=200) == corrected
    house.call("PUT", path, {**body, "note": "second pump"}, status=409)
    key = {"Idempotency-Key": "morning"}
    by_key = house.call("POST", "/v1/additions", body, headers=key, status=201)
    assert house.call("POST", "/v1/additions", body, headers=key, status=200)["id"] == by_key["id"]
    house.call("POST", "/v1/additions", {**body, "note": "other"}, headers=key, status=422)
    assert first["version"] == 1


def test_a_correction_is_checked_as_a_whole(house: House) -> None:
    dose = recorded(house, "dose", house.a_system()["id"])
    path = f"/v1/additions/{dose['id']}"

    def correct(status: int, **fields: Any) -> dict[str, Any]:
        headers = {"If-Match": '"1"'}
        return house.call("POST", f"{path}/corrections", {**fields, "reason": "x"}, status=status, headers=headers)

    assert correct(422, ended_at="2026-02-01T00:00:00Z")["errors"][0]["pointer"] == "/ended_at"
    assert correct(422, volume={"value": 2, "unit": "L"})["errors"][0]["pointer"] == "/volume"
    assert correct(422, alkalinity=None)["errors"][0]["pointer"] == "/alkalinity"
    assert house.call("GET", path) == dose
    changed = {
        "kind": "salt",
        "at": dose["started_at"],
        "mass": {"value": 1, "unit": "kg"},
        "started_at": None,
        "ended_at": None,
        "alkalinity": None,
    }
    assert correct(200, **changed)["canonical"] == {"mass": {"value": 1.0, "unit": "kg"}}


def test_another_site_sees_nothing(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    dose = recorded(house, "dose", house.a_system(site)["id"])
    stranger = house.token("supervisor", site=other["id"])
    path = f"/v1/additions/{dose['id']}"
    house.call("GET", path, token=stranger, status=404)
    house.call("GET", f"{path}/versions", token=stranger, status=404)
    house.call("POST", f"{path}/withdrawal", {"reason": "x"}, token=stranger, headers={"If-Match": '"1"'}, status=404)
    house.call("PUT", f"/v1/additions/{uuid4()}", sent(house, "dose", dose["system_id"]), token=stranger, status=404)
    house.call("PUT", path, sent(house, "dose", dose["system_id"]), token=stranger, status=404)
    assert house.call("GET", "/v1/additions", token=stranger) == []


def test_computations_get_all_of_many_systems_in_time_order(house: House) -> None:
    site = house.a_site()
    one, two = house.a_system(site)["id"], house.a_system(site)["id"]
    reactor = a_reactor(house, site)
    start = house.now
    ago = {days: (start - timedelta(days=days)).isoformat() for days in range(12)}
    wanted = [
        recorded(house, "exchange", two, started_at=ago[11]),  # runs on
        recorded(house, "dose", one, started_at=ago[10], ended_at=ago[4]),  # reaches into the window
        recorded(house, "dose", one, started_at=ago[5], ended_at=None),  # begins with the window
        recorded(house, "water_change", two, at=ago[3]),
    ]
    recorded(house, "exchange", one, started_at=ago[11], ended_at=ago[5])  # ends where the window begins
    recorded(house, "dose", one, started_at=ago[6], ended_at=None)  # at once, before the window
    recorded(house, "water_change", one, at=ago[2])  # where the window ends
    recorded(house, "water_change", house.a_system(site)["id"], at=ago[3])  # another system
    gone = recorded(house, "water_change", one, at=ago[4])
    house.call("POST", f"/v1/additions/{gone['id']}/withdrawal", {"reason": "x"}, headers={"If-Match": '"1"'})
    media = recorded(house, "media", reactor, at=ago[3])
    with house.database.read() as session:
        found = of_systems(session, [UUID(one), UUID(two)], start - timedelta(days=5), start - timedelta(days=2))
        assert [str(row.id) for row in found] == [addition["id"] for addition in wanted]
        assert [str(row.id) for row in media_of(session, [UUID(reactor)])] == [media["id"]]
    assert len(house.call("GET", "/v1/additions?kind=media")) == 1
