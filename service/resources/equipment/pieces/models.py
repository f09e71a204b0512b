"""A piece of equipment: its kind, what is stamped on it, where it stands and in what state it is."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from service.http.shapes import Id, Line, Shape, Tag
from service.resources.equipment.pieces.specifications import SpecificationSent
from service.resources.keeping.kept import Kept, KeptRow, register
from service.science.quantity_table import EquipmentKind
from service.storage.subjects import on_the_same_site
from service.storage.types import Document, Identifier, Instant

EquipmentState = Literal["planned", "commissioning", "in_service", "out_of_service", "retired"]
RETIRED = "retired"


class EquipmentSent(Shape):
    """A piece of equipment as described; what its specification may say depends on its kind."""

    site_id: Id
    tag: Tag
    kind: EquipmentKind
    name: Line | None = None
    specification: SpecificationSent = {}
    state: EquipmentState = "in_service"
    room_id: Id | None = None


class EquipmentPatch(Shape):
    """What may change of a piece of equipment. A specification sent replaces the one before as a whole."""

    name: Line | None = None
    specification: SpecificationSent | None = None
    state: EquipmentState | None = None
    room_id: Id | None = None


class EquipmentRead(Shape):
    """A piece of equipment as it stands."""

    id: UUID
    version: int
    site_id: UUID
    tag: str
    kind: EquipmentKind
    name: str | None
    specification: SpecificationSent
    state: EquipmentState
    room_id: UUID | None
    label_code: str
    described_at: datetime
    cautions: list[str] = ShapeField(description="What can hurt somebody, and whom to ask.")


class Equipment(KeptRow, table=True):
    """The stored row; its subject's kind is the equipment's."""

    __tablename__ = "equipment"
    __table_args__ = (UniqueConstraint("site_id", "tag"), on_the_same_site("id"), on_the_same_site("room_id"))

    site_id: UUID = Field(sa_type=Identifier)
    tag: str = Field(max_length=40)
    kind: str = Field(max_length=32)
    name: str | None = Field(default=None, max_length=200)
    specification: Any = Field(sa_type=Document)
    state: str = Field(max_length=16)
    room_id: UUID | None = Field(default=None, sa_type=Identifier)
    described_at: datetime = Field(sa_type=Instant)


def body(row: Equipment) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "tag": row.tag,
        "kind": row.kind,
        "name": row.name,
        "specification": row.specification,
        "state": row.state,
        "room_id": row.room_id,
        "described_at": row.described_at,
    }


EQUIPMENT = register(Kept("equipment", Equipment, body))
