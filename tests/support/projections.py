"""Projections of a plant's first system, asked for through the API."""

from __future__ import annotations

from typing import Any

from support.house import House
from support.plant import Plant


def ask(house: House, plant: Plant, status: int = 200, **plan: Any) -> dict[str, Any]:
    """The answer to a plan."""
    path = f"/v1/systems/{plant.systems[0]['id']}/projection"
    answer: dict[str, Any] = house.call("POST", path, plan, status=status)
    return answer


def turned(plant: Plant, **fields: Any) -> list[dict[str, Any]]:
    """The plant's reactor under another setting."""
    return [{"reactor_id": plant.reactor["id"], **fields}]


def lacks(answer: dict[str, Any]) -> list[str]:
    """What an answer misses, but for readings of calcium and magnesium, which few of the plants have."""
    return [
        each["code"] for each in answer["missing"] if each["code"] not in ("calcium_readings", "magnesium_readings")
    ]
