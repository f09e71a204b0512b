"""GET /v1/rooms/{id}/gas-release and POST /v1/calculations/gas-release: carbon dioxide let into a room.

Exposure limits by NIOSH documentation 124389 (May 1994), the revised IDLH among them; volumes by the ideal gas.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from support.house import House

PATH = "/v1/calculations/gas-release"
ROOM = {"free_volume": {"value": 30, "unit": "m3"}, "gas_mass": {"value": 4.5, "unit": "kg"}}
GAS_L_KG = 1000 / 44.0095 * 22.414 * 293.15 / 273.15  # ideal gas at 20 C and 1 atm


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


class Rooms:
    """A site with a room of 30 m3, and what is put into it."""

    def __init__(self, house: House, **fields: Any) -> None:
        self.house = house
        self.site = house.a_site(**fields)
        self.room = self.describe_room(free_volume={"value": 30, "unit": "m3"}, air_changes_per_hour=0.5)

    def describe_room(self, **fields: Any) -> dict[str, Any]:
        content = {"site_id": self.site["id"], "tag": f"r-{uuid4().hex[:8]}", "name": "Plant room", **fields}
        return self.house.call("POST", "/v1/rooms", content)

    def piece(self, kind: str, specification: dict[str, Any] | None = None, **fields: Any) -> dict[str, Any]:
        content = {"site_id": self.site["id"], "tag": f"p-{uuid4().hex[:8]}", "kind": kind, **fields}
        return self.house.call("POST", "/v1/equipment", {**content, "specification": specification or {}})

    def cylinder(self, kg: float | None = 4.5, **fields: Any) -> dict[str, Any]:
        return self.piece("co2_cylinder", {} if kg is None else {"charge": {"value": kg, "unit": "kg"}}, **fields)

    def ask(self, room: dict[str, Any] | None = None, **query: Any) -> dict[str, Any]:
        return self.house.call("GET", f"/v1/rooms/{(room or self.room)['id']}/gas-release", params=query)


def test_the_worked_release(house: House) -> None:
    """4.5 kg into 30 m3 at 20 C over 420 ppm: 8.24 % (row room-02), by displacement 7.91 %; the larger one counts."""
    answer = house.call("POST", PATH, ROOM)
    release = answer["releases"][0]
    assert release["screening"] == {"value": pytest.approx(8.24, abs=0.01), "unit": "%"}
    assert release["simple"] == release["screening"]
    assert release["displaced"]["value"] == pytest.approx(7.91, abs=0.01)
    assert release["gas_volume"]["value"] == pytest.approx(4.5 * GAS_L_KG / 1000, rel=1e-3)
    # 2.5 m high: the lowest half metre is a fifth of 30 m3
    assert release["pooled"]["value"] == pytest.approx(100 * 4.5 * GAS_L_KG / 6000 + 0.042, abs=0.05)
    assert release["oxygen"]["value"] == pytest.approx(20.95 * (1 - 0.0824), abs=0.01)
    assert codes(answer["missing"]) == ["air_changes"]


def test_the_shipped_limits_have_country_source_and_date(house: House) -> None:
    answer = house.call("POST", PATH, ROOM)
    assert [(limit["ppm"], limit["country"], limit["as_of"][:4]) for limit in answer["limits"]] == [
        (5000, "US", "1994"),
        (30_000, "US", "1994"),
        (40_000, "US", "1994"),
    ]
    assert all(limit["source"] for limit in answer["limits"])
    ratios = [each["ratio"] for each in answer["releases"][0]["over_limits"]]
    assert ratios == pytest.approx([82_400 / ppm for ppm in (5000, 30_000, 40_000)], rel=2e-3)
    assert codes(answer["findings"]) == ["release_over_limit", "pooled_over_limit", "leak_over_limit"]
    assert "IDLH" in answer["findings"][0]["detail"]


def test_no_number_is_called_a_clearance(house: House) -> None:
    """0.01 kg stays under every limit: nothing is said of it, and the cautions stand all the same."""
    answer = house.call("POST", PATH, {**ROOM, "gas_mass": {"value": 10, "unit": "g"}, "air_changes_per_hour": 1})
    assert answer["findings"] == []
    said = " ".join(answer["cautions"])
    for words in ("oxygen monitor does not protect", "No room number is a clearance", "local codes", "gas supplier"):
        assert words in said
    assert "safe " not in " ".join([said, *answer["assumptions"]]).replace("safety", "")


def test_a_leak_into_a_ventilated_room(house: House) -> None:
    """100 g/h into 30 m3 with 0.5 air changes: 1,854 ppm after an hour, 4,064 in the end (ideal gas, by hand)."""
    answer = house.call("POST", PATH, {**ROOM, "air_changes_per_hour": 0.5, "leak_hours": 1})
    assert answer["leak"]["after"]["value"] == pytest.approx(1854, abs=2)
    assert answer["leak"]["steady"]["value"] == pytest.approx(4064, abs=3)
    faster = house.call("POST", PATH, {**ROOM, "leak_rate": {"value": 1, "unit": "kg/d"}, "leak_hours": 24})
    assert faster["leak"]["steady"] is None  # without air changes it has no end
    assert faster["leak"]["after"]["value"] == pytest.approx(420 + 1e6 * GAS_L_KG / 30_000, rel=1e-3)


def test_a_release_that_pools_is_held_against_the_limits_too(house: House) -> None:
    """1 kg in 100 m3: 0.59 % mixed passes the mean of a shift only; in the lowest fifth 2.8 %, under the short one."""
    sent = {**ROOM, "free_volume": {"value": 100, "unit": "m3"}, "gas_mass": {"value": [1, 1.2], "unit": "kg"}}
    found = [each for each in house.call("POST", PATH, sent)["findings"] if each["code"] == "pooled_over_limit"]
    assert ["short-term" in each["detail"] for each in found] == [False, True]


def test_several_masses_in_one_call(house: House) -> None:
    """By hand: 0.5, 1 and 20 kg into 30 m3 are 0.95, 1.86 and 36.5 % by the simple sum."""
    answer = house.call("POST", PATH, {**ROOM, "gas_mass": {"value": [0.5, 1, 20], "unit": "kg"}})
    assert [each["simple"]["value"] for each in answer["releases"]] == pytest.approx([0.95, 1.86, 36.5], abs=0.05)


def test_below_ground_is_said(house: House) -> None:
    assert "below_ground" in codes(house.call("POST", PATH, {**ROOM, "below_ground": True})["findings"])


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({**ROOM, "free_volume": {"value": 0, "unit": "m3"}}, "/free_volume/value"),
        ({**ROOM, "free_volume": {"value": 30, "unit": "kg"}}, "/free_volume/unit"),
        ({**ROOM, "gas_mass": {"value": [1, 0], "unit": "kg"}}, "/gas_mass/value"),
        ({**ROOM, "supply_air": {"value": 100, "unit": "%"}}, "/supply_air/value"),
        ({**ROOM, "air_changes_per_hour": -1}, "/air_changes_per_hour"),
        ({**ROOM, "exposure_limits": [{"name": "x", "kind": "short_term", "ppm": 5}]}, "/exposure_limits/0/source"),
        ({"gas_mass": ROOM["gas_mass"]}, "/free_volume"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, sent, status=422)
    assert problem["errors"][0]["pointer"] == pointer


def test_a_rooms_cylinders_count_as_full(house: House) -> None:
    rooms = Rooms(house)
    rooms.cylinder(4.5, room_id=rooms.room["id"])
    rooms.cylinder(9.0, room_id=rooms.room["id"])
    rooms.cylinder(20.0, room_id=rooms.room["id"], state="retired")
    answer = rooms.ask()
    assert [(each["what"], each["gas"]["value"]) for each in answer["releases"]] == [
        ("largest_cylinder", 9.0),
        ("all_cylinders", 13.5),
    ]
    assert answer["releases"][0]["simple"]["value"] == pytest.approx(16.4, abs=0.05)
    assert {each["placed_by"] for each in answer["cylinders"]} == {"room"}
    assert "no_co2_monitor" in codes(answer["findings"])
    one = rooms.ask(gas_mass=4.5)["releases"]
    assert [(each["what"], round(each["screening"]["value"], 1)) for each in one] == [("as_asked", 8.2)]


def test_a_cylinder_without_a_room_is_placed_by_its_line_or_said_to_be_nowhere(house: House) -> None:
    rooms = Rooms(house)
    on_line, nowhere = rooms.cylinder(), rooms.cylinder()
    reactor = rooms.piece("calcium_reactor", room_id=rooms.room["id"])
    sent = {
        "site_id": rooms.site["id"], "tag": "gas", "cylinder_ids": [on_line["id"]], "reactor_ids": [reactor["id"]],
        "from": (house.now - timedelta(days=3)).isoformat(),
    }  # fmt: skip
    house.call("POST", "/v1/gas-lines", sent)
    answer = rooms.ask()
    assert [(each["equipment_id"], each["placed_by"]) for each in answer["cylinders"]] == [(on_line["id"], "gas_line")]
    assert nowhere["tag"] in next(each["detail"] for each in answer["missing"] if each["code"] == "cylinder_room")


def test_a_cylinder_without_charge_counts_by_its_capacity(house: House) -> None:
    rooms = Rooms(house)
    capacity = {"water_capacity": {"value": 6.0, "unit": "L"}}
    rooms.piece("co2_cylinder", capacity, room_id=rooms.room["id"])
    rooms.cylinder(None, room_id=rooms.room["id"])
    answer = rooms.ask()
    assert [each["gas"]["value"] for each in answer["releases"]] == [pytest.approx(4.5)]  # 0.75 kg/L
    assert codes(answer["missing"]) == ["charge"]


def test_an_oxygen_monitor_alone_is_named(house: House) -> None:
    rooms = Rooms(house)
    rooms.cylinder(room_id=rooms.room["id"])
    rooms.piece("gas_monitor", {"quantity": "oxygen"}, room_id=rooms.room["id"])
    assert "oxygen_monitor_does_not_protect" in codes(rooms.ask()["findings"])
    monitor = rooms.piece("gas_monitor", {"quantity": "room_co2"}, room_id=rooms.room["id"])
    answer = rooms.ask()
    assert answer["monitors"] == [monitor["tag"]]
    assert not {"oxygen_monitor_does_not_protect", "no_co2_monitor"} & set(codes(answer["findings"]))
    house.a_reading(monitor["id"], 1200, quantity="room_co2", unit="ppm")
    assert rooms.ask()["air"]["supply_air"] == {"value": 1200, "unit": "ppm"}


def test_a_sites_own_limits_replace_those_shipped(house: House) -> None:
    own = {
        "name": "Workplace limit", "kind": "long_term_mean", "ppm": 9100, "minutes": 480, "country": "DE",
        "source": "the site's safety officer", "as_of": "2026-01-15",
    }  # fmt: skip
    rooms = Rooms(house, exposure_limits=[own])
    rooms.cylinder(room_id=rooms.room["id"])
    assert rooms.ask()["limits"] == [own]
    path, held = f"/v1/sites/{rooms.site['id']}", {"If-Match": '"1"'}
    assert house.call("PATCH", path, {"exposure_limits": None}, headers=held)["exposure_limits"] is None
    answer = rooms.ask()
    assert len(answer["limits"]) == 3
    assert any("United States" in each for each in answer["assumptions"])
    wrong = {**own, "as_of": "last year"}
    problem = house.call("PATCH", path, {"exposure_limits": [wrong]}, headers={"If-Match": '"2"'}, status=422)
    assert problem["errors"][0]["pointer"] == "/exposure_limits/0/as_of"


def test_the_rooms_height_sets_the_lowest_half_metre(house: House) -> None:
    rooms = Rooms(house)
    rooms.cylinder(room_id=rooms.room["id"])
    two = rooms.ask()["air"]["lower_half_metre"]["value"]
    held = {"If-Match": '"1"'}
    house.call("PATCH", f"/v1/rooms/{rooms.room['id']}", {"height": {"value": 300, "unit": "cm"}}, headers=held)
    assert (two, rooms.ask()["air"]["lower_half_metre"]["value"]) == (pytest.approx(6), pytest.approx(5))
    problem = house.call(
        "PATCH", f"/v1/rooms/{rooms.room['id']}", {"height": {"value": 0, "unit": "m"}}, headers={"If-Match": '"2"'},
        status=422,
    )  # fmt: skip
    assert problem["errors"][0]["pointer"] == "/height/value"


def test_a_bare_room_answers_null_with_every_key(house: House) -> None:
    rooms = Rooms(house)
    answer = rooms.ask(rooms.describe_room())
    assert (answer["releases"], answer["leak"]["after"], answer["air"]["free_volume"]) == ([], None, None)
    assert codes(answer["missing"]) == ["free_volume", "air_changes", "gas_mass"]


def test_a_repeated_pull_is_304_and_another_sites_room_is_not_found(house: House) -> None:
    rooms = Rooms(house)
    path = f"/v1/rooms/{rooms.room['id']}/gas-release"
    tag = house.send("GET", path).headers["etag"]
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 304
    rooms.cylinder(room_id=rooms.room["id"])
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 200
    other = house.token("reader", site=house.a_site()["id"])
    house.call("GET", path, token=other, status=404)
    house.call("GET", path, params={"gas_mass": 0}, status=422)
