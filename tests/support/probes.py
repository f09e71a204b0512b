"""A probe as tests have it: its values in columns, and a short way to send them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from support.house import House


def batch(
    subject_id: str,
    values: Sequence[float],
    *,
    end: datetime,
    every: timedelta = timedelta(minutes=1),
    quantity: str = "ph",
    unit: str = "[pH]",
    **fields: Any,
) -> dict[str, Any]:
    """A body for /v1/series: values at equal steps, the last one at `end`."""
    first = end - every * (len(values) - 1)
    return {
        "subject_id": subject_id,
        "quantity": quantity,
        "unit": unit,
        "taken_at": [(first + every * index).isoformat() for index in range(len(values))],
        "value": list(values),
        **fields,
    }


def send(house: House, body: dict[str, Any], **options: Any) -> Any:
    """The answer to a batch."""
    return house.call("POST", "/v1/series", body, **options)


def read(house: House, subject_id: str, query: str = "", quantity: str = "ph", **options: Any) -> Any:
    """Part of a series."""
    return house.call("GET", f"/v1/series?subject_id={subject_id}&quantity={quantity}{query}", **options)
