"""A takeover: somebody took a site over, having read what changed on it as far as an entry of its trail."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import ForeignKeyConstraint
from sqlmodel import Field

from service.http.shapes import Code, Id, Shape, Time, Whole
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.storage.types import Identifier, Instant

ReadTo = Annotated[
    Whole, ShapeField(ge=0, description="`read_to` of the report that was read: what came after it is new.")
]
AsOf = Annotated[Time, ShapeField(description="`at` of the report that was read.")]


class TakeoverSent(Shape):
    """A takeover as sent: how far the list went that was read, and when somebody said so."""

    id: Id | None = None
    site_id: Id
    read_to: ReadTo
    as_of: AsOf
    taken_at: Time
    shift: Code | None = None


class TakeoverRead(RecordRead):
    """A takeover as it stands. `recorded_by` is who took over."""

    read_to: int
    as_of: Time
    taken_at: Time
    shift: str | None


class Takeover(RecordRow, table=True):
    """The stored row: of a site as a whole, hence without a subject. `at` is when it was taken over."""

    __tablename__ = "takeovers"
    __table_args__ = (*record_constraints("takeovers", "shift"), ForeignKeyConstraint(["site_id"], ["sites.id"]))

    subject_id: UUID | None = Field(default=None, nullable=True, sa_type=Identifier)  # type: ignore[assignment]
    shift: str | None = Field(default=None, max_length=40)
    read_to: int
    as_of: datetime = Field(sa_type=Instant)


def body(row: Takeover) -> dict[str, Any]:
    """A takeover's answer."""
    return {**record_body(row), "shift": row.shift}


TAKEOVER = register(Kept("takeover", Takeover, body))
