"""A system whose course is known: what a keeper would have recorded of it, sent by the API."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

import numpy as np
from support.house import House

SD = 0.05  # of one titration, meq/L


def titrations(
    house: House, subject_id: str, levels: list[float], *, every_days: float = 2.0, seed: int = 7, noise: float = SD
) -> list[str]:
    """Record one noisy alkalinity titration for each level, the last one now; the ids in order of time."""
    random = np.random.default_rng(seed)
    items = [
        {
            "id": str(uuid4()),
            "subject_id": subject_id,
            "quantity": "alkalinity",
            "value": round(level + noise * float(random.standard_normal()), 3),
            "unit": "meq/L",
            "taken_at": (house.now - timedelta(days=every_days * (len(levels) - 1 - index))).isoformat(),
            "method": "syringe_titration",
        }
        for index, level in enumerate(levels)
    ]
    results = house.call("POST", "/v1/readings/batch", {"items": items})["results"]
    assert [result["status"] for result in results] == [201] * len(items)
    return [result["id"] for result in results]


def add(house: House, **body: Any) -> dict[str, Any]:
    """Record an addition."""
    return house.call("PUT", f"/v1/additions/{uuid4()}", body)


def dosed(house: House, system_id: str, meq_a_day: float, days: float) -> dict[str, Any]:
    """A dosing pump that ran evenly until now."""
    start = house.now - timedelta(days=days)
    return add(
        house,
        kind="dose",
        system_id=system_id,
        started_at=start.isoformat(),
        ended_at=house.now.isoformat(),
        alkalinity={"value": meq_a_day * days, "unit": "meq"},
    )
