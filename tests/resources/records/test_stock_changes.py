"""Stock changes: corals added, removed, moved, lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import UUID, uuid4

from support.house import House

from service.resources.records.stock_changes.queries import touching


def sent(house: House, subject_id: str, /, **fields: Any) -> dict[str, Any]:
    """A valid stock change, some fields replaced."""
    content = {
        "subject_id": subject_id,
        "kind": "added",
        "at": house.now.isoformat(),
        "what": "branching fragments",
        "count": 12,
    }
    return {**content, **fields}


def recorded(house: House, subject_id: str, /, **fields: Any) -> dict[str, Any]:
    """A recorded stock change."""
    return house.call("PUT", f"/v1/stock-changes/{uuid4()}", sent(house, subject_id, **fields))


def test_corals_come_move_and_go(house: House) -> None:
    site = house.a_site()
    one, two = house.a_system(site)["id"], house.a_system(site)["id"]
    ago = {days: (house.now - timedelta(days=days)).isoformat() for days in range(5)}
    added = recorded(house, one, at=ago[3])
    moved = recorded(house, one, kind="moved", to_subject_id=two, count=4, at=ago[2])
    recorded(house, one, kind="lost", count=None, note="after the heat", at=ago[1])
    assert (added["count"], moved["to_subject_id"]) == (12, two)
    assert len(house.call("GET", f"/v1/stock-changes?kind=lost&subject={one}")) == 1
    with house.database.read() as session:
        found = touching(session, [UUID(two)], house.now - timedelta(days=4), house.now)
        assert [str(row.id) for row in found] == [moved["id"]]
        found = touching(session, [UUID(one)], house.now - timedelta(days=2), house.now - timedelta(days=1))
        assert [str(row.id) for row in found] == [moved["id"]]
    path = f"/v1/stock-changes/{moved['id']}"
    change = {"kind": "removed", "to_subject_id": None, "reason": "sold"}
    assert house.call("POST", f"{path}/corrections", change, headers={"If-Match": '"1"'})["to_subject_id"] is None


def test_bad_input_is_named(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    one, elsewhere = house.a_system(site)["id"], house.a_system(other)["id"]
    room = house.call("POST", "/v1/rooms", {"site_id": site["id"], "tag": "cellar", "name": "Cellar"})["id"]
    bad = [
        ({"kind": "moved"}, "/to_subject_id", 422),
        ({"to_subject_id": one}, "/to_subject_id", 422),
        ({"kind": "moved", "to_subject_id": one}, "/to_subject_id", 422),
        ({"kind": "moved", "to_subject_id": elsewhere}, "/to_subject_id", 422),
        ({"kind": "moved", "to_subject_id": room}, "/to_subject_id", 422),
        ({"subject_id": room}, "/subject_id", 422),
        ({"count": 0}, "/count", 422),
        ({"count": 1.5}, "/count", 422),
        ({"kind": "born"}, "/kind", 422),
        ({"at": (house.now + timedelta(hours=1)).isoformat()}, "/at", 422),
    ]
    for fields, pointer, status in bad:
        problem = house.call("PUT", f"/v1/stock-changes/{uuid4()}", sent(house, one, **fields), status=status)
        assert problem["errors"][0]["pointer"] == pointer, problem
    assert house.call("GET", "/v1/stock-changes") == []


def test_nobody_moves_corals_to_a_site_they_do_not_know(house: House) -> None:
    site, other = house.a_site(), house.a_site()
    one, elsewhere = house.a_system(site)["id"], house.a_system(other)["id"]
    keeper = house.token("keeper", site=site["id"])
    body = sent(house, one, kind="moved", to_subject_id=elsewhere)
    problem = house.call("PUT", f"/v1/stock-changes/{uuid4()}", body, token=keeper, status=404)
    assert problem["errors"][0]["pointer"] == "/to_subject_id"
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", sent(house, one), token=keeper, status=201)
    reader = house.token("reader", site=site["id"])
    house.call("PUT", f"/v1/stock-changes/{uuid4()}", sent(house, one), token=reader, status=403)
