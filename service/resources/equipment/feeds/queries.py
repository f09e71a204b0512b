"""Which reactor fed which system when, and with what share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.equipment.feeds.models import Feed, body
from service.resources.equipment.intervals import Span, lasting, overlapping


def feeds_into(session: Session, system_ids: Sequence[UUID]) -> list[Feed]:
    """Every feed of any reactor into these systems, in time order: one query."""
    return _listed(session, col(Feed.system_id).in_(system_ids), lasting(Feed))


def feeds_from(session: Session, reactor_ids: Sequence[UUID]) -> list[Feed]:
    """Every feed of these reactors into any system, in time order: one query."""
    return _listed(session, col(Feed.reactor_id).in_(reactor_ids), lasting(Feed))


def still_feeding(session: Session, reactor_id: UUID) -> Feed | None:
    """A feed of this reactor that has no end, if there is one."""
    rows = _listed(session, Feed.reactor_id == reactor_id, col(Feed.to_at).is_(None))
    return rows[0] if rows else None


def beside(session: Session, reactor_id: UUID, span: Span, *, besides: UUID | None) -> list[Feed]:
    """The reactor's other feeds that share an instant with the span, in time order."""
    rows = _listed(session, Feed.reactor_id == reactor_id, *overlapping(Feed, span))
    return [row for row in rows if row.id != besides]


def shown(session: Session, rows: Sequence[Feed], _at: datetime) -> list[dict[str, Any]]:
    """Feeds with what continues each, in order: one query however many."""
    begun = {
        (row.reactor_id, row.system_id, row.from_at): row.id
        for row in feeds_from(session, list({row.reactor_id for row in rows}))
    }
    return [
        {**body(row), "continued_by": row.to_at and begun.get((row.reactor_id, row.system_id, row.to_at))}
        for row in rows
    ]


def _listed(session: Session, *conditions: Any) -> list[Feed]:
    return list(session.exec(select(Feed).where(*conditions).order_by(col(Feed.from_at), col(Feed.id))))
