"""Reading the audit trail."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.names import names
from service.resources.records.chains import site_of
from service.storage.trail import AuditEntry, Event


def entries(
    session: Session, chain_id: UUID, *, after_seq: int, limit: int, thing_id: UUID | None, actor_id: UUID | None
) -> Sequence[AuditEntry]:
    """Up to `limit` entries of a chain behind a seq, the newest last; about one thing or by one actor when asked."""
    statement = (
        select(AuditEntry)
        .where(AuditEntry.chain_id == chain_id, AuditEntry.seq > after_seq)
        .order_by(col(AuditEntry.seq))
        .limit(limit)
    )
    if thing_id is not None:
        touching = select(Event.seq).where(Event.chain_id == chain_id, Event.thing_id == thing_id)
        statement = statement.where(col(AuditEntry.seq).in_(touching))
    if actor_id is not None:
        statement = statement.where(AuditEntry.actor_id == actor_id)
    return session.exec(statement).all()


def shown(session: Session, rows: Sequence[AuditEntry]) -> list[dict[str, Any]]:
    """The answers of entries, in order, with the names that their actors have now."""
    known = names(session, {entry.actor_id for entry in rows})
    return [
        {
            "site": site_of(entry.chain_id),
            "seq": entry.seq,
            "at": entry.at,
            "actor": entry.actor_id,
            "actor_name": known[entry.actor_id],
            "origin": entry.origin,
            "why": entry.why,
            "before": entry.before,
            "after": entry.after,
            "count": entry.count,
            "digest": entry.digest.hex(),
            "previous": entry.previous.hex(),
            "hash": entry.hash.hex(),
        }
        for entry in rows
    ]
