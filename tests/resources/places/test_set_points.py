"""Set-points: what is intended, from an instant until the next; recorded, corrected and withdrawn like any record."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

from resources.equipment.yard import Yard, told

from service.resources.places.set_points.queries import history


def set_point(yard: Yard, subject: dict[str, Any], **fields: Any) -> dict[str, Any]:
    """What records a drip of 57 mL/min, set two days ago."""
    return {
        "subject_id": subject["id"],
        "quantity": "effluent_flow",
        "value": 57,
        "unit": "mL/min",
        "from": yard.at(days=2),
        "reason": "demand went up",
        **fields,
    }


def put(yard: Yard, content: dict[str, Any], record_id: str | None = None, **options: Any) -> Any:
    """The answer to a PUT."""
    return yard.house.call("PUT", f"/v1/set-points/{record_id or uuid4()}", content, **options)


def values(yard: Yard, subject: dict[str, Any], quantity: str) -> list[float]:
    """What holds for a subject, in time order."""
    with yard.house.database.read() as session:
        rows = history(session, [UUID(subject["id"])], quantity=quantity)[UUID(subject["id"])]
    return [round(row.value, 6) for row in rows]


def test_a_drip_is_set_and_kept_as_entered_and_canonical(yard: Yard) -> None:
    reactor = yard.reactor()
    row = put(yard, set_point(yard, reactor), status=201)
    assert (row["value"], row["unit"], row["canonical"]["unit"]) == (57, "mL/min", "L/d")
    assert abs(row["canonical"]["value"] - 57 * 1.44) < 1e-9  # 1440 min/d, 1000 mL/L
    assert values(yard, reactor, "effluent_flow") == [82.08]
    assert yard.changes()[-1] == ("set_point", "recorded")


def test_the_same_set_point_again_is_confirmed(yard: Yard) -> None:
    reactor, record_id = yard.reactor(), str(uuid4())
    content = set_point(yard, reactor)
    put(yard, content, record_id, status=201)
    put(yard, content, record_id, status=200)
    put(yard, {**content, "value": 58}, record_id, status=409)
    assert len(yard.all("set-points")) == 1


def test_one_set_point_of_a_quantity_begins_at_an_instant(yard: Yard) -> None:
    reactor = yard.reactor()
    first = put(yard, set_point(yard, reactor))
    pointer, said = told(put(yard, set_point(yard, reactor, value=60), status=409))
    assert pointer == "/from"
    assert first["id"] in said
    put(yard, set_point(yard, reactor, quantity="bubble_rate", value=1, unit="{bubble}/s"))
    put(yard, set_point(yard, yard.reactor()))


def test_a_backdated_set_point_takes_its_place_in_time(yard: Yard) -> None:
    reactor = yard.reactor()
    put(yard, set_point(yard, reactor, value=1, unit="L/d"))
    put(yard, set_point(yard, reactor, value=2, unit="L/d", **{"from": yard.at(days=5)}))
    assert values(yard, reactor, "effluent_flow") == [2, 1]


def test_a_withdrawn_set_point_no_longer_holds(yard: Yard) -> None:
    reactor = yard.reactor()
    row = put(yard, set_point(yard, reactor))
    path = f"/v1/set-points/{row['id']}/withdrawal"
    yard.house.call("POST", path, {"reason": "never set"}, status=428)
    yard.house.call("POST", path, {"reason": "never set"}, headers={"If-Match": '"1"'})
    assert values(yard, reactor, "effluent_flow") == []
    put(yard, set_point(yard, reactor), status=201)  # its instant is free again


def test_a_corrected_set_point_keeps_its_old_version(yard: Yard) -> None:
    reactor = yard.reactor()
    row = put(yard, set_point(yard, reactor))
    path = f"/v1/set-points/{row['id']}"
    mended = {"value": 75, "reason": "misread"}
    corrected = yard.house.call("POST", f"{path}/corrections", mended, headers={"If-Match": '"1"'})
    assert (corrected["value"], corrected["version"], corrected["correction_reason"]) == (75, 2, "misread")
    assert [version["value"] for version in yard.house.call("GET", f"{path}/versions")] == [57, 75]
    assert values(yard, reactor, "effluent_flow") == [108]


def test_what_cannot_be_set_is_refused_naming_the_field(yard: Yard) -> None:
    reactor, system = yard.reactor(), yard.house.a_system(yard.site)
    for fields, pointer in (
        ({"quantity": "happiness"}, "/quantity"),
        ({"quantity": "target_happiness"}, "/quantity"),
        ({"unit": "kg"}, "/unit"),
        ({"value": -1}, "/value"),
        ({"value": "57"}, "/value"),
        ({"relative_sd": 1}, "/relative_sd"),
        ({"from": "2026-03-01T08:00:00"}, "/from"),
        ({"reason": ""}, "/reason"),
        ({"why": "x"}, "/why"),
        ({"quantity": "low_ph_cut_off", "value": 0, "unit": "[pH]"}, "/value"),
    ):
        assert told(put(yard, set_point(yard, reactor, **fields), status=422))[0] == pointer
    assert told(put(yard, set_point(yard, {"id": str(uuid4())}), status=404))[0] == "/subject_id"
    put(yard, set_point(yard, system, quantity="low_ph_cut_off", value=7.7, unit="[pH]"))
    put(yard, set_point(yard, system, quantity="target_calcium", value=420, unit="mg/L"))
    assert yard.read("systems", system)["targets"]["calcium"] == {"value": 420, "unit": "mg/L"}


def test_a_set_point_on_another_sites_equipment_is_not_possible(yard: Yard) -> None:
    other = Yard(yard.house)
    row = put(yard, set_point(yard, yard.reactor()))
    keeper = other.house.token("keeper", site=other.site["id"])
    assert told(put(yard, set_point(yard, yard.reactor()), token=keeper, status=404))[0] == "/subject_id"
    yard.house.call("GET", f"/v1/set-points/{row['id']}", token=keeper, status=404)
    assert yard.house.call("GET", "/v1/set-points", token=keeper) == []
    put(other, set_point(other, other.reactor()), token=keeper, status=201)
