"""A reading: one value of one quantity of one subject, at one instant, kept as entered and in the canonical unit."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from sqlmodel import Field

from service.http.shapes import Amount, AnyJson, Code, Flag, Id, Line, Note, Number, Shape, Time, UnitName, Whole
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.storage.types import Identifier

Purpose = Literal["sample", "replicate", "blank", "check_standard"]
RelativeSd = Annotated[Number, ShapeField(gt=0, lt=1, description="How well this value is known, as a fraction of it.")]
LARGEST_BATCH = 5000


class ReadingSent(Shape):
    """A reading as sent. An implausible value needs `confirm: true`; an impossible one is refused."""

    id: Id | None = None
    subject_id: Id
    quantity: Code
    value: Number
    unit: UnitName
    taken_at: Time
    conditions: dict[Code, Number | Amount | Line] = {}
    method: Line | None = None
    lot_id: Id | None = None
    sample_point: Line | None = None
    purpose: Purpose = "sample"
    observed_by: Line | None = None
    relative_sd: RelativeSd | None = None
    note: Note | None = None
    inferred: Annotated[
        list[Code],
        ShapeField(
            max_length=10, description="What was not written down but taken from its surroundings, by an import."
        ),
    ] = []
    confirm: Flag = False


class ReadingRead(RecordRead):
    """A reading as it stands."""

    subject_id: UUID
    quantity: str
    value: float
    unit: str
    canonical: Amount
    taken_at: Time
    conditions: dict[str, AnyJson]
    method: str | None
    lot_id: UUID | None
    sample_point: str | None
    purpose: str
    observed_by: str | None
    relative_sd: float | None
    note: str | None
    inferred: list[str]
    flagged: bool = ShapeField(description="Implausible, and confirmed when it was entered.")


class Reading(RecordRow, table=True):
    """The stored row; `value` is in the quantity's canonical unit."""

    __tablename__ = "readings"
    __table_args__ = record_constraints("readings", "quantity")

    quantity: str = Field(max_length=40)
    value: float
    unit: str = Field(max_length=40)
    method: str | None = Field(default=None, max_length=200)
    lot_id: UUID | None = Field(default=None, foreign_key="lots.id", sa_type=Identifier)
    purpose: str = Field(max_length=16)
    relative_sd: float | None = None
    flagged: bool = False


def body(row: Reading) -> dict[str, Any]:
    """A reading's answer."""
    return {
        "conditions": {},
        "sample_point": None,
        "observed_by": None,
        "note": None,
        "inferred": [],
        **record_body(row),
        "subject_id": row.subject_id,
        "quantity": row.quantity,
        "canonical": {"value": row.value, "unit": row.unit},
        "method": row.method,
        "lot_id": row.lot_id,
        "purpose": row.purpose,
        "relative_sd": row.relative_sd,
        "flagged": row.flagged,
    }


READING = register(Kept("reading", Reading, body))


class ReadingBatch(Shape):
    """Many readings. With `all_or_none` one bad item keeps all of them out."""

    items: Annotated[
        list[AnyJson], ShapeField(min_length=1, max_length=LARGEST_BATCH, description="Each a ReadingSent.")
    ]
    all_or_none: Flag = False


class BatchResult(Shape):
    """What became of one item, under its place in the batch."""

    index: Whole
    status: Whole = ShapeField(description="201 recorded, 200 known already, else the status of its problem.")
    id: UUID | None
    problem: AnyJson


class BatchRead(Shape):
    """What became of each item, in input order."""

    results: list[BatchResult]
