"""A method: how a quantity is measured, and how well one measurement repeats."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from service.http.shapes import Amount, Code, Line, Number, Shape
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.types import Document, Instant

RelativeSd = Annotated[Number, ShapeField(gt=0, lt=1, description="Standard deviation as a fraction of the value.")]


class MethodSent(Shape):
    """A method as described: `repeatability` (one standard deviation) or `relative_sd`."""

    name: Line
    quantity: Code
    repeatability: Amount | None = None
    relative_sd: RelativeSd | None = None


class MethodPatch(Shape):
    """What may change of a method."""

    name: Line | None = None
    repeatability: Amount | None = None
    relative_sd: RelativeSd | None = None


class MethodRead(Shape):
    """A method as it stands."""

    id: UUID
    version: int
    name: str
    quantity: str
    repeatability: Amount | None
    sd: float | None = ShapeField(description="The repeatability in the quantity's canonical unit.")
    relative_sd: float | None
    described_at: datetime


class Method(KeptRow, table=True):
    """The stored row; `sd` is the repeatability in the quantity's canonical unit."""

    __tablename__ = "methods"
    __table_args__ = (UniqueConstraint("quantity", "name"),)

    name: str = Field(max_length=200)
    quantity: str = Field(max_length=40)
    repeatability: Any = Field(default=None, nullable=True, sa_type=Document)
    sd: float | None = None
    relative_sd: float | None = None
    described_at: datetime = Field(sa_type=Instant)


def body(row: Method) -> dict[str, Any]:
    """A method's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "name": row.name,
        "quantity": row.quantity,
        "repeatability": row.repeatability,
        "sd": row.sd,
        "relative_sd": row.relative_sd,
        "described_at": row.described_at,
    }


METHOD = register(Kept("method", Method, body))
