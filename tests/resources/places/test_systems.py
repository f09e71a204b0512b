"""Systems: one body of water each; volume, salinity and targets are set-points that hold from an instant."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

import pytest
from resources.equipment.yard import Yard, told

from service.resources.places.set_points.queries import history, in_force


@pytest.fixture
def system(yard: Yard) -> dict[str, Any]:
    """What describes a system."""
    return {
        "site_id": yard.site["id"],
        "tag": "north",
        "name": "North loop",
        "water_volume": {"value": 1200, "unit": "L"},
        "water_volume_relative_sd": 0.04,
        "reference_salinity": 34.5,
        "targets": {"alkalinity": {"value": 8.2, "unit": "dKH"}},
    }


def test_a_system_shows_what_was_sent(yard: Yard, system: dict[str, Any]) -> None:
    described = yard.describe("systems", system)
    assert {name: described[name] for name in system} == system
    assert (described["quarantine_class"], described["boron_factor"]) == ("clean", 1.0)
    assert yard.all("systems") == [described]
    kinds = [kind for kind, _ in yard.changes()]
    assert sorted(kinds[-4:]) == ["set_point", "set_point", "set_point", "system"]


def test_volume_salinity_and_targets_hold_since_always_unless_said_from_when(
    yard: Yard, system: dict[str, Any]
) -> None:
    always = yard.describe("systems", system)
    since = yard.describe("systems", {**system, "tag": "south", "from": yard.at(days=3)})
    with yard.house.database.read() as session:
        held = history(session, [UUID(always["id"]), UUID(since["id"])])
    assert in_force(held[UUID(always["id"])], yard.house.now.replace(year=1980))["water_volume"].value == 1200
    assert in_force(held[UUID(since["id"])], yard.house.now.replace(year=1980)) == {}
    assert in_force(held[UUID(since["id"])], yard.house.now)["target_alkalinity"].unit == "meq/L"


def test_a_backdated_volume_holds_between_its_neighbours(yard: Yard, system: dict[str, Any]) -> None:
    described = yard.describe("systems", system)
    later = {"water_volume": {"value": 900, "unit": "L"}, "from": yard.at(days=2)}
    changed = yard.change("systems", described, later)
    earlier = {"water_volume": {"value": 1.1, "unit": "m3"}, "from": yard.at(days=6)}
    yard.change("systems", changed, earlier)
    with yard.house.database.read() as session:
        rows = history(session, [UUID(described["id"])], quantity="water_volume")[UUID(described["id"])]
    assert [row.value for row in rows] == [1200, 1100, 900]
    again = {"water_volume": {"value": 800, "unit": "L"}, "from": yard.at(days=6)}
    pointer, said = told(yard.change("systems", {**described, "version": 3}, again, status=409))
    assert pointer == "/from"
    assert str(rows[1].id) in said


def test_what_no_system_can_be_is_refused_naming_the_field(yard: Yard, system: dict[str, Any]) -> None:
    for fields, pointer in (
        ({"water_volume": {"value": 0, "unit": "L"}}, "/water_volume/value"),
        ({"water_volume": {"value": 9, "unit": "dKH"}}, "/water_volume/unit"),
        ({"water_volume_relative_sd": 1}, "/water_volume_relative_sd"),
        ({"reference_salinity": 0}, "/reference_salinity"),
        ({"boron_factor": "1"}, "/boron_factor"),
        ({"quarantine_class": "dirty"}, "/quarantine_class"),
        ({"targets": {"Alkalinity": {"value": 8, "unit": "dKH"}}}, "/targets/Alkalinity"),
        ({"volume": 9}, "/volume"),
    ):
        assert yard.refusal("systems", {**system, **fields}, 422)[0] == pointer
    yard.refusal("systems", {**system, "targets": {"happiness": {"value": 8, "unit": "dKH"}}}, 422)
    yard.refusal("systems", {**system, "targets": {"alkalinity": {"value": 8, "unit": "L"}}}, 422)
    assert yard.refusal("systems", {**system, "room_id": str(uuid4())}, 404)[0] == "/room_id"
    assert yard.all("systems") == []  # not even the set-points that came before the bad target
    assert yard.all("set-points") == []


@pytest.mark.parametrize("target", [{"happiness": {"value": 8, "unit": "dKH"}}, {"calcium": {"value": 8, "unit": "L"}}])
def test_a_bad_target_is_named_where_it_stands(yard: Yard, system: dict[str, Any], target: dict[str, Any]) -> None:
    pointer, _ = yard.refusal("systems", {**system, "targets": target}, 422)
    assert pointer.startswith(f"/targets/{next(iter(target))}")


def test_a_system_is_changed_with_the_version_that_was_read(yard: Yard, system: dict[str, Any]) -> None:
    described = yard.describe("systems", system)
    yard.house.call("PATCH", f"/v1/systems/{described['id']}", {"name": "x"}, status=428)
    changed = yard.change("systems", described, {"name": "North", "quarantine_class": "observation"})
    assert (changed["name"], changed["quarantine_class"], changed["water_volume"]) == (
        "North",
        "observation",
        system["water_volume"],
    )
    yard.change("systems", described, {"name": "x"}, status=412)
    negative = {"name": "y", "water_volume": {"value": -1, "unit": "L"}}
    assert told(yard.change("systems", changed, negative, status=422))[0] == "/water_volume/value"
    assert yard.read("systems", described) == changed


def test_another_sites_systems_and_rooms_do_not_exist(yard: Yard, system: dict[str, Any]) -> None:
    other = yard.house.a_site()
    theirs = yard.house.a_system(other)
    token = yard.house.token("supervisor", site=yard.site["id"])
    yard.house.call("GET", f"/v1/systems/{theirs['id']}", token=token, status=404)
    yard.change("systems", theirs, {"name": "mine"}, token=token, status=404)
    assert yard.refusal("systems", {**system, "site_id": other["id"]}, 404, token=token)[0] == "/site_id"
    room = yard.describe("rooms", {"site_id": other["id"], "tag": "r", "name": "R"})
    assert yard.refusal("systems", {**system, "room_id": room["id"]}, 404)[0] == "/room_id"
    yard.describe("systems", system, token=yard.house.token("keeper"), status=403)
    yard.describe("systems", system)
    assert yard.refusal("systems", system, 409)[0] == "/tag"
