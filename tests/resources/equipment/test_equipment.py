"""Pieces of equipment: described once, changed with If-Match, read about by kind."""

from __future__ import annotations

from uuid import uuid4

from resources.equipment.yard import Yard, told


def test_a_piece_is_in_service_unless_said_otherwise_and_has_a_label(yard: Yard) -> None:
    pump = yard.piece("pump")
    assert (pump["state"], pump["name"], pump["room_id"], pump["version"]) == ("in_service", None, None, 1)
    assert len(pump["label_code"]) == 8
    assert yard.piece("pump", state="planned")["state"] == "planned"
    assert yard.changes()[-1] == ("equipment", "described")


def test_a_tag_is_taken_once_a_site(yard: Yard) -> None:
    yard.piece("pump", tag="return-1")
    content = {"site_id": yard.site["id"], "tag": "return-1", "kind": "probe", "specification": {"quantity": "ph"}}
    assert yard.refusal("equipment", content, 409)[0] == "/tag"
    yard.describe("equipment", {**content, "site_id": yard.house.a_site()["id"]})


def test_kind_state_and_fields_are_checked(yard: Yard) -> None:
    good = {"site_id": yard.site["id"], "tag": "x", "kind": "pump"}
    assert yard.refusal("equipment", {**good, "kind": "chiller"}, 422)[0] == "/kind"
    assert yard.refusal("equipment", {**good, "state": "broken"}, 422)[0] == "/state"
    assert yard.refusal("equipment", {**good, "colour": "blue"}, 422)[0] == "/colour"
    assert yard.refusal("equipment", {**good, "site_id": str(uuid4())}, 404)[0] == "/site_id"


def test_a_change_needs_the_version_it_changes(yard: Yard) -> None:
    pump = yard.piece("pump", name="return")
    path = f"/v1/equipment/{pump['id']}"
    yard.house.call("PATCH", path, {"state": "out_of_service"}, status=428)
    changed = yard.change("equipment", pump, {"state": "out_of_service"})
    assert (changed["state"], changed["name"], changed["version"]) == ("out_of_service", "return", 2)
    assert told(yard.change("equipment", pump, {"state": "retired"}, status=412))[0] == "If-Match"
    assert told(yard.change("equipment", changed, {"kind": "probe"}, status=422))[0] == "/kind"
    assert yard.change("equipment", changed, {"name": None})["name"] is None
    assert yard.changes()[-3:] == [("equipment", "described"), ("equipment", "changed"), ("equipment", "changed")]


def test_equipment_stands_in_a_room_of_its_own_site(yard: Yard) -> None:
    room = yard.describe("rooms", {"site_id": yard.site["id"], "tag": "plant", "name": "Plant room"})
    pump = yard.piece("pump", room_id=room["id"])
    assert pump["room_id"] == room["id"]
    assert yard.change("equipment", pump, {"room_id": None})["room_id"] is None
    elsewhere = yard.describe("rooms", {"site_id": yard.house.a_site()["id"], "tag": "plant", "name": "Plant room"})
    content = {"site_id": yard.site["id"], "tag": "y", "kind": "pump", "room_id": elsewhere["id"]}
    assert yard.refusal("equipment", content, 404)[0] == "/room_id"


def test_what_is_still_in_use_is_not_retired(yard: Yard) -> None:
    reactor, cylinder, probe = yard.reactor(), yard.cylinder(), yard.piece("probe", specification={"quantity": "ph"})
    line, feed = yard.line([cylinder], [reactor]), yard.feed(reactor, yard.house.a_system(yard.site))
    stay = yard.mount(probe, reactor)
    place = next(member for member in line["members"] if member["equipment_id"] == cylinder["id"])
    for piece, in_use in ((reactor, stay), (probe, stay), (cylinder, place)):
        pointer, said = told(yard.change("equipment", piece, {"state": "retired"}, status=409))
        assert pointer == "/state"
        assert in_use["id"] in said
    yard.change("installations", stay, {"to": yard.at(days=1)})
    yard.change("gas-lines", line, {"cylinder_ids": [], "reactor_ids": []})
    assert feed["id"] in told(yard.change("equipment", reactor, {"state": "retired"}, status=409))[1]
    yard.change("feeds", feed, {"to": yard.at(days=1)})
    assert yard.change("equipment", reactor, {"state": "retired"})["state"] == "retired"


def test_something_retired_is_not_put_to_use_again_but_its_past_can_be_told(yard: Yard) -> None:
    reactor, probe = yard.reactor(), yard.piece("probe", specification={"quantity": "ph"}, state="retired")
    assert yard.refusal("installations", yard.mount_sent(probe, reactor), 409)[0] == "/equipment_id"
    past = yard.mount(probe, reactor, to=yard.at(days=9))
    assert told(yard.change("installations", past, {"to": None}, status=409))[0] == "/to"
    old = yard.reactor(state="retired")
    system = yard.house.a_system(yard.site)
    assert yard.refusal("feeds", yard.feed_sent(old, system), 409)[0] == "/reactor_id"
    assert yard.refusal("gas-lines", yard.line_sent([], [old]), 409)[0] == "/reactor_ids/0"


def test_a_drip_is_read_on_a_reactor_and_nowhere_else(yard: Yard) -> None:
    drip = {"quantity": "effluent_flow", "unit": "mL/min"}
    assert yard.house.a_reading(yard.reactor()["id"], 57, **drip)["canonical"]["unit"] == "L/d"
    room = yard.describe("rooms", {"site_id": yard.site["id"], "tag": "plant", "name": "Plant room"})
    content = {"subject_id": room["id"], "value": 57, "taken_at": yard.at(), **drip}
    path = f"/v1/readings/{uuid4()}"
    pointer, said = told(yard.house.call("PUT", path, content, status=422))
    assert pointer == "/subject_id"
    assert "calcium_reactor" in said
    yard.house.call("PUT", path, {**content, "subject_id": yard.cylinder()["id"]}, status=422)


def test_a_cylinder_is_weighed(yard: Yard) -> None:
    weight = yard.house.a_reading(yard.cylinder()["id"], 11.1, quantity="cylinder_gross_mass", unit="kg")
    assert weight["canonical"] == {"value": 11.1, "unit": "kg"}


def test_another_sites_equipment_does_not_exist_for_a_sites_token(yard: Yard) -> None:
    other = yard.house.a_site()
    theirs = yard.describe("equipment", {"site_id": other["id"], "tag": "p", "kind": "pump"})
    mine = yard.piece("pump")
    token = yard.house.token("supervisor", site=yard.site["id"])
    yard.house.call("GET", f"/v1/equipment/{theirs['id']}", token=token, status=404)
    yard.change("equipment", theirs, {"state": "retired"}, token=token, status=404)
    assert [piece["id"] for piece in yard.house.call("GET", "/v1/equipment", token=token)] == [mine["id"]]
    yard.house.call("GET", f"/v1/equipment?site={other['tag']}", token=token, status=404)
    assert [piece["id"] for piece in yard.house.call("GET", f"/v1/equipment?site={other['tag']}")] == [theirs["id"]]


def test_a_keeper_reads_equipment_and_describes_none(yard: Yard) -> None:
    keeper = yard.house.token("keeper", site=yard.site["id"])
    content = {"site_id": yard.site["id"], "tag": "x", "kind": "pump"}
    yard.describe("equipment", content, token=keeper, status=403)
    pump = yard.describe("equipment", content)
    yard.house.call("GET", f"/v1/equipment/{pump['id']}", token=keeper)
    yard.change("equipment", pump, {"state": "retired"}, token=keeper, status=403)
