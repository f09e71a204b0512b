"""A system: one body of water with one chemistry. Computations run on systems."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from service.http.shapes import Amount, Code, Id, Line, Number, Shape, Tag, Time
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.subjects import on_the_same_site
from service.storage.types import Identifier, Instant

QuarantineClass = Literal["clean", "observation", "quarantine"]
Salinity = Annotated[Number, ShapeField(gt=0, le=60, description="Practical salinity.")]
Fraction = Annotated[Number, ShapeField(ge=0, lt=1)]
BoronFactor = Annotated[Number, ShapeField(gt=0, le=20, description="Total boron relative to natural seawater.")]


class SystemSent(Shape):
    """A system as described. `from` is since when volume, salinity and targets hold; left out, since always."""

    site_id: Id
    tag: Tag
    name: Line
    water_volume: Amount
    water_volume_relative_sd: Fraction | None = None
    reference_salinity: Salinity = 35.0
    room_id: Id | None = None
    boron_factor: BoronFactor = 1.0
    quarantine_class: QuarantineClass = "clean"
    targets: dict[Code, Amount] = {}
    from_: Time | None = ShapeField(default=None, alias="from")


class SystemPatch(Shape):
    """What may change of a system. New volume, salinity and targets hold from `from`; left out, from now."""

    name: Line | None = None
    water_volume: Amount | None = None
    water_volume_relative_sd: Fraction | None = None
    reference_salinity: Salinity | None = None
    room_id: Id | None = None
    boron_factor: BoronFactor | None = None
    quarantine_class: QuarantineClass | None = None
    targets: dict[Code, Amount] = {}
    from_: Time | None = ShapeField(default=None, alias="from")


class SystemRead(Shape):
    """A system as it stands now."""

    id: UUID
    version: int
    site_id: UUID
    tag: str
    name: str
    room_id: UUID | None
    boron_factor: float
    quarantine_class: str
    water_volume: Amount | None
    water_volume_relative_sd: float | None
    reference_salinity: float | None
    targets: dict[str, Amount]
    label_code: str
    described_at: datetime


class System(KeptRow, table=True):
    """The stored row; what varies in time stands in set-points."""

    __tablename__ = "systems"
    __table_args__ = (UniqueConstraint("site_id", "tag"), on_the_same_site("id"), on_the_same_site("room_id"))

    site_id: UUID = Field(sa_type=Identifier)
    tag: str = Field(max_length=40)
    name: str = Field(max_length=200)
    room_id: UUID | None = Field(default=None, sa_type=Identifier)
    boron_factor: float = 1.0
    quarantine_class: str = Field(default="clean", max_length=16)
    described_at: datetime = Field(sa_type=Instant)


def body(row: System) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "tag": row.tag,
        "name": row.name,
        "room_id": row.room_id,
        "boron_factor": row.boron_factor,
        "quarantine_class": row.quarantine_class,
        "described_at": row.described_at,
    }


SYSTEM = register(Kept("system", System, body))
