"""Finding pieces of equipment, and what to be careful about with each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope
from service.errors import Conflict, Fault, NotFound
from service.resources.equipment.intervals import Span
from service.resources.equipment.pieces.models import RETIRED, Equipment, body
from service.resources.keeping.amounts import refused
from service.storage.subjects import Subject

LIQUID_CAUTION = (
    "A cylinder with a dip tube delivers liquid CO2, which a gas regulator does not withstand: cold burns and bursting "
    "parts. It is refused on a gas line; ask the gas supplier for one without."
)
OXYGEN_CAUTION = (
    "CO2 is toxic at a few per cent while oxygen still reads normal: an oxygen monitor does not warn of it. Ask the "
    "site's safety officer."
)


def one(
    session: Session, scope: Scope, equipment_id: UUID, *, pointer: str = "/equipment_id", place: str = "body"
) -> Equipment:
    """The piece of equipment with this id within the scope. Raises NotFound, also for another site's."""
    row = session.get(Equipment, equipment_id)
    if row is None or row.site_id not in scope:
        raise _unknown(equipment_id, pointer, place)
    return row


def one_of_kind(
    session: Session, site_id: UUID, equipment_id: UUID, kind: str, *, pointer: str, place: str = "body"
) -> Equipment:
    """The piece of this kind on this site. Raises NotFound, also for another site's, Unacceptable for another kind."""
    row = session.get(Equipment, equipment_id)
    if row is None or row.site_id != site_id:
        raise _unknown(equipment_id, pointer, place)
    require_kind(row, kind, pointer=pointer, place=place)
    return row


def require_kind(row: Equipment, kind: str, *, pointer: str, place: str = "body") -> None:
    """Raise Unacceptable unless the piece is of this kind."""
    if row.kind != kind:
        refusal = refused(pointer, f"A {kind} is expected; {row.tag} is a {row.kind}.", str(row.id))
        refusal.faults = tuple(Fault(fault.pointer, fault.detail, fault.sent, place) for fault in refusal.faults)
        raise refusal


def refuse_retired(row: Equipment, span: Span, *, pointer: str) -> None:
    """Raise Conflict when something retired is to be in use with no end."""
    if row.state == RETIRED and span.to_at is None:
        detail = f"{row.tag} is retired. Send `to` for what was, or change its state first."
        raise Conflict(detail, (Fault(pointer, detail, str(row.id)),))


def of_site(session: Session, site_id: UUID, *, kind: str | None = None) -> list[Equipment]:
    """Every piece of equipment of a site, of one kind or of all, by tag."""
    statement = select(Equipment).where(Equipment.site_id == site_id).order_by(col(Equipment.tag))
    return list(session.exec(statement if kind is None else statement.where(Equipment.kind == kind)))


def shown(session: Session, rows: Sequence[Equipment], _at: datetime) -> list[dict[str, Any]]:
    """Pieces with their label codes and cautions, in order: one query however many."""
    ids = [row.id for row in rows]
    codes = dict(session.exec(select(Subject.id, Subject.label_code).where(col(Subject.id).in_(ids))).all())
    return [{**body(row), "label_code": codes[row.id], "cautions": cautions(row)} for row in rows]


def has_dip_tube(row: Equipment) -> bool:
    """Whether a cylinder is known to draw liquid."""
    return bool(row.specification.get("dip_tube", False))


def cautions(row: Equipment) -> list[str]:
    """What can hurt somebody with this piece."""
    if row.kind == "co2_cylinder" and has_dip_tube(row):
        return [LIQUID_CAUTION]
    if row.kind == "gas_monitor" and row.specification.get("quantity") == "oxygen":
        return [OXYGEN_CAUTION]
    return []


def _unknown(equipment_id: UUID, pointer: str, place: str) -> NotFound:
    detail = "There is no equipment with this id on this site."
    return NotFound(detail, (Fault(pointer, detail, str(equipment_id), place),))
