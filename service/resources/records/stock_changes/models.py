"""A stock change: corals added, removed, moved or lost. From then on demand may be another."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import model_validator
from sqlalchemy import Index
from sqlmodel import Field

from service.http.shapes import Id, Line, Note, Shape, Time, Whole
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.fields import refuse_fields
from service.storage.subjects import on_the_same_site
from service.storage.types import Identifier

StockKind = Literal["added", "removed", "moved", "lost"]
Count = Annotated[Whole, ShapeField(ge=1, le=1_000_000, description="Colonies or pieces.")]


class StockChangeSent(Shape):
    """A stock change as sent, of a system or a tank. `to_subject_id` says where moved ones went."""

    id: Id | None = None
    subject_id: Id
    kind: StockKind
    at: Time
    what: Line
    count: Count | None = None
    to_subject_id: Id | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _moved_somewhere(self) -> StockChangeSent:
        to, faults = self.to_subject_id, []
        if (self.kind == "moved") != (to is not None):
            expected = "What was moved names the tank or system it went to; nothing else does."
            faults.append(("to_subject_id", expected, to and str(to)))
        if to == self.subject_id:
            faults.append(("to_subject_id", "Another tank or system than subject_id is expected.", str(to)))
        refuse_fields("StockChangeSent", faults)
        return self


class StockChangeRead(RecordRead):
    """A stock change as it stands."""

    subject_id: UUID
    kind: str
    at: Time
    what: str
    count: int | None
    to_subject_id: UUID | None
    note: str | None


class StockChange(RecordRow, table=True):
    """The stored row."""

    __tablename__ = "stock_changes"
    __table_args__ = (
        *record_constraints("stock_changes", "kind"),
        on_the_same_site("to_subject_id"),
        Index("ix_stock_changes_to_subject_id", "to_subject_id"),
    )

    kind: str = Field(max_length=16)
    count: int | None = None
    to_subject_id: UUID | None = Field(default=None, sa_type=Identifier)


def body(row: StockChange) -> dict[str, Any]:
    """A stock change's answer."""
    return {
        "note": None,
        **record_body(row),
        "subject_id": row.subject_id,
        "kind": row.kind,
        "count": row.count,
        "to_subject_id": row.to_subject_id,
    }


STOCK_CHANGE = register(Kept("stock_change", StockChange, body))
