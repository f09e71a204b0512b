"""A gas line: one or more cylinders that feed one or more reactors. Gas use belongs to it, not to a cylinder."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import ForeignKeyConstraint, UniqueConstraint
from sqlmodel import Field

from service.http.shapes import Id, Line, Shape, Tag, Time
from service.resources.equipment.installations.models import InstallationRead
from service.resources.equipment.intervals import IntervalRow, interval_constraints
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.types import Identifier, Instant

CYLINDER, REACTOR = "co2_cylinder", "calcium_reactor"
GAS_CAUTION = (
    "CO2 is stored at high pressure and toxic at a few per cent in air. Follow the gas supplier's instructions, local "
    "codes and the site's safety officer; this service records and computes, it does not switch gas."
)
Members = Annotated[list[Id], ShapeField(max_length=50)]


class GasLineSent(Shape):
    """A gas line as described, with what is on it from an instant on."""

    site_id: Id
    tag: Tag
    name: Line | None = None
    cylinder_ids: Members = []
    reactor_ids: Members = []
    from_: Time = ShapeField(alias="from")


class GasLinePatch(Shape):
    """What may change of a gas line. A list sent is all that is on the line from `from` on; left out, from now."""

    name: Line | None = None
    cylinder_ids: Members | None = None
    reactor_ids: Members | None = None
    from_: Time | None = ShapeField(default=None, alias="from")


class MemberRead(Shape):
    """A cylinder or reactor on a line for a time."""

    id: UUID
    version: int
    site_id: UUID
    line_id: UUID
    equipment_id: UUID
    kind: Literal["co2_cylinder", "calcium_reactor"]
    from_: datetime = ShapeField(alias="from")
    to: datetime | None
    described_at: datetime


class GasLineRead(Shape):
    """A gas line, what is on it now, and all that was."""

    id: UUID
    version: int
    site_id: UUID
    tag: str
    name: str | None
    cylinder_ids: list[UUID]
    reactor_ids: list[UUID]
    members: list[MemberRead] = ShapeField(description="Everything that is or was on the line, in time order.")
    described_at: datetime
    cautions: list[str]


class SwapSent(Shape):
    """A cylinder swap: the new one takes the place of the one in the path at this instant."""

    at: Time
    new_cylinder_id: Id


class SwapRead(Shape):
    """What a swap ended and began: the places on the line, and what was mounted, if anything."""

    line_id: UUID
    ended: MemberRead
    begun: MemberRead
    installations_ended: list[InstallationRead]
    installations_begun: list[InstallationRead]
    cautions: list[str]


class GasLine(KeptRow, table=True):
    """The stored row; its version counts every change of what is on it, too."""

    __tablename__ = "gas_lines"
    __table_args__ = (
        UniqueConstraint("site_id", "tag"),
        UniqueConstraint("site_id", "id", name="uq_gas_lines_site_id_id"),
    )

    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier)
    tag: str = Field(max_length=40)
    name: str | None = Field(default=None, max_length=200)
    described_at: datetime = Field(sa_type=Instant)


class GasLineMember(IntervalRow, table=True):
    """One cylinder or reactor on one line, for a time."""

    __tablename__ = "gas_line_members"
    __table_args__ = (
        *interval_constraints("gas_line_members", subjects=("equipment_id",), one_open=("equipment_id",)),
        ForeignKeyConstraint(
            ["site_id", "line_id"], ["gas_lines.site_id", "gas_lines.id"], name="fk_gas_line_members_line_id_gas_lines"
        ),
    )

    line_id: UUID = Field(sa_type=Identifier, index=True)
    equipment_id: UUID = Field(sa_type=Identifier)
    kind: str = Field(max_length=32)


def line_body(row: GasLine) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "tag": row.tag,
        "name": row.name,
        "described_at": row.described_at,
    }


def member_body(row: GasLineMember) -> dict[str, Any]:
    """A member's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "line_id": row.line_id,
        "equipment_id": row.equipment_id,
        "kind": row.kind,
        "from": row.from_at,
        "to": row.to_at,
        "described_at": row.described_at,
    }


GAS_LINE = register(Kept("gas_line", GasLine, line_body))
MEMBER = register(Kept("gas_line_member", GasLineMember, member_body))
