"""A handover: what one shift tells the next one on a site, and who took note of it."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import ForeignKeyConstraint
from sqlmodel import Field

from service.http.shapes import Code, Id, Line, Note, Shape, Time
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.storage.types import Identifier, Instant


class HandoverSent(Shape):
    """A handover as sent. It may be about one subject; `shift` says whom it is for, in the site's own words."""

    id: Id | None = None
    site_id: Id
    text: Note
    written_at: Time
    written_by: Line | None = None
    subject_id: Id | None = None
    shift: Code | None = None


class HandoverRead(RecordRead):
    """A handover as it stands."""

    text: str
    written_at: Time
    written_by: str | None
    subject_id: UUID | None
    shift: str | None
    acknowledged_at: datetime | None
    acknowledged_by: UUID | None = ShapeField(description="The person or token that took note of it.")


class Handover(RecordRow, table=True):
    """The stored row: the one kind of record that can do without a subject."""

    __tablename__ = "handovers"
    __table_args__ = (*record_constraints("handovers", "shift"), ForeignKeyConstraint(["site_id"], ["sites.id"]))

    subject_id: UUID | None = Field(default=None, nullable=True, sa_type=Identifier)  # type: ignore[assignment]
    shift: str | None = Field(default=None, max_length=40)
    acknowledged_at: datetime | None = Field(default=None, sa_type=Instant)
    acknowledged_by: UUID | None = Field(default=None, sa_type=Identifier)


def body(row: Handover) -> dict[str, Any]:
    """A handover's answer."""
    return {
        "written_by": None,
        **record_body(row),
        "subject_id": row.subject_id,
        "shift": row.shift,
        "acknowledged_at": row.acknowledged_at,
        "acknowledged_by": row.acknowledged_by,
    }


HANDOVER = register(Kept("handover", Handover, body))
