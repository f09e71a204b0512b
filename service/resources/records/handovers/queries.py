"""The notes of a site that wait for the next shift."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlalchemy import or_
from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.handovers.models import HANDOVER, Handover
from service.storage.trail import Event


def open_notes(session: Session, site_id: UUID, *, up_to: int) -> list[Handover]:
    """Those that nobody took note of and that came with an entry of the site's trail or before it, to be changed.

    Rows are locked: of two who take note at once the second waits, and finds none.
    """
    seqs = _recorded_at(site_id).where(Event.seq <= up_to)
    statement = _of_site(site_id, col(Handover.acknowledged_at).is_(None), col(Handover.id).in_(seqs))
    return list(session.exec(statement.with_for_update().execution_options(populate_existing=True)))


def notes_behind(session: Session, site_id: UUID, seq: int) -> list[Handover]:
    """Those that nobody took note of, and all that came behind an entry of the site's trail, the oldest first."""
    seqs = _recorded_at(site_id).where(Event.seq > seq)
    return list(
        session.exec(_of_site(site_id, or_(col(Handover.acknowledged_at).is_(None), col(Handover.id).in_(seqs))))
    )


def _recorded_at(site_id: UUID) -> Any:
    return select(Event.thing_id).where(
        Event.chain_id == site_id, Event.kind == HANDOVER.name, Event.action == "recorded"
    )


def _of_site(site_id: UUID, *conditions: Any) -> Any:
    statement = select(Handover).where(Handover.site_id == site_id, Handover.state == RECORDED, *conditions)
    return statement.order_by(col(Handover.at), col(Handover.id))
