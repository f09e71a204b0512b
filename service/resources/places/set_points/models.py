"""A set-point: what is intended or held to be true of a subject, from an instant until the next one of its quantity.

Intended bubble rates, drips and cut-offs; but also net water volume, reference salinity and targets of a system.
"""

from __future__ import annotations

from typing import Any

from sqlmodel import Field

from service.http.shapes import Amount, Code, Id, Note, Number, Shape, Time, UnitName
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints


class SetPointSent(Shape):
    """A set-point as sent. `from` is when it begins to hold."""

    id: Id | None = None
    subject_id: Id
    quantity: Code
    value: Number
    unit: UnitName
    from_: Time = Field(alias="from")
    reason: Note
    relative_sd: Number | None = None


class SetPointRead(RecordRead):
    """A set-point as it stands."""

    subject_id: Id
    quantity: str
    value: float
    unit: str
    canonical: Amount
    from_: Time = Field(alias="from")
    reason: str
    relative_sd: float | None


class SetPoint(RecordRow, table=True):
    """The stored row; `value` is in the quantity's canonical unit."""

    __tablename__ = "set_points"
    __table_args__ = record_constraints("set_points", "quantity")

    quantity: str = Field(max_length=40)
    value: float
    unit: str = Field(max_length=40)
    relative_sd: float | None = None


def body(row: SetPoint) -> dict[str, Any]:
    """A set-point's answer."""
    return {
        "relative_sd": row.relative_sd,
        **record_body(row),
        "subject_id": row.subject_id,
        "quantity": row.quantity,
        "canonical": {"value": row.value, "unit": row.unit},
    }


SET_POINT = register(Kept("set_point", SetPoint, body))
