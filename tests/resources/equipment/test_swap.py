"""Swapping a cylinder: one call, one transaction, safe to repeat, done by a keeper."""

from __future__ import annotations

from datetime import UTC
from typing import Any
from uuid import uuid4

import pytest
from resources.equipment.yard import CYLINDER, Yard, instant, told


def swap(yard: Yard, old: dict[str, Any], new: dict[str, Any], at: str, **options: Any) -> Any:
    """The answer to a swap."""
    content = {"at": at, "new_cylinder_id": new["id"]}
    return yard.house.call("POST", f"/v1/equipment/{old['id']}/swap", content, **options)


def spans(yard: Yard, line: dict[str, Any]) -> list[tuple[str, str, str | None]]:
    """Which cylinder was on a line from when to when, in time order."""
    members = yard.read("gas-lines", line)["members"]
    return [(row["equipment_id"], row["from"], row["to"]) for row in members if row["kind"] == "co2_cylinder"]


def test_a_swap_ends_one_place_and_begins_the_next(yard: Yard) -> None:
    old, new = yard.cylinder(), yard.cylinder()
    line = yard.line([old], [yard.reactor()])
    keeper = yard.house.token("keeper", site=yard.site["id"])
    answer = swap(yard, old, new, yard.at(hours=1), token=keeper, status=201)
    assert answer["line_id"] == line["id"]
    assert (answer["ended"]["equipment_id"], answer["begun"]["equipment_id"]) == (old["id"], new["id"])
    assert instant(answer["ended"]["to"]) == instant(answer["begun"]["from"]) == instant(yard.at(hours=1))
    assert (answer["begun"]["to"], answer["installations_ended"], answer["installations_begun"]) == (None, [], [])
    assert "gas supplier" in answer["cautions"][0]
    after = yard.read("gas-lines", line)
    assert (after["version"], after["cylinder_ids"]) == (2, [new["id"]])
    assert yard.changes()[-3:] == [
        ("gas_line_member", "changed"),
        ("gas_line_member", "described"),
        ("gas_line", "changed"),
    ]


def test_the_same_swap_again_is_confirmed_and_not_doubled(yard: Yard) -> None:
    old, new, third = yard.cylinder(), yard.cylinder(), yard.cylinder()
    line = yard.line([old], [yard.reactor()])
    first = swap(yard, old, new, yard.at(days=2), status=201)
    before = yard.changes()
    assert swap(yard, old, new, yard.at(days=2), status=200) == first
    in_utc = instant(yard.at(days=2)).astimezone(UTC).isoformat()
    assert swap(yard, old, new, in_utc, status=200) == first
    assert yard.changes() == before
    swap(yard, new, third, yard.at(days=1), status=201)
    again = swap(yard, old, new, yard.at(days=2), status=200)  # what became of the new one since is shown
    assert instant(again["begun"]["to"]) == instant(yard.at(days=1))
    assert len(spans(yard, line)) == 3
    pointer, said = told(swap(yard, old, third, yard.at(days=2), status=409))
    assert pointer == "/at"
    assert first["ended"]["id"] in said


def test_what_is_mounted_goes_along(yard: Yard) -> None:
    old, new, rack = yard.cylinder(), yard.cylinder(), yard.piece("other")
    regulator, bracket = yard.piece("co2_regulator"), yard.piece("other")
    line = yard.line([old], [yard.reactor()])
    on_old, at_bracket, stored = yard.mount(regulator, old), yard.mount(old, bracket), yard.mount(new, rack)
    answer = swap(yard, old, new, yard.at(hours=1), status=201)
    assert {row["id"] for row in answer["installations_ended"]} == {on_old["id"], at_bracket["id"], stored["id"]}
    assert {(row["equipment_id"], row["host_id"], row["to"]) for row in answer["installations_begun"]} == {
        (regulator["id"], new["id"], None),
        (new["id"], bracket["id"], None),
    }
    assert sorted(yard.changes()[-8:]) == sorted(
        [("gas_line", "changed"), ("gas_line_member", "changed"), ("gas_line_member", "described")]
        + [("installation", "changed")] * 3
        + [("installation", "described")] * 2
    )
    assert swap(yard, old, new, yard.at(hours=1), status=200) == answer
    assert yard.read("gas-lines", line)["version"] == 2


def test_a_backdated_swap_splits_the_time_it_falls_in(yard: Yard) -> None:
    old, forgotten, now_on = yard.cylinder(), yard.cylinder(), yard.cylinder()
    line = yard.line([old], [yard.reactor()])
    swap(yard, old, now_on, yard.at(days=2))
    answer = swap(yard, old, forgotten, yard.at(days=5), status=201)
    assert instant(answer["begun"]["to"]) == instant(yard.at(days=2))
    assert [cylinder for cylinder, _, _ in spans(yard, line)] == [old["id"], forgotten["id"], now_on["id"]]
    ends = [end and instant(end) for _, _, end in spans(yard, line)]
    assert ends == [instant(yard.at(days=5)), instant(yard.at(days=2)), None]


def test_a_cylinder_that_comes_back_full_is_swapped_in_again(yard: Yard) -> None:
    one, two = yard.cylinder(), yard.cylinder()
    line = yard.line([one], [yard.reactor()])
    swap(yard, one, two, yard.at(days=6))
    swap(yard, two, one, yard.at(days=2), status=201)
    assert [cylinder for cylinder, _, _ in spans(yard, line)] == [one["id"], two["id"], one["id"]]


def test_the_new_cylinder_must_be_free_fit_and_another(yard: Yard) -> None:
    old = yard.cylinder()
    yard.line([old], [yard.reactor()])
    busy = yard.cylinder()
    elsewhere = yard.line([busy], [yard.reactor()])
    liquid = yard.cylinder(specification={**CYLINDER, "dip_tube": True})
    retired = yard.cylinder(state="retired")
    before = yard.changes()
    for new, status, words in (
        (busy, 409, elsewhere["tag"]),
        (liquid, 422, "dip tube"),
        (retired, 409, "retired"),
        (yard.reactor(), 422, "co2_cylinder is expected"),
        (old, 422, "itself"),
        ({"id": str(uuid4())}, 404, "no equipment"),
    ):
        pointer, said = told(swap(yard, old, new, yard.at(days=1), status=status))
        assert pointer == "/new_cylinder_id"
        assert words in said
    assert [change for change in yard.changes() if change not in before] == []  # nothing half-written


@pytest.mark.parametrize("days", [10, 11])
def test_a_cylinder_is_swapped_out_only_after_it_came_on(yard: Yard, days: int) -> None:
    old = yard.cylinder()
    line = yard.line([old], [yard.reactor()])
    pointer, said = told(swap(yard, old, yard.cylinder(), yard.at(days=days), status=409))
    assert pointer == "/at"
    assert line["members"][0]["id"] in said or line["members"][1]["id"] in said


def test_other_wrong_swaps_are_refused_naming_the_field(yard: Yard) -> None:
    old, new = yard.cylinder(), yard.cylinder()
    assert told(swap(yard, old, new, yard.at(), status=409))[0] == "/at"  # on no line
    yard.line([old], [yard.reactor()])
    assert told(swap(yard, old, new, yard.at(minutes=-6), status=422))[0] == "/at"
    assert told(swap(yard, old, new, "yesterday", status=422))[0] == "/at"
    assert told(swap(yard, yard.reactor(), new, yard.at(), status=422))[0] == "cylinder_id"
    assert told(swap(yard, {"id": str(uuid4())}, new, yard.at(), status=404))[0] == "cylinder_id"
    path = f"/v1/equipment/{old['id']}/swap"
    assert told(yard.house.call("POST", path, {"at": yard.at()}, status=422))[0] == "/new_cylinder_id"


def test_a_swap_stays_within_a_site_and_needs_the_right_to_record(yard: Yard) -> None:
    old, new, other = yard.cylinder(), yard.cylinder(), Yard(yard.house)
    yard.line([old], [yard.reactor()])
    assert told(swap(yard, old, other.cylinder(), yard.at(), status=404))[0] == "/new_cylinder_id"
    swap(yard, old, new, yard.at(), token=yard.house.token("reader", site=yard.site["id"]), status=403)
    swap(yard, old, new, yard.at(), token=yard.house.token("keeper", site=other.site["id"]), status=404)
    swap(yard, old, new, yard.at(), token=yard.house.token("keeper", site=yard.site["id"]), status=201)
