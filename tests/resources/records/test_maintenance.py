"""Maintenance events: what was done, found and calibrated, and what was as new afterwards."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from support.house import House

from service.resources.records.maintenance_events.queries import restorations


def sent(house: House, subject_id: str, /, **fields: Any) -> dict[str, Any]:
    """A valid event, some fields replaced."""
    content = {
        "subject_id": subject_id,
        "kind": "condition_based",
        "performed_at": house.now.isoformat(),
        "what": "drip line cleaned",
    }
    return {**content, **fields}


def test_an_event_keeps_what_was_done(house: House) -> None:
    system = house.a_system()["id"]
    before, after = house.a_reading(system, 8.0)["id"], house.a_reading(system, 8.1)["id"]
    body = sent(
        house,
        system,
        parts=[{"name": "check valve", "count": 2}, {"name": "silicone line"}],
        consumables=[{"name": "citric acid", "amount": {"value": 50, "unit": "g"}}],
        minutes=25,
        findings="half closed by deposits",
        performed_by="night shift",
        restores=["effluent_flow"],
        readings_before=[before],
        readings_after=[after],
    )
    event = house.call("PUT", f"/v1/maintenance-events/{uuid4()}", body, status=201)
    assert event["parts"] == [{"name": "check valve", "count": 2}, {"name": "silicone line", "count": 1}]
    for name in ("what", "performed_by", "restores", "readings_before"):
        assert event[name] == body[name]
    assert event["consumables"] == [{"name": "citric acid", "amount": {"value": 50.0, "unit": "g"}}]
    assert (event["minutes"], event["findings"], event["readings_after"]) == (25.0, "half closed by deposits", [after])
    path = f"/v1/maintenance-events/{event['id']}"
    assert house.call("PUT", path, body, status=200) == event
    house.call("PUT", path, {**body, "minutes": 26}, status=409)
    corrected = house.call(
        "POST", f"{path}/corrections", {"minutes": 35, "reason": "the clock"}, headers={"If-Match": '"1"'}
    )
    assert (corrected["minutes"], corrected["what"], corrected["version"]) == (35.0, "drip line cleaned", 2)
    assert len(house.call("GET", "/v1/maintenance-events?kind=condition_based")) == 1
    assert house.call("GET", "/v1/maintenance-events?kind=inspection") == []


def test_a_calibration_has_its_line_and_nothing_else_has_one(house: House) -> None:
    system = house.a_system()["id"]
    calibration = {
        "slope": {"value": 97.2, "unit": "%"},
        "offset": {"value": -8, "unit": "mV"},
        "buffers": [{"value": 7.0, "unit": "[pH]"}, {"value": 9.18, "unit": "[pH]"}],
        "before": {"value": 7.11, "unit": "[pH]"},
        "after": {"value": 7.0, "unit": "[pH]"},
    }
    body = sent(house, system, kind="calibration", what="two points", calibration=calibration)
    event = house.call("PUT", f"/v1/maintenance-events/{uuid4()}", body)
    assert event["calibration"]["buffers"][1] == {"value": 9.18, "unit": "[pH]"}
    refused = house.call("PUT", f"/v1/maintenance-events/{uuid4()}", {**body, "kind": "inspection"}, status=422)
    assert refused["errors"][0]["pointer"] == "/calibration"
    path = f"/v1/maintenance-events/{event['id']}/corrections"
    change = {"kind": "inspection", "reason": "no buffers at hand"}
    refused = house.call("POST", path, change, headers={"If-Match": '"1"'}, status=422)
    assert refused["errors"][0]["pointer"] == "/calibration"
    house.call("POST", path, {**change, "calibration": None}, headers={"If-Match": '"1"'})


def test_bad_input_is_named(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    system = house.a_system(site)["id"]
    elsewhere = house.a_reading(house.a_system(other)["id"])["id"]
    bad = [
        ({"kind": "repaired"}, "/kind", 422),
        ({"what": ""}, "/what", 422),
        ({"minutes": -1}, "/minutes", 422),
        ({"minutes": True}, "/minutes", 422),
        ({"parts": [{"name": "valve", "count": 0}]}, "/parts/0/count", 422),
        ({"parts": [{"name": "valve", "number": 1}]}, "/parts/0/number", 422),
        ({"restores": ["drip"]}, "/restores/0", 422),
        ({"readings_before": [elsewhere]}, "/readings_before/0", 404),
        ({"performed_at": (house.now + timedelta(hours=1)).isoformat()}, "/performed_at", 422),
        ({"subject_id": str(uuid4())}, "/subject_id", 404),
    ]
    for fields, pointer, status in bad:
        body = sent(house, system, **fields)
        problem = house.call("PUT", f"/v1/maintenance-events/{uuid4()}", body, status=status)
        assert problem["errors"][0]["pointer"] == pointer, problem
    assert house.call("GET", "/v1/maintenance-events") == []


def test_computations_learn_when_a_drip_was_as_new(house: House) -> None:
    site = house.a_site()
    one, two = house.a_system(site)["id"], house.a_system(site)["id"]
    for days, subject, restores in ((9, one, True), (5, one, True), (4, two, False), (3, one, True), (1, one, True)):
        at = (house.now - timedelta(days=days)).isoformat()
        body = sent(house, subject, performed_at=at, restores=["effluent_flow"] if restores else [])
        house.call("PUT", f"/v1/maintenance-events/{uuid4()}", body)
    start, end = house.now - timedelta(days=5), house.now - timedelta(days=1)
    with house.database.read() as session:
        found = restorations(session, [UUID(one), UUID(two)], start, end)
    assert found == {UUID(one): [start, house.now - timedelta(days=3)], UUID(two): []}


def test_another_site_sees_nothing(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    event = house.call("PUT", f"/v1/maintenance-events/{uuid4()}", sent(house, house.a_system(site)["id"]))
    stranger = house.token("supervisor", site=other["id"])
    house.call("GET", f"/v1/maintenance-events/{event['id']}", token=stranger, status=404)
    assert house.call("GET", "/v1/maintenance-events", token=stranger) == []
