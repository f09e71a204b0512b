"""Readings: recorded once, confirmed when sent again, corrected, withdrawn, never lost."""

from __future__ import annotations

from uuid import uuid4

from support.house import House


def test_a_reading_is_kept_as_entered_and_in_the_canonical_unit(house: House) -> None:
    system = house.a_system()
    reading = house.a_reading(system["id"], 8.0)
    assert (reading["value"], reading["unit"]) == (8.0, "dKH")
    assert reading["canonical"]["unit"] == "meq/L"
    assert abs(reading["canonical"]["value"] - 8 * 0.35665) < 1e-4  # 1 dKH = 0.35665 meq/L by definition


def test_the_same_reading_twice_is_one_reading(house: House) -> None:
    system = house.a_system()
    content = {
        "subject_id": system["id"],
        "quantity": "alkalinity",
        "value": 8,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }
    path = f"/v1/readings/{uuid4()}"
    house.call("PUT", path, content, status=201)
    house.call("PUT", path, {**content, "value": 8.0}, status=200)
    house.call("PUT", path, {**content, "value": 8.1}, status=409)
    assert len(house.call("GET", "/v1/readings")) == 1


def test_a_correction_is_a_new_version_and_the_old_one_stays_visible(house: House) -> None:
    reading = house.a_reading(house.a_system()["id"], 8.0)
    path = f"/v1/readings/{reading['id']}"
    corrected = house.call(
        "POST", f"{path}/corrections", {"value": 8.4, "reason": "misread the syringe"}, headers={"If-Match": '"1"'}
    )
    assert (corrected["version"], corrected["value"]) == (2, 8.4)
    assert [version["value"] for version in house.call("GET", f"{path}/versions")] == [8.0, 8.4]
    house.call(
        "POST", f"{path}/corrections", {"value": 8.5, "reason": "again"}, headers={"If-Match": '"1"'}, status=412
    )
    house.call("POST", f"{path}/corrections", {"value": 8.5, "reason": "again"}, status=428)
    house.call("POST", f"{path}/corrections", {"value": "8.5", "reason": "x"}, headers={"If-Match": '"2"'}, status=422)
    house.call("POST", f"{path}/withdrawal", {"reason": "wrong tank"}, headers={"If-Match": '"2"'})
    assert house.call("GET", "/v1/readings") == []
    assert house.call("GET", "/v1/readings?withdrawn=true")[0]["state"] == "withdrawn"


def test_impossible_is_refused_and_implausible_wants_confirming(house: House) -> None:
    system = house.a_system()
    content = {
        "subject_id": system["id"],
        "quantity": "ph",
        "value": 9.55,
        "unit": "[pH]",
        "taken_at": house.now.isoformat(),
    }
    refused = house.call("PUT", f"/v1/readings/{uuid4()}", content, status=422)
    assert refused["type"] == "/problems/needs-confirmation"
    assert refused["errors"][0]["pointer"] == "/value"
    assert house.call("PUT", f"/v1/readings/{uuid4()}", {**content, "confirm": True})["flagged"] is True
    house.call("PUT", f"/v1/readings/{uuid4()}", {**content, "value": 19, "confirm": True}, status=422)


def test_a_batch_answers_for_each_item_in_order(house: House) -> None:
    system = house.a_system()
    good = {
        "subject_id": system["id"],
        "quantity": "alkalinity",
        "value": 8,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }
    items = [
        {**good, "id": str(uuid4())},
        {**good, "id": str(uuid4()), "value": True},
        {**good, "id": str(uuid4()), "unti": 1},
    ]
    results = house.call("POST", "/v1/readings/batch", {"items": items})["results"]
    assert [result["status"] for result in results] == [201, 422, 422]
    assert [result["problem"] and result["problem"]["errors"][0]["pointer"] for result in results] == [
        None,
        "/value",
        "/unti",
    ]
    whole = house.call(
        "POST", "/v1/readings/batch", {"items": [{**good, "id": str(uuid4())}, items[1]], "all_or_none": True}
    )
    assert [result["status"] for result in whole["results"]] == [424, 422]
    assert len(house.call("GET", "/v1/readings")) == 1
