"""What was on which gas line, and when."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.equipment.gas_lines.models import (
    CYLINDER,
    GAS_CAUTION,
    REACTOR,
    GasLine,
    GasLineMember,
    line_body,
    member_body,
)
from service.resources.equipment.intervals import Span, lasting, overlapping


def members(session: Session, line_ids: Sequence[UUID]) -> dict[UUID, list[GasLineMember]]:
    """Everything that is or was on each of these lines, in time order: one query."""
    found: dict[UUID, list[GasLineMember]] = {line_id: [] for line_id in line_ids}
    for row in _listed(session, col(GasLineMember.line_id).in_(line_ids), lasting(GasLineMember)):
        found[row.line_id].append(row)
    return found


def memberships(session: Session, equipment_ids: Sequence[UUID]) -> dict[UUID, list[GasLineMember]]:
    """Every place on a line that each of these cylinders and reactors has or had, in time order: one query."""
    found: dict[UUID, list[GasLineMember]] = {equipment_id: [] for equipment_id in equipment_ids}
    for row in _listed(session, col(GasLineMember.equipment_id).in_(equipment_ids), lasting(GasLineMember)):
        found[row.equipment_id].append(row)
    return found


def line_of(session: Session, equipment_ids: Sequence[UUID], at: datetime) -> dict[UUID, UUID]:
    """The line that each of these cylinders and reactors is on at an instant; those on none are left out."""
    held = memberships(session, equipment_ids)
    return {equipment_id: row.line_id for equipment_id, rows in held.items() for row in rows if row.span.holds_at(at)}


def still_on(session: Session, equipment_id: UUID) -> GasLineMember | None:
    """The place on a line that has no end, if this piece has one."""
    rows = _listed(session, GasLineMember.equipment_id == equipment_id, col(GasLineMember.to_at).is_(None))
    return rows[0] if rows else None


def rivals(session: Session, equipment_ids: Sequence[UUID], span: Span) -> list[tuple[GasLineMember, str]]:
    """Places of these pieces on any line that share an instant with the span, each with its line's tag."""
    statement = (
        select(GasLineMember, GasLine.tag)
        .join(GasLine, col(GasLine.id) == GasLineMember.line_id)
        .where(col(GasLineMember.equipment_id).in_(equipment_ids), *overlapping(GasLineMember, span))
        .order_by(col(GasLineMember.from_at))
    )
    return list(session.exec(statement).all())


def shown(session: Session, rows: Sequence[GasLine], at: datetime) -> list[dict[str, Any]]:
    """Lines with what is on them at an instant and all that was, in order: one query however many."""
    ever: dict[UUID, list[GasLineMember]] = {row.id: [] for row in rows}
    for member in _listed(session, col(GasLineMember.line_id).in_(list(ever))):
        ever[member.line_id].append(member)
    return [
        {
            **line_body(row),
            "cylinder_ids": _on_it(ever[row.id], CYLINDER, at),
            "reactor_ids": _on_it(ever[row.id], REACTOR, at),
            "members": [member_body(member) for member in ever[row.id]],
            "cautions": [GAS_CAUTION],
        }
        for row in rows
    ]


def _on_it(members: Sequence[GasLineMember], kind: str, at: datetime) -> list[UUID]:
    return [member.equipment_id for member in members if member.kind == kind and member.span.holds_at(at)]


def _listed(session: Session, *conditions: Any) -> list[GasLineMember]:
    statement = select(GasLineMember).where(*conditions)
    return list(session.exec(statement.order_by(col(GasLineMember.from_at), col(GasLineMember.id))))
