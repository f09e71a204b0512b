"""A lot: one batch of reagent or buffer, when it was opened and until when it is good."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import BeforeValidator
from sqlmodel import Field

from service.http.shapes import Id, Line, Shape, Time
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.types import Identifier, Instant


def _date_text(value: Any) -> Any:
    if isinstance(value, date) or (isinstance(value, str) and len(value) == 10 and value[4] == value[7] == "-"):
        return value
    raise ValueError("a date is expected, such as 2027-03-31")


Day = Annotated[date, BeforeValidator(_date_text)]


class LotSent(Shape):
    """A lot as described."""

    number: Line
    method_id: Id | None = None
    opened_at: Time | None = None
    expires_on: Day | None = None


class LotPatch(Shape):
    """What may change of a lot."""

    opened_at: Time | None = None
    expires_on: Day | None = None


class LotRead(Shape):
    """A lot as it stands."""

    id: UUID
    version: int
    number: str
    method_id: UUID | None
    opened_at: datetime | None
    expires_on: date | None
    described_at: datetime


class Lot(KeptRow, table=True):
    """The stored row."""

    __tablename__ = "lots"

    number: str = Field(max_length=200)
    method_id: UUID | None = Field(default=None, foreign_key="methods.id", sa_type=Identifier)
    opened_at: datetime | None = Field(default=None, sa_type=Instant)
    expires_on: date | None = None
    described_at: datetime = Field(sa_type=Instant)


def body(row: Lot) -> dict[str, Any]:
    """A lot's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "number": row.number,
        "method_id": row.method_id,
        "opened_at": row.opened_at,
        "expires_on": row.expires_on,
        "described_at": row.described_at,
    }


LOT = register(Kept("lot", Lot, body))
