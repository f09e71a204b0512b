"""Where a list of changes begins: right behind the moment at which somebody last took note of a handover."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.handovers.models import HANDOVER, Handover
from service.storage.trail import AuditEntry, Event

WITHOUT_A_MARK = timedelta(days=1)
LONGEST = timedelta(days=7)  # nobody reads what piled up longer: the weekly report tells it better


@dataclass(frozen=True)
class Mark:
    """A place in a site's trail: changes behind `seq` are told. `handover` is what was taken note of there, if any."""

    seq: int
    since: datetime
    handover: Handover | None


def mark_of(session: Session, site_id: UUID, at: datetime) -> Mark:
    """The mark of a site: the last acknowledgement within seven days, else a day ago.

    The place is one in the trail, not an instant, so that what was measured before and sent later is told, too.
    """
    last = session.exec(
        select(Handover)
        .where(
            Handover.site_id == site_id,
            Handover.state == RECORDED,
            col(Handover.acknowledged_at) >= at - LONGEST,
            col(Handover.acknowledged_at) <= at,
        )
        .order_by(col(Handover.acknowledged_at).desc(), col(Handover.id))
        .limit(1)
    ).first()
    if last is None or last.acknowledged_at is None:
        return Mark(_before(session, site_id, at - WITHOUT_A_MARK), at - WITHOUT_A_MARK, None)
    seq = session.exec(
        select(Event.seq).where(
            Event.chain_id == site_id,
            Event.thing_id == last.id,
            Event.kind == HANDOVER.name,
            Event.action == "acknowledged",
        )
    ).one()
    return Mark(seq, last.acknowledged_at, last)


def _before(session: Session, site_id: UUID, instant: datetime) -> int:
    """The last entry of a site's trail before an instant."""
    statement = (
        select(AuditEntry.seq)
        .where(AuditEntry.chain_id == site_id, col(AuditEntry.at) < instant)
        .order_by(col(AuditEntry.seq).desc())
        .limit(1)
    )
    return session.exec(statement).first() or 0


def open_notes(session: Session, site_id: UUID) -> list[Handover]:
    """The handovers of a site that nobody took note of, the oldest first."""
    statement = select(Handover).where(
        Handover.site_id == site_id, Handover.state == RECORDED, col(Handover.acknowledged_at).is_(None)
    )
    return list(session.exec(statement.order_by(col(Handover.at), col(Handover.id))))
