"""Rooms: what a gas release would fill."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import pytest
from resources.equipment.yard import Yard, told


@pytest.fixture
def room(yard: Yard) -> dict[str, Any]:
    """What describes a room."""
    return {
        "site_id": yard.site["id"],
        "tag": "plant",
        "name": "Plant room",
        "free_volume": {"value": 30, "unit": "m3"},
        "air_changes_per_hour": 2,
        "below_ground": True,
    }


def test_a_room_is_kept_as_it_was_sent(yard: Yard, room: dict[str, Any]) -> None:
    described = yard.describe("rooms", room)
    assert {name: described[name] for name in room} == room
    assert yard.all("rooms") == [described]
    assert yard.changes()[-1] == ("room", "described")
    bare = yard.describe("rooms", {"site_id": yard.site["id"], "tag": "shop", "name": "Shop"})
    assert (bare["free_volume"], bare["air_changes_per_hour"], bare["below_ground"]) == (None, None, False)


def test_what_no_room_can_be_is_refused_naming_the_field(yard: Yard, room: dict[str, Any]) -> None:
    for fields, pointer in (
        ({"free_volume": {"value": 0, "unit": "m3"}}, "/free_volume/value"),
        ({"free_volume": {"value": 30, "unit": "kg"}}, "/free_volume/unit"),
        ({"free_volume": 30}, "/free_volume"),
        ({"air_changes_per_hour": -1}, "/air_changes_per_hour"),
        ({"below_ground": "yes"}, "/below_ground"),
        ({"windows": 2}, "/windows"),
    ):
        assert yard.refusal("rooms", {**room, **fields}, 422)[0] == pointer
    assert yard.refusal("rooms", {**room, "site_id": str(uuid4())}, 404)[0] == "/site_id"
    assert yard.all("rooms") == []


def test_a_tag_is_taken_once_a_site(yard: Yard, room: dict[str, Any]) -> None:
    yard.describe("rooms", room)
    assert yard.refusal("rooms", room, 409)[0] == "/tag"
    yard.describe("rooms", {**room, "site_id": yard.house.a_site()["id"]})


def test_a_room_is_changed_with_the_version_that_was_read(yard: Yard, room: dict[str, Any]) -> None:
    described = yard.describe("rooms", room)
    yard.house.call("PATCH", f"/v1/rooms/{described['id']}", {"name": "x"}, status=428)
    changed = yard.change("rooms", described, {"air_changes_per_hour": None, "below_ground": False})
    assert (changed["air_changes_per_hour"], changed["below_ground"], changed["name"]) == (None, False, "Plant room")
    yard.change("rooms", described, {"name": "x"}, status=412)
    pointer, _ = told(yard.change("rooms", changed, {"free_volume": {"value": -3, "unit": "m3"}}, status=422))
    assert pointer == "/free_volume/value"
    assert yard.read("rooms", described) == changed


def test_another_sites_rooms_do_not_exist_for_a_sites_token(yard: Yard, room: dict[str, Any]) -> None:
    other = yard.house.a_site()
    theirs = yard.describe("rooms", {**room, "site_id": other["id"]})
    token = yard.house.token("supervisor", site=yard.site["id"])
    yard.house.call("GET", f"/v1/rooms/{theirs['id']}", token=token, status=404)
    yard.change("rooms", theirs, {"name": "mine"}, token=token, status=404)
    assert yard.refusal("rooms", {**room, "site_id": other["id"]}, 404, token=token)[0] == "/site_id"
    assert yard.house.call("GET", "/v1/rooms", token=token) == []
    yard.describe("rooms", room, token=yard.house.token("keeper", site=yard.site["id"]), status=403)
