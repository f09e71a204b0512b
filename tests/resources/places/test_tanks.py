"""Tanks: vessels that stand on systems and move between them; history stays right."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from resources.equipment.yard import Yard, instant, told

from service.resources.places.tanks.queries import stays, stays_on

BOX = {name: {"value": value, "unit": "cm"} for name, value in (("length", 100), ("width", 60), ("height", 50))}


def tank(yard: Yard, **fields: Any) -> dict[str, Any]:
    """What describes a tank."""
    return {"tag": f"tank-{uuid4().hex[:6]}", "name": "Display", **fields}


def test_a_tank_stands_on_a_system(yard: Yard) -> None:
    system = yard.house.a_system(yard.site)
    described = yard.describe("tanks", tank(yard, system_id=system["id"], dimensions=BOX))
    assert (described["system_id"], described["dimensions"]) == (system["id"], BOX)
    assert described["site_id"] == yard.site["id"]
    assert yard.all("tanks") == [described]
    assert yard.changes()[-1] == ("tank", "described")


def test_a_tank_alone_gets_a_system_of_its_own(yard: Yard) -> None:
    stated = tank(yard, site_id=yard.site["id"], water_volume={"value": 250, "unit": "L"})
    described = yard.describe("tanks", stated)
    system = yard.read("systems", {"id": described["system_id"]})
    assert (system["tag"], system["water_volume"]) == (stated["tag"], {"value": 250, "unit": "L"})
    assert system["water_volume_relative_sd"] is None


def test_the_water_of_a_tank_alone_is_guessed_from_its_vessel_and_held_uncertain(yard: Yard) -> None:
    # 100 x 60 x 50 cm are 300 L; our judgement: 15 % for what rock, sand and sump leave unknown
    for fields, litres in (
        ({"dimensions": BOX}, 300),
        ({"dimensions": BOX, "displaced_volume": {"value": 40, "unit": "L"}}, 260),
        ({"gross_volume": {"value": 0.2, "unit": "m3"}}, 200),
    ):
        described = yard.describe("tanks", tank(yard, site_id=yard.site["id"], **fields))
        system = yard.read("systems", {"id": described["system_id"]})
        assert abs(system["water_volume"]["value"] - litres) < 1e-9 * litres
        assert (system["water_volume"]["unit"], system["water_volume_relative_sd"]) == ("L", 0.15)


def test_a_tank_moves_and_its_past_stays(yard: Yard) -> None:
    first, second = yard.house.a_system(yard.site), yard.house.a_system(yard.site)
    described = yard.describe("tanks", tank(yard, system_id=first["id"], **{"from": yard.at(days=9)}))
    moved = yard.change("tanks", described, {"system_id": second["id"], "from": yard.at(days=3)})
    assert (moved["system_id"], moved["version"]) == (second["id"], 2)
    back = {"system_id": first["id"], "from": yard.at(days=6)}  # a backdated stay ends where the next one begins
    yard.change("tanks", moved, {**back, "system_id": second["id"]})
    with yard.house.database.read() as session:
        spans = [(str(stay.system_id), stay.from_at, stay.to_at) for stay in stays(session, [UUID(described["id"])])]
        assert spans == [
            (first["id"], instant(yard.at(days=9)), instant(yard.at(days=6))),
            (second["id"], instant(yard.at(days=6)), instant(yard.at(days=3))),
            (second["id"], instant(yard.at(days=3)), None),
        ]
        assert len(stays_on(session, [UUID(first["id"])])) == 1
    assert told(yard.change("tanks", {**moved, "version": 3}, back, status=409))[0] == "/from"


def test_what_no_tank_can_be_is_refused_naming_the_field(yard: Yard) -> None:
    alone, system = {"site_id": yard.site["id"]}, yard.house.a_system(yard.site)
    elsewhere = yard.house.a_site()
    for fields, pointer in (
        ({}, "/system_id"),
        (alone, "/water_volume"),
        ({**alone, "gross_volume": {"value": 0, "unit": "L"}}, "/gross_volume/value"),
        ({**alone, "dimensions": {**BOX, "height": {"value": -5, "unit": "cm"}}}, "/dimensions/height/value"),
        ({**alone, "dimensions": {**BOX, "height": {"value": 5, "unit": "L"}}}, "/dimensions/height/unit"),
        ({**alone, "dimensions": {"length": {"value": 5, "unit": "cm"}}}, "/dimensions/width"),
        ({**alone, "dimensions": BOX, "displaced_volume": {"value": 300, "unit": "L"}}, "/displaced_volume"),
        ({**alone, "water_volume": {"value": 0, "unit": "L"}}, "/water_volume/value"),
        ({"system_id": system["id"], "site_id": elsewhere["id"]}, "/site_id"),
        ({"system_id": system["id"], "shape": "round"}, "/shape"),
    ):
        assert yard.refusal("tanks", tank(yard, **fields), 422)[0] == pointer
    assert yard.refusal("tanks", tank(yard, system_id=str(uuid4())), 404)[0] == "/system_id"
    assert yard.refusal("tanks", tank(yard, site_id=str(uuid4())), 404)[0] == "/site_id"
    assert yard.all("tanks") == []
    assert yard.all("systems") == [system]


def test_a_tank_is_changed_with_the_version_that_was_read(yard: Yard) -> None:
    system = yard.house.a_system(yard.site)
    described = yard.describe("tanks", tank(yard, system_id=system["id"]))
    yard.house.call("PATCH", f"/v1/tanks/{described['id']}", {"name": "x"}, status=428)
    changed = yard.change("tanks", described, {"name": "Lagoon", "gross_volume": {"value": 400, "unit": "L"}})
    assert (changed["name"], changed["gross_volume"]) == ("Lagoon", {"value": 400, "unit": "L"})
    yard.change("tanks", described, {"name": "x"}, status=412)
    negative = {"displaced_volume": {"value": -1, "unit": "L"}}
    assert told(yard.change("tanks", changed, negative, status=422))[0] == "/displaced_volume/value"
    far = yard.house.a_system()
    assert told(yard.change("tanks", changed, {"system_id": far["id"]}, status=422))[0] == "/system_id"
    same = tank(yard, system_id=system["id"], tag=described["tag"])
    assert yard.refusal("tanks", same, 409)[0] == "/tag"


def test_another_sites_tanks_do_not_exist_for_a_sites_token(yard: Yard) -> None:
    far = yard.house.a_system()
    theirs = yard.describe("tanks", tank(yard, system_id=far["id"]))
    token = yard.house.token("supervisor", site=yard.site["id"])
    yard.house.call("GET", f"/v1/tanks/{theirs['id']}", token=token, status=404)
    yard.change("tanks", theirs, {"name": "mine"}, token=token, status=404)
    assert yard.refusal("tanks", tank(yard, system_id=far["id"]), 404, token=token)[0] == "/system_id"
    assert yard.house.call("GET", "/v1/tanks", token=token) == []
