"""The change feed, read from the events of the audit trail."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlalchemy import tuple_
from sqlmodel import Session, col, select

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Fault, Malformed
from service.resources.keeping.kept import KEPT, Kept
from service.resources.records.chains import site_of
from service.storage.trail import AuditEntry, Event

PLACE = re.compile(r"(\d{1,9})(?:\.(\d{1,9}))?")
WHOLE_ENTRY = 2**31 - 1  # beyond any position: a bare seq means that all of its entry was seen


@dataclass(frozen=True)
class Place:
    """A place in a chain: an entry, and the last position seen of it."""

    seq: int
    position: int

    def __str__(self) -> str:
        return str(self.seq) if self.position == WHOLE_ENTRY else f"{self.seq}.{self.position}"


def place_named(text: str) -> Place:
    """The place that `after` names: `12` (all of entry 12 was seen) or `12.3`. Raises Malformed."""
    found = PLACE.fullmatch(text)
    if found is None:
        detail = "Send 0 to begin, the seq of an entry, or the next_after of the page before."
        raise Malformed(detail, (Fault("after", detail, text, "query"),))
    return Place(int(found[1]), WHOLE_ENTRY if found[2] is None else int(found[2]))


def changes(work: Work, chain_id: UUID, after: Place, limit: int) -> tuple[list[dict[str, Any]], Place]:
    """Up to `limit` changes of a chain behind a place, and the last one's place.

    Pages by (seq, position): a batch may be cut anywhere, and nothing of it is skipped. A seq that was committed later
    is larger, because the head of a chain is locked until the commit, so that no late change hides behind a place.
    """
    statement = (
        select(Event, AuditEntry)
        .join(AuditEntry, (col(AuditEntry.chain_id) == Event.chain_id) & (col(AuditEntry.seq) == Event.seq))
        .where(Event.chain_id == chain_id, tuple_(col(Event.seq), col(Event.position)) > (after.seq, after.position))
        .order_by(col(Event.seq), col(Event.position))
        .limit(limit)
    )
    rows = work.session.exec(statement).all()
    bodies = _bodies(work, chain_id, [event for event, _ in rows])
    found = [
        {
            "site": site_of(chain_id),
            "seq": event.seq,
            "position": event.position,
            "at": entry.at,
            "kind": event.kind,
            "id": event.thing_id,
            "action": event.action,
            "version": event.version,
            "actor": entry.actor_id,
            "body": bodies.get((event.kind, event.thing_id)),
        }
        for event, entry in rows
    ]
    return found, Place(rows[-1][0].seq, rows[-1][0].position) if rows else after


def _bodies(work: Work, chain_id: UUID, events: Sequence[Event]) -> dict[tuple[str, UUID], dict[str, Any]]:
    """The current body of each thing: one query a kind."""
    found: dict[tuple[str, UUID], dict[str, Any]] = {}
    for kind in sorted({event.kind for event in events} & set(KEPT)):
        kept = KEPT[kind]
        if _is_about_access(kept) and not work.caller.has(Right.ADMINISTER, site_of(chain_id)):
            continue
        for row in _rows(work.session, kept, {event.thing_id for event in events if event.kind == kind}):
            found[kind, row.id] = kept.body(row)
    return found


def _rows(session: Session, kept: Kept[Any], ids: set[UUID]) -> Sequence[Any]:
    return session.exec(select(kept.table).where(col(kept.table.id).in_(ids))).all()


def _is_about_access(kept: Kept[Any]) -> bool:
    """Tokens, roles and people are told to administrators only, as on their own routes."""
    return kept.table.__module__.startswith("service.access.")
