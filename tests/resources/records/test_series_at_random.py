"""Any batches in any order against a plain dictionary: the first value of an instant stands, and no point is lost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.house import House
from support.probes import read, send

from service.resources.records.series.checking import faults

MINUTES = st.integers(0, 4000)  # nearly three days: blocks of several days, and instants that meet
VALUES = st.sampled_from([7.9, 8.0, 8.1, 8.25, 15.0])  # the last is impossible
BATCHES = st.lists(st.lists(st.tuples(MINUTES, VALUES), min_size=1, max_size=40), min_size=1, max_size=8)


def expected(held: dict[int, float], points: list[tuple[int, float]]) -> dict[str, Any]:
    """What becomes of each point, one by one; `held` grows."""
    answer: dict[str, Any] = {"stored": 0, "held_already": 0, "conflicts": [], "refused": []}
    for index, (minute, value) in enumerate(points):
        if value > 14:
            answer["refused"].append(index)
        elif minute not in held:
            held[minute] = value
            answer["stored"] += 1
        elif held[minute] == value:
            answer["held_already"] += 1
        else:
            answer["conflicts"].append((index, held[minute]))
    return answer


@pytest.fixture
def system(house: House) -> str:
    """A system for each run of the test; its examples use tanks of their own."""
    found: str = house.a_system()["id"]
    return found


@settings(max_examples=25, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(batches=BATCHES)
def test_every_point_is_accounted_for(house: House, system: str, batches: list[list[tuple[int, float]]]) -> None:
    made = house.call("GET", "/v1/tanks?limit=1000")
    tank = house.call("POST", "/v1/tanks", {"system_id": system, "tag": f"t-{len(made)}", "name": "A tank"})["id"]
    held: dict[int, float] = {}
    for points in batches:
        times = [(house.now - timedelta(minutes=minute)).isoformat() for minute, _ in points]
        body = {"subject_id": tank, "quantity": "ph", "unit": "[pH]", "taken_at": times}
        answer = send(house, {**body, "value": [value for _, value in points]})
        found = {
            "stored": answer["stored"],
            "held_already": answer["held_already"],
            "conflicts": [(each["index"], each["held"]["value"]) for each in answer["conflicts"]],
            "refused": [each["index"] for each in answer["refused"]],
        }
        assert found == expected(held, points)
    assert read(house, tank)["value"] == [held[minute] for minute in sorted(held, reverse=True)]
    hours = read(house, tank, "&resolution=hour")
    assert sum(hours["count"]) == len(held)
    with house.database.read() as session:
        assert list(faults(session)) == []
