"""What happened in a span: to each system, and on the site as a whole."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.names import names
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.equipment.pieces.models import Equipment
from service.resources.keeping.records import RECORDED
from service.resources.places.rooms.models import Room
from service.resources.places.set_points.models import SetPoint
from service.resources.places.systems.actions import AS_DESCRIBED
from service.resources.places.systems.models import System
from service.resources.places.tanks.models import Tank
from service.resources.places.tanks.queries import stays_on
from service.resources.records.additions.models import Addition
from service.resources.records.maintenance_events.models import MaintenanceEvent
from service.resources.records.stock_changes.models import StockChange
from service.storage.trail import AuditEntry, Event

QUIET_ADDITIONS = {"top_off", "exchange"}  # they run all the time; water changes and the like are events
LASTING = timedelta(hours=12)  # so does a dose that lasts longer than this


def of_systems(
    session: Session, systems: Sequence[System], start: datetime, end: datetime
) -> dict[UUID, list[dict[str, Any]]]:
    """What happened to each system, its tanks and its reactors from start to before end, in time order."""
    ids = [system.id for system in systems]
    belongs: dict[UUID, set[UUID]] = {system_id: {system_id} for system_id in ids}
    for stay in stays_on(session, ids):
        belongs.setdefault(stay.tank_id, set()).add(stay.system_id)
    for feed in feeds_into(session, ids):
        belongs.setdefault(feed.reactor_id, set()).add(feed.system_id)
    found: dict[UUID, list[dict[str, Any]]] = {system_id: [] for system_id in ids}
    for table, columns, told in TOLD:
        for row in _between(session, table, columns, start, end, [table.subject_id.in_(belongs)]):
            event = told(row)
            if event is not None:
                for system_id in belongs[row.subject_id]:
                    found[system_id].append(event)
    return {system_id: sorted(events, key=lambda event: event["at"]) for system_id, events in found.items()}


def work_done(session: Session, site_id: UUID, start: datetime, end: datetime) -> list[dict[str, Any]]:
    """The maintenance that was recorded for a span, in time order."""
    rows = _between(session, MaintenanceEvent, ("kind", "entered"), start, end, [MaintenanceEvent.site_id == site_id])
    subjects = labels(session, {row.subject_id for row in rows})
    return [
        {
            "at": row.at,
            "subject": subjects.get(row.subject_id, "?"),
            "kind": row.kind,
            "what": row.entered["what"],
            "minutes": row.entered.get("minutes"),
            "by": row.entered.get("performed_by"),
        }
        for row in rows
    ]


def corrections(session: Session, site_id: UUID, start: datetime, end: datetime) -> list[dict[str, Any]]:
    """Every record of the site that was corrected or withdrawn in a span, in the order of the trail."""
    statement = (
        select(Event, AuditEntry)
        .join(AuditEntry, (col(AuditEntry.chain_id) == Event.chain_id) & (col(AuditEntry.seq) == Event.seq))
        .where(
            Event.chain_id == site_id,
            col(Event.action).in_(("corrected", "withdrawn")),
            col(AuditEntry.at) >= start,
            col(AuditEntry.at) < end,
        )
        .order_by(col(Event.seq), col(Event.position))
    )
    rows = session.exec(statement).all()
    known = names(session, {entry.actor_id for _, entry in rows})
    return [
        {
            "at": entry.at,
            "kind": event.kind,
            "record_id": event.thing_id,
            "action": event.action,
            "why": entry.why,
            "by": known[entry.actor_id],
        }
        for event, entry in rows
    ]


def labels(session: Session, subject_ids: set[UUID]) -> dict[UUID, str]:
    """What people call each subject: its name, else its tag."""
    found: dict[UUID, str] = {}
    for table in (System, Tank, Room, Equipment):
        tables: Any = table
        rows = session.exec(select(tables.id, tables.name, tables.tag).where(tables.id.in_(subject_ids)))
        found.update({row_id: name or tag for row_id, name, tag in rows.all()})
    return found


def lost(lines: Sequence[dict[str, Any]], since: datetime) -> list[str]:
    """What was recorded as lost of any system's stock since an instant, in words."""
    return [
        f"{line['name']}: {event['what']}."
        for line in lines
        for event in line["events"]
        if event["kind"] == "stock" and event["what"].endswith(" lost") and event["at"] >= since
    ]


def _between(
    session: Session, table: Any, columns: Sequence[str], start: datetime, end: datetime, conditions: Sequence[Any]
) -> Sequence[Any]:
    """Rows of the columns named, beside when and of what: whole rows of half a year would take several times longer."""
    statement = (
        select(table.subject_id, table.at, *(getattr(table, name) for name in columns))
        .where(table.state == RECORDED, table.at >= start, table.at < end, *conditions)
        .order_by(table.at, table.id)
    )
    return session.execute(statement).all()


def _addition(row: Any) -> dict[str, Any] | None:
    if row.kind in QUIET_ADDITIONS or (row.ended_at is not None and row.ended_at - row.at >= LASTING):
        return None
    what = f"{row.kind.replace('_', ' ')} {_amount(row)}".strip()
    return {"at": row.at, "kind": "addition", "what": what}


def _amount(row: Any) -> str:
    canonical = row.canonical
    if canonical.get("volume_l") is not None:
        return f"{canonical['volume_l']:.0f} L"
    if canonical.get("alkalinity_meq") is not None:
        return f"{canonical['alkalinity_meq']:.0f} meq"
    return "" if canonical.get("mass_kg") is None else f"{canonical['mass_kg']:.2f} kg"


def _stock(row: Any) -> dict[str, Any]:
    count = f"{row.count} " if row.count else ""
    return {"at": row.at, "kind": "stock", "what": f"{count}{row.entered['what']} {row.kind}"}


def _work(row: Any) -> dict[str, Any]:
    return {"at": row.at, "kind": "maintenance", "what": row.entered["what"]}


def _setting(row: Any) -> dict[str, Any] | None:
    if row.entered["reason"] == AS_DESCRIBED:
        return None
    what = f"{row.quantity.replace('_', ' ')} set to {row.entered['value']:g} {row.entered['unit']}"
    return {"at": row.at, "kind": "set_point", "what": what}


TOLD: tuple[tuple[Any, tuple[str, ...], Callable[[Any], dict[str, Any] | None]], ...] = (
    (Addition, ("kind", "ended_at", "canonical"), _addition),
    (StockChange, ("kind", "count", "entered"), _stock),
    (MaintenanceEvent, ("entered",), _work),
    (SetPoint, ("quantity", "entered"), _setting),
)
