"""A room: free volume, height, air changes, whether it lies below ground; what a gas release would fill."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from service.http.shapes import Amount, Flag, Id, Line, Number, Shape, Tag
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.subjects import on_the_same_site
from service.storage.types import Document, Identifier


class RoomSent(Shape):
    """A room as described."""

    site_id: Id
    tag: Tag
    name: Line
    free_volume: Amount | None = None
    height: Amount | None = None
    air_changes_per_hour: Number | None = None
    below_ground: Flag = False


class RoomPatch(Shape):
    """What may change of a room."""

    name: Line | None = None
    free_volume: Amount | None = None
    height: Amount | None = None
    air_changes_per_hour: Number | None = None
    below_ground: Flag | None = None


class RoomRead(Shape):
    """A room as it stands."""

    id: UUID
    version: int
    site_id: UUID
    tag: str
    name: str
    free_volume: Amount | None
    height: Amount | None
    air_changes_per_hour: float | None
    below_ground: bool


class Room(KeptRow, table=True):
    """The stored row."""

    __tablename__ = "rooms"
    __table_args__ = (UniqueConstraint("site_id", "tag"), on_the_same_site("id"))

    site_id: UUID = Field(sa_type=Identifier)
    tag: str = Field(max_length=40)
    name: str = Field(max_length=200)
    free_volume: Any = Field(default=None, nullable=True, sa_type=Document)
    height: Any = Field(default=None, nullable=True, sa_type=Document)
    air_changes_per_hour: float | None = None
    below_ground: bool = False


def body(row: Room) -> dict[str, Any]:
    """A room's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "tag": row.tag,
        "name": row.name,
        "free_volume": row.free_volume,
        "height": row.height,
        "air_changes_per_hour": row.air_changes_per_hour,
        "below_ground": row.below_ground,
    }


ROOM = register(Kept("room", Room, body))
