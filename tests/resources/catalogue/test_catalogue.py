"""Quantities, methods and lots: what can be measured, how, and with which bottle."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from support.diary import titrations
from support.house import House

CONTRACT = {
    "alkalinity", "calcium", "magnesium", "strontium", "potassium", "nitrate", "phosphate", "ammonia", "ph",
    "temperature", "salinity", "conductivity", "effluent_alkalinity", "effluent_ph", "effluent_flow", "chamber_ph",
    "chamber_pressure", "delivery_pressure", "bubble_rate", "gas_flow", "cylinder_pressure", "cylinder_gross_mass",
    "media_level", "limewater_strength", "top_off_volume", "water_level", "room_co2", "oxygen", "orp",
    "dissolved_oxygen", "pco2", "inflow",
}  # fmt: skip


def method(**fields: Any) -> dict[str, Any]:
    return {
        "name": "blue bottle kit",
        "quantity": "alkalinity",
        "repeatability": {"value": 0.3, "unit": "dKH"},
        **fields,
    }


def test_every_quantity_says_its_units_conditions_and_bounds(house: House) -> None:
    quantities = house.call("GET", "/v1/quantities")
    assert {quantity["code"] for quantity in quantities} >= CONTRACT
    for quantity in quantities:
        assert quantity["unit"] == quantity["accepted_units"][0]
        assert quantity["possible"][0] <= quantity["plausible"][0] < quantity["plausible"][1] <= quantity["possible"][1]
    ph = house.call("GET", "/v1/quantities/ph")
    assert {condition["name"]: condition["default"] for condition in ph["conditions"]}["scale"] == "nbs"
    house.call("GET", "/v1/quantities/happiness", status=404)


def test_a_methods_repeatability_is_what_its_readings_are_held_to(house: House) -> None:
    described = house.call("POST", "/v1/methods", method())
    assert described["sd"] == pytest.approx(0.3 * 0.35665, rel=1e-4)  # 1 dKH = 0.35665 meq/L by definition
    system = house.a_system()
    by_name = house.a_reading(system["id"], 8.0, method="blue bottle kit")
    by_id = house.a_reading(system["id"], 8.0, method=described["id"])
    assert by_name["method"] == by_id["method"] == described["id"]
    path = f"/v1/systems/{system['id']}/consumption/check"
    titrations(house, system["id"], [2.85] * 10)
    house.pass_time(days=1)
    at = {"quantity": "alkalinity", "value": 8.2, "unit": "dKH", "taken_at": house.now.isoformat()}
    loose, sharp = (house.call("POST", path, {**at, "method": m}) for m in (described["id"], "laboratory"))
    assert abs(loose["score"]) < abs(sharp["score"])


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        (method(quantity="happiness"), "/quantity"),
        (method(repeatability=None), "/repeatability"),
        (method(relative_sd=0.05), "/repeatability"),
        (method(repeatability={"value": 0.3, "unit": "L"}), "/repeatability/unit"),
        (method(repeatability={"value": 0, "unit": "dKH"}), "/repeatability/value"),
        (method(repeatability=None, relative_sd=1.5), "/relative_sd"),
        (method(nmae="x"), "/nmae"),
    ],
)
def test_what_no_method_can_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    sent = {name: value for name, value in sent.items() if value is not None}
    refused = house.call("POST", "/v1/methods", sent, status=422)
    assert refused["errors"][0]["pointer"] == pointer
    assert house.call("GET", "/v1/methods") == []


def test_a_method_is_amended_with_its_version_and_its_two_statements_replace_each_other(house: House) -> None:
    described = house.call("POST", "/v1/methods", method())
    house.call("POST", "/v1/methods", method(), status=409)
    path = f"/v1/methods/{described['id']}"
    changed = house.call("PATCH", path, {"relative_sd": 0.04}, headers={"If-Match": '"1"'})
    assert (changed["relative_sd"], changed["repeatability"], changed["sd"], changed["version"]) == (
        0.04,
        None,
        None,
        2,
    )
    house.call("PATCH", path, {"relative_sd": 0.05}, headers={"If-Match": '"1"'}, status=412)
    house.call("PATCH", path, {"relative_sd": 0.05}, status=428)
    house.call("GET", f"/v1/methods/{uuid4()}", status=404)


def test_a_reading_of_an_unknown_method_or_lot_is_refused(house: House) -> None:
    system = house.a_system()
    reading = {
        "subject_id": system["id"], "quantity": "alkalinity", "value": 8, "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }  # fmt: skip
    for field, value in (("method", "tea leaves"), ("lot_id", str(uuid4()))):
        refused = house.call("PUT", f"/v1/readings/{uuid4()}", {**reading, field: value}, status=404)
        assert refused["errors"][0]["pointer"] == f"/{field}"
    house.call("POST", "/v1/methods", method(quantity="calcium", repeatability={"value": 9, "unit": "mg/L"}))
    house.call("PUT", f"/v1/readings/{uuid4()}", {**reading, "method": "blue bottle kit"}, status=404)


def test_a_lot_belongs_to_a_method_and_has_its_days(house: House) -> None:
    described = house.call("POST", "/v1/methods", method())
    lot = house.call(
        "POST",
        "/v1/lots",
        {
            "number": "A-17",
            "method_id": described["id"],
            "opened_at": house.now.isoformat(),
            "expires_on": "2027-03-31",
        },
    )
    assert lot["expires_on"] == "2027-03-31"
    changed = house.call("PATCH", f"/v1/lots/{lot['id']}", {"expires_on": None}, headers={"If-Match": '"1"'})
    assert changed["expires_on"] is None
    house.call("POST", "/v1/lots", {"number": "B", "method_id": str(uuid4())}, status=404)
    assert (
        house.call("POST", "/v1/lots", {"number": "B", "expires_on": "soon"}, status=422)["errors"][0]["pointer"]
        == "/expires_on"
    )
    assert house.call("POST", "/v1/lots", {"number": "B", "expires_on": 20270331}, status=422)


def test_the_catalogue_is_shared_by_all_sites(house: House) -> None:
    described = house.call("POST", "/v1/methods", method())
    token = house.token("reader", site=house.a_site()["id"])
    assert house.call("GET", "/v1/methods", token=token) == [described]
    house.call("GET", "/v1/methods?site=x", status=400)
    house.call("POST", "/v1/methods", method(name="other"), token=token, status=403)
