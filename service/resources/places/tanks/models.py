"""A tank: a vessel on a system, from one instant to another. Tanks move; history stays right."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import ForeignKeyConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.http.shapes import Amount, Id, Line, Shape, Tag, Time
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.subjects import on_the_same_site
from service.storage.types import Document, Identifier, Instant


class Dimensions(Shape):
    """The inside of a rectangular vessel, to the water line."""

    length: Amount
    width: Amount
    height: Amount


class TankSent(Shape):
    """A tank as described: on a system, or alone on a site, where it gets a system of its own.

    `from` is since when it stands on the system; left out, since always.
    """

    site_id: Id | None = None
    system_id: Id | None = None
    tag: Tag
    name: Line
    gross_volume: Amount | None = None
    dimensions: Dimensions | None = None
    displaced_volume: Amount | None = None
    water_volume: Amount | None = None
    from_: Time | None = ShapeField(default=None, alias="from")


class TankPatch(Shape):
    """What may change of a tank. A new system holds from `from`; left out, from now."""

    name: Line | None = None
    gross_volume: Amount | None = None
    dimensions: Dimensions | None = None
    displaced_volume: Amount | None = None
    system_id: Id | None = None
    from_: Time | None = ShapeField(default=None, alias="from")


class TankRead(Shape):
    """A tank as it stands now."""

    id: UUID
    version: int
    site_id: UUID
    tag: str
    name: str
    gross_volume: Amount | None
    dimensions: Dimensions | None
    displaced_volume: Amount | None
    system_id: UUID | None = ShapeField(description="The system it stands on now.")
    label_code: str
    described_at: datetime


class Tank(KeptRow, table=True):
    """The stored row."""

    __tablename__ = "tanks"
    __table_args__ = (UniqueConstraint("site_id", "tag"), on_the_same_site("id"))

    site_id: UUID = Field(sa_type=Identifier)
    tag: str = Field(max_length=40)
    name: str = Field(max_length=200)
    gross_volume: Any = Field(default=None, nullable=True, sa_type=Document)
    dimensions: Any = Field(default=None, nullable=True, sa_type=Document)
    displaced_volume: Any = Field(default=None, nullable=True, sa_type=Document)
    described_at: datetime = Field(sa_type=Instant)


class Placement(SQLModel, table=True):
    """On which system a tank stands from an instant on, until its next placement."""

    __tablename__ = "placements"
    __table_args__ = (
        on_the_same_site("tank_id"),
        ForeignKeyConstraint(
            ["site_id", "system_id"], ["subjects.site_id", "subjects.id"], name="fk_placements_system_subjects"
        ),
        Index("ix_placements_system_id", "system_id"),
    )

    tank_id: UUID = Field(primary_key=True, sa_type=Identifier)
    from_at: datetime = Field(primary_key=True, sa_type=Instant)
    site_id: UUID = Field(sa_type=Identifier)
    system_id: UUID = Field(sa_type=Identifier)


def body(row: Tank) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "tag": row.tag,
        "name": row.name,
        "gross_volume": row.gross_volume,
        "dimensions": row.dimensions,
        "displaced_volume": row.displaced_volume,
        "described_at": row.described_at,
    }


TANK = register(Kept("tank", Tank, body))
