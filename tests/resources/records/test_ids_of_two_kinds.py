"""Senders make the ids of records: a reading and a stock change may bear the same, and share nothing."""

from __future__ import annotations

from uuid import uuid4

from support.house import House
from support.load import whole_trail


def test_two_kinds_of_record_under_one_id_keep_their_own_versions(house: House) -> None:
    system = house.a_system()
    shared = str(uuid4())
    at = house.now.isoformat()
    reading = {"subject_id": system["id"], "quantity": "alkalinity", "value": 8, "unit": "dKH", "taken_at": at}
    change = {"subject_id": system["id"], "kind": "lost", "at": at, "what": "one colony"}
    for path, content, correction in (
        (f"/v1/readings/{shared}", reading, {"value": 8.4}),
        (f"/v1/stock-changes/{shared}", change, {"what": "two colonies"}),
    ):
        house.call("PUT", path, content, status=201)
        house.call("POST", f"{path}/corrections", {**correction, "reason": "misread"}, headers={"If-Match": '"1"'})
    assert [version["value"] for version in house.call("GET", f"/v1/readings/{shared}/versions")] == [8, 8.4]
    changes = house.call("GET", f"/v1/stock-changes/{shared}/versions")
    assert [version["what"] for version in changes] == ["one colony", "two colonies"]
    assert whole_trail(house, system["site_id"]) == []
