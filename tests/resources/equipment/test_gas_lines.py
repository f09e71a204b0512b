"""Gas lines: what is on them now and all that was, one line at a time for each cylinder and reactor."""

from __future__ import annotations

from uuid import UUID, uuid4

from resources.equipment.yard import CYLINDER, Yard, instant, told

from service.resources.equipment.gas_lines.queries import line_of, members, memberships

LIQUID = {"specification": {**CYLINDER, "dip_tube": True}}


def test_a_line_shows_what_is_on_it_and_says_what_to_be_careful_about(yard: Yard) -> None:
    cylinders, reactors = [yard.cylinder(), yard.cylinder()], [yard.reactor()]
    line = yard.line(cylinders, reactors)
    assert sorted(line["cylinder_ids"]) == sorted(piece["id"] for piece in cylinders)
    assert line["reactor_ids"] == [reactors[0]["id"]]
    assert {(member["kind"], member["to"]) for member in line["members"]} == {
        ("co2_cylinder", None),
        ("calcium_reactor", None),
    }
    assert "gas supplier" in line["cautions"][0]
    assert yard.all("gas-lines") == [line]
    assert yard.changes()[-4:] == [("gas_line_member", "described")] * 3 + [("gas_line", "described")]


def test_a_changed_list_ends_and_begins_and_keeps_the_history(yard: Yard) -> None:
    first, second, reactor = yard.cylinder(), yard.cylinder(), yard.reactor()
    line = yard.line([first], [reactor])
    changed = yard.change("gas-lines", line, {"cylinder_ids": [second["id"]], "from": yard.at(days=3)})
    assert (changed["version"], changed["cylinder_ids"]) == (2, [second["id"]])
    assert changed["reactor_ids"] == [reactor["id"]]
    spans = {member["equipment_id"]: (member["from"], member["to"]) for member in changed["members"]}
    assert instant(spans[first["id"]][1]) == instant(spans[second["id"]][0]) == instant(yard.at(days=3))
    assert spans[second["id"]][1] is None
    assert yard.changes()[-3:] == [
        ("gas_line_member", "changed"),
        ("gas_line_member", "described"),
        ("gas_line", "changed"),
    ]
    both = yard.change("gas-lines", changed, {"cylinder_ids": [second["id"], first["id"]], "from": yard.at(days=1)})
    assert len(both["members"]) == 4  # the one that stayed goes on, the other comes back as a new interval
    assert yard.change("gas-lines", both, {"name": "north wall"})["name"] == "north wall"


def test_a_whole_list_is_not_slipped_in_before_a_change_that_is_known(yard: Yard) -> None:
    first, second = yard.cylinder(), yard.cylinder()
    line = yard.line([first], [yard.reactor()])
    line = yard.change("gas-lines", line, {"cylinder_ids": [second["id"]], "from": yard.at(days=3)})
    for days in (5, 20):
        patch = {"cylinder_ids": [], "from": yard.at(days=days)}
        pointer, said = told(yard.change("gas-lines", line, patch, status=409))
        assert pointer == "/from"
        assert f"{first['id']} is on it by" in said
    assert yard.read("gas-lines", line) == line


def test_a_wrong_cylinder_is_put_right_from_the_beginning(yard: Yard) -> None:
    wrong, right = yard.cylinder(), yard.cylinder()
    line = yard.line([wrong], [yard.reactor()])
    line = yard.change("gas-lines", line, {"cylinder_ids": [right["id"]], "from": yard.at(days=10)})
    assert line["cylinder_ids"] == [right["id"]]
    with yard.house.database.read() as session:
        held = memberships(session, [UUID(wrong["id"]), UUID(right["id"])])
        assert [len(rows) for rows in held.values()] == [0, 1]
    yard.line([wrong], [yard.reactor()])  # it never was on the first line, so it is free


def test_a_cylinder_and_a_reactor_are_on_one_line_at_a_time(yard: Yard) -> None:
    cylinder, reactor = yard.cylinder(), yard.reactor()
    line = yard.line([cylinder], [reactor])
    ids = {member["equipment_id"]: member["id"] for member in line["members"]}
    for cylinders, reactors, pointer, taken in (
        ([yard.cylinder(), cylinder], [], "/cylinder_ids/1", cylinder),
        ([], [reactor], "/reactor_ids/0", reactor),
    ):
        where, said = yard.refusal("gas-lines", yard.line_sent(cylinders, reactors, **{"from": yard.at(days=2)}), 409)
        assert where == pointer
        assert line["tag"] in said
        assert ids[taken["id"]] in said
    assert len(yard.all("gas-lines")) == 1
    other = yard.line([yard.cylinder()], [yard.reactor()])
    patch = {"cylinder_ids": [other["cylinder_ids"][0], cylinder["id"]]}
    assert told(yard.change("gas-lines", other, patch, status=409))[0] == "/cylinder_ids/1"
    yard.change("gas-lines", line, {"cylinder_ids": [], "from": yard.at(days=1)})
    yard.change("gas-lines", other, {**patch, "from": yard.at(days=1)})


def test_only_cylinders_feed_and_only_reactors_are_fed(yard: Yard) -> None:
    cylinder, reactor = yard.cylinder(), yard.reactor()
    assert yard.refusal("gas-lines", yard.line_sent([reactor], []), 422)[0] == "/cylinder_ids/0"
    assert yard.refusal("gas-lines", yard.line_sent([], [cylinder]), 422)[0] == "/reactor_ids/0"
    assert yard.refusal("gas-lines", yard.line_sent([cylinder, cylinder], []), 422)[0] == "/cylinder_ids/1"
    assert yard.refusal("gas-lines", yard.line_sent([], []), 422)[0] == "/cylinder_ids"
    unknown = {"id": str(uuid4())}
    assert yard.refusal("gas-lines", yard.line_sent([cylinder, unknown], []), 404)[0] == "/cylinder_ids/1"


def test_a_cylinder_with_a_dip_tube_is_kept_but_not_put_on_a_line(yard: Yard) -> None:
    liquid, usual, reactor = yard.cylinder(**LIQUID), yard.cylinder(), yard.reactor()
    assert "liquid" in liquid["cautions"][0]
    pointer, said = yard.refusal("gas-lines", yard.line_sent([liquid], [reactor]), 422)
    assert pointer == "/cylinder_ids/0"
    assert "ask the gas supplier" in said
    line = yard.line([usual], [reactor])
    assert told(yard.change("gas-lines", line, {"cylinder_ids": [liquid["id"]]}, status=422))[0] == "/cylinder_ids/0"
    assert told(yard.change("equipment", usual, LIQUID, status=409))[0] == "/specification/dip_tube"
    yard.change("gas-lines", line, {"cylinder_ids": []})
    yard.change("equipment", usual, LIQUID)


def test_times_ahead_and_lone_times_are_refused(yard: Yard) -> None:
    cylinder, reactor = yard.cylinder(), yard.reactor()
    ahead = yard.at(minutes=-6)
    assert yard.refusal("gas-lines", yard.line_sent([cylinder], [reactor], **{"from": ahead}), 422)[0] == "/from"
    line = yard.line([cylinder], [reactor])
    assert told(yard.change("gas-lines", line, {"cylinder_ids": [], "from": ahead}, status=422))[0] == "/from"
    assert told(yard.change("gas-lines", line, {"from": yard.at()}, status=422))[0] == "/from"
    assert yard.refusal("gas-lines", yard.line_sent([cylinder], [reactor], colour="red"), 422)[0] == "/colour"


def test_a_tag_is_taken_once_and_a_change_needs_its_version(yard: Yard) -> None:
    line = yard.line([yard.cylinder()], [yard.reactor()])
    same = yard.line_sent([yard.cylinder()], [], tag=line["tag"])
    assert yard.refusal("gas-lines", same, 409)[0] == "/tag"
    yard.house.call("PATCH", f"/v1/gas-lines/{line['id']}", {"name": "x"}, status=428)
    yard.change("gas-lines", line, {"name": "x"})
    yard.change("gas-lines", line, {"name": "y"}, status=412)


def test_another_sites_line_and_equipment_do_not_exist_for_a_sites_token(yard: Yard) -> None:
    other = Yard(yard.house)
    theirs, line = other.cylinder(), yard.line([yard.cylinder()], [yard.reactor()])
    supervisor = yard.house.token("supervisor", site=yard.site["id"])
    for token in ("", supervisor):  # a line is of one site even for those who see all
        sent = yard.line_sent([theirs], [])
        assert yard.refusal("gas-lines", sent, 404, token=token)[0] == "/cylinder_ids/0"
    stranger = yard.house.token("supervisor", site=other.site["id"])
    yard.house.call("GET", f"/v1/gas-lines/{line['id']}", token=stranger, status=404)
    yard.change("gas-lines", line, {"cylinder_ids": []}, token=stranger, status=404)
    assert yard.house.call("GET", "/v1/gas-lines", token=stranger) == []


def test_computations_ask_for_many_lines_at_once(yard: Yard) -> None:
    first, second, reactor = yard.cylinder(), yard.cylinder(), yard.reactor()
    line = yard.line([first], [reactor])
    line = yard.change("gas-lines", line, {"cylinder_ids": [second["id"]], "from": yard.at(days=3)})
    other = yard.line([first], [], **{"from": yard.at(days=2)})
    ids = [UUID(piece["id"]) for piece in (first, second, reactor)]
    with yard.house.database.read() as session:
        held = members(session, [UUID(line["id"]), UUID(other["id"])])
        assert [len(rows) for rows in held.values()] == [3, 1]
        then = line_of(session, ids, instant(yard.at(days=5)))
        assert {str(key): str(value) for key, value in then.items()} == dict.fromkeys(
            (first["id"], reactor["id"]), line["id"]
        )
        at_the_change = line_of(session, ids, instant(yard.at(days=3)))
        assert set(at_the_change) == {ids[1], ids[2]}  # half-open: the old one is off, the new one is on
        assert str(line_of(session, ids, instant(yard.at(days=1)))[ids[0]]) == other["id"]
