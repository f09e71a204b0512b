"""Two who change the same version of a described thing: one is taken, the other is told to read it again."""

from __future__ import annotations

from collections import Counter

from support.house import House
from support.load import together, whole_trail


def test_of_many_changes_of_one_version_one_is_taken(house: House) -> None:
    system = house.a_system()
    sent = [
        ("PATCH", f"/v1/systems/{system['id']}", {"json": {"name": f"Loop {n}"}, "headers": {"If-Match": '"1"'}})
        for n in range(20)
    ]
    statuses = Counter(status for status, _ in together(house, sent))
    assert statuses[200] == 1, statuses
    assert set(statuses) <= {200, 412, 503}
    assert house.call("GET", f"/v1/systems/{system['id']}")["version"] == 2
    assert whole_trail(house, system["site_id"]) == []
