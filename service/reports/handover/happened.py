"""Changes of the trail behind a mark, and the rows they were about: one query a kind."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, func, select

from service.resources.equipment.gas_lines.models import MEMBER, GasLineMember
from service.resources.keeping.kept import KEPT
from service.resources.keeping.records import RECORDED
from service.storage.trail import AuditEntry, Event

TOLD = ("reading", "addition", "maintenance_event", "set_point", "stock_change", "commissioning")
MOST = 2000


@dataclass(frozen=True)
class Happened:
    """What happened behind a mark, the newest last: events with their entries, and rows by (kind, id)."""

    events: list[tuple[Event, AuditEntry]]
    rows: dict[tuple[str, UUID], Any]
    members: list[GasLineMember]
    left_out: int

    def recorded(self, kind: str) -> Iterable[tuple[Any, AuditEntry]]:
        """The rows of a kind that were recorded, and still count."""
        for event, entry in self.events:
            if event.kind == kind and event.action == "recorded":
                row = self.rows.get((kind, event.thing_id))
                if row is not None and row.state == RECORDED:
                    yield row, entry

    def changed(self, *actions: str) -> Iterable[tuple[Event, AuditEntry, Any]]:
        """The records that were changed by these actions."""
        for event, entry in self.events:
            row = self.rows.get((event.kind, event.thing_id))
            if event.action in actions and row is not None:
                yield event, entry, row

    def new_members(self) -> Iterable[tuple[GasLineMember, AuditEntry]]:
        """What came onto a gas line."""
        by_id = {row.id: row for row in self.members}
        for event, entry in self.events:
            if event.kind == MEMBER.name and event.action == "described" and event.thing_id in by_id:
                yield by_id[event.thing_id], entry


def happened(session: Session, site_id: UUID, seq: int) -> Happened:
    """What happened on a site behind an entry of its trail."""
    kinds = (*TOLD, MEMBER.name)
    behind = (Event.chain_id == site_id, col(Event.seq) > seq, col(Event.kind).in_(kinds))
    statement = (
        select(Event, AuditEntry)
        .join(AuditEntry, (col(AuditEntry.chain_id) == Event.chain_id) & (col(AuditEntry.seq) == Event.seq))
        .where(*behind)
        .order_by(col(Event.seq).desc(), col(Event.position).desc())
        .limit(MOST)
    )
    events = [(event, entry) for event, entry in session.exec(statement)][::-1]
    whole = session.exec(select(func.count()).select_from(Event).where(*behind)).one()
    rows: dict[tuple[str, UUID], Any] = {}
    for kind in TOLD:
        table = KEPT[kind].table
        ids = {event.thing_id for event, _ in events if event.kind == kind}
        rows |= {(kind, row.id): row for row in session.exec(select(table).where(col(table.id).in_(ids)))}
    return Happened(events, rows, _members(session, events), whole - len(events))


def _members(session: Session, events: Iterable[tuple[Event, AuditEntry]]) -> list[GasLineMember]:
    """Everything that is or was on the gas lines that something came onto."""
    ids = {event.thing_id for event, _ in events if event.kind == MEMBER.name}
    lines = select(GasLineMember.line_id).where(col(GasLineMember.id).in_(ids))
    return list(session.exec(select(GasLineMember).where(col(GasLineMember.line_id).in_(lines))))
