"""A recalibration: what a span of a probe's series should have read, as a slope and an offset on what it did read."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import model_validator
from sqlalchemy import ForeignKeyConstraint, Index
from sqlmodel import Field

from service.http.shapes import Code, Id, Line, Note, Number, Shape, Time, UnitName
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.fields import refuse_fields
from service.storage.types import Identifier, Instant

Slope = Annotated[Number, ShapeField(gt=0, le=100, description="Right value = slope x recorded value + offset.")]


class RecalibrationSent(Shape):
    """A recalibration as sent, of one series from `from` to before `to`.

    What was recorded stays. Of two that overlap the one recorded later counts. `offset` is in `unit`, the canonical one
    unless stated.
    """

    id: Id | None = None
    subject_id: Id
    quantity: Code
    method: Line | None = None
    from_: Time = Field(alias="from")
    to: Time
    slope: Slope = 1.0
    offset: Number = 0.0
    unit: UnitName | None = None
    reason: Note

    @model_validator(mode="after")
    def _goes_forward(self) -> RecalibrationSent:
        if self.to <= self.from_:
            refuse_fields("RecalibrationSent", [("to", "An instant after `from` is expected.", self.to.isoformat())])
        return self


class CanonicalLine(Shape):
    """Slope and offset for values in the canonical unit."""

    slope: float
    offset: float


class RecalibrationRead(RecordRead):
    """A recalibration as it stands."""

    series_id: UUID
    subject_id: UUID
    quantity: str
    method: str | None
    from_: Time = Field(alias="from")
    to: Time
    slope: float
    offset: float
    unit: str | None
    canonical: CanonicalLine
    reason: str


class Recalibration(RecordRow, table=True):
    """The stored row; `slope` and `shift` (the offset) are for values in the quantity's canonical unit."""

    __tablename__ = "recalibrations"
    __table_args__ = (
        *record_constraints("recalibrations", "quantity"),
        ForeignKeyConstraint(["site_id", "series_id"], ["series.site_id", "series.id"]),
        Index("ix_recalibrations_series_id", "series_id"),
    )

    series_id: UUID = Field(sa_type=Identifier)
    quantity: str = Field(max_length=40)
    method: str | None = Field(default=None, max_length=200)
    to_at: datetime = Field(sa_type=Instant)
    slope: float
    shift: float


def body(row: Recalibration) -> dict[str, Any]:
    """A recalibration's answer."""
    return {
        "slope": 1.0,
        "offset": 0.0,
        "unit": None,
        **record_body(row),
        "series_id": row.series_id,
        "subject_id": row.subject_id,
        "quantity": row.quantity,
        "method": row.method,
        "canonical": {"slope": row.slope, "offset": row.shift},
    }


RECALIBRATION = register(Kept("recalibration", Recalibration, body))
