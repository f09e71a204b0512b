"""An installation: what is mounted on what, from one instant to another. A piece is in one place at a time."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlmodel import Field

from service.http.shapes import Id, Shape, Time
from service.resources.equipment.intervals import IntervalRow, interval_constraints
from service.resources.keeping.kept import Kept, register
from service.storage.types import Identifier


class InstallationSent(Shape):
    """An installation as described: the host is equipment, a tank, a system or a room. No `to`: still mounted."""

    equipment_id: Id
    host_id: Id
    from_: Time = ShapeField(alias="from")
    to: Time | None = None


class InstallationPatch(Shape):
    """What may change of an installation. `to` null: still mounted; `to` at its `from`: it never was (a mistake)."""

    host_id: Id | None = None
    from_: Time | None = ShapeField(default=None, alias="from")
    to: Time | None = None


class InstallationRead(Shape):
    """An installation as it stands."""

    id: UUID
    version: int
    site_id: UUID
    equipment_id: UUID
    host_id: UUID
    from_: datetime = ShapeField(alias="from")
    to: datetime | None
    described_at: datetime


class Installation(IntervalRow, table=True):
    """The stored row."""

    __tablename__ = "installations"
    __table_args__ = interval_constraints(
        "installations", subjects=("equipment_id", "host_id"), one_open=("equipment_id",)
    )

    equipment_id: UUID = Field(sa_type=Identifier)
    host_id: UUID = Field(sa_type=Identifier)


def body(row: Installation) -> dict[str, Any]:
    """An installation's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "equipment_id": row.equipment_id,
        "host_id": row.host_id,
        "from": row.from_at,
        "to": row.to_at,
        "described_at": row.described_at,
    }


INSTALLATION = register(Kept("installation", Installation, body))
