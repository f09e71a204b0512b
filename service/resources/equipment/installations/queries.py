"""What was mounted on what, and when."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.equipment.installations.models import Installation
from service.resources.equipment.intervals import Span, lasting, overlapping


def mounts_of(session: Session, equipment_ids: Sequence[UUID]) -> list[Installation]:
    """Every stay of these pieces on any host, piece by piece in time order: one query."""
    return _listed(session, col(Installation.equipment_id).in_(equipment_ids), lasting(Installation))


def mounts_on(session: Session, host_ids: Sequence[UUID]) -> list[Installation]:
    """Every stay of any piece on these hosts, piece by piece in time order: one query."""
    return _listed(session, col(Installation.host_id).in_(host_ids), lasting(Installation))


def touching(session: Session, equipment_id: UUID) -> list[Installation]:
    """Every stay of a piece, and of others on it, those that never held included."""
    return _listed(session, (Installation.equipment_id == equipment_id) | (Installation.host_id == equipment_id))


def still_mounted(session: Session, equipment_id: UUID) -> Installation | None:
    """A stay of this piece, or of another on it, that has no end; None when there is none."""
    return next((row for row in touching(session, equipment_id) if row.to_at is None), None)


def rival(session: Session, equipment_id: UUID, span: Span, *, besides: UUID | None) -> Installation | None:
    """Another stay of the piece that shares an instant with the span."""
    rows = _listed(session, Installation.equipment_id == equipment_id, *overlapping(Installation, span))
    return next((row for row in rows if row.id != besides), None)


def carriers(
    session: Session, subject_id: UUID, span: Span, *, besides: UUID | None
) -> Iterator[tuple[Installation, Span]]:
    """What carries a subject within a span, directly and further down, each with the time it does so.

    One query a storey. Ends because what is stored holds no circle.
    """
    storey = [(subject_id, span)]
    while storey:
        below: list[tuple[UUID, Span]] = []
        for row in _listed(session, col(Installation.equipment_id).in_({carried for carried, _ in storey})):
            for carried, while_carried in storey:
                shared = row.span.shared_with(while_carried)
                if row.equipment_id == carried and row.id != besides and not shared.is_empty:
                    yield row, shared
                    below.append((row.host_id, shared))
        storey = below


def _listed(session: Session, *conditions: object) -> list[Installation]:
    statement = select(Installation).where(*conditions)  # type: ignore[arg-type]
    return list(session.exec(statement.order_by(col(Installation.equipment_id), col(Installation.from_at))))
