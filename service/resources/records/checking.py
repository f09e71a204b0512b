"""Whether what is stored is what was recorded: every chain, every kept row, every old version, every change."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from pydantic import TypeAdapter
from sqlalchemy import func
from sqlmodel import Session, SQLModel, col, select

from service.http.shapes import RFC3339
from service.resources.keeping.kept import KEPT, Kept, chain_of
from service.resources.keeping.records import RecordRow, RecordVersion
from service.resources.places.sites.models import Site
from service.resources.records.photos import checking as photos
from service.resources.records.series import checking as series
from service.storage import trail
from service.storage.trail import INSTALLATION, AuditEntry, ChainHead, Event
from service.storage.types import Instant, digest

BATCH = 500
_TIME = TypeAdapter(datetime)


def faults(session: Session) -> Iterator[str]:
    """Everything stored that is not as the audit trail has it, one sentence each; nothing when all is whole.

    Every chain is walked, every kept row and every replaced version is compared with the digest of its entry, and rows
    without an entry, entries without a row are named. Reads in batches: memory does not grow with the records.
    """
    tags: dict[UUID, str] = dict(session.exec(select(Site.id, Site.tag)).all())
    for chain_id in _chains(session):
        name = "installation" if chain_id == INSTALLATION else f"site {tags.get(chain_id, chain_id)}"
        yield from (f"{name}: {fault}" for fault in trail.faults(session, chain_id))
        yield from (f"{name}: {fault}" for fault in _stray_events(session, chain_id))
    yield from _unknown_kinds(session)
    for kept in KEPT.values():
        yield from _edited_rows(session, kept)
        yield from _lost_rows(session, kept)
    yield from _edited_versions(session)
    yield from series.faults(session)
    yield from photos.faults(session)


def _chains(session: Session) -> list[UUID]:
    found: set[UUID] = set()
    for column in (ChainHead.chain_id, AuditEntry.chain_id, Event.chain_id):
        found |= set(session.exec(select(column).distinct()).all())
    return sorted(found)


def _stray_events(session: Session, chain_id: UUID) -> Iterator[str]:
    entry = select(AuditEntry.seq).where(AuditEntry.chain_id == Event.chain_id, AuditEntry.seq == Event.seq)
    stray = select(Event.seq).where(Event.chain_id == chain_id, ~entry.exists()).distinct().order_by(col(Event.seq))
    for seq in session.exec(stray):
        yield f"changes are listed under entry {seq}, which does not exist"


def _unknown_kinds(session: Session) -> Iterator[str]:
    counted = select(Event.kind, func.count()).group_by(Event.kind).order_by(Event.kind)
    for kind, count in session.exec(counted):
        if kind not in KEPT and kind not in UNKEPT:
            yield f"{count} changes of the kind '{kind}' cannot be compared: this version does not know it"


UNKEPT = frozenset({"session"})  # a browser session: entered into the trail, but no record


def _edited_rows(session: Session, kept: Kept[Any]) -> Iterator[str]:
    for rows in _batches(session, kept.table):
        last = _last_words(session, kept.name, [row.id for row in rows])
        for row in rows:
            what = f"{kept.name} {row.id}"
            said = last.get(row.id)
            if said is None:
                yield f"{what} has no entry in the audit trail"
            elif said.chain_id != chain_of(row) and not isinstance(row, Site):  # a new site is the installation's
                yield f"{what} was moved to another site"
            elif (said.version, said.digest) != (row.version, _digest_of(kept, row)):
                yield f"{what} was edited: it is not version {said.version} as entry {said.seq} has it"
            elif isinstance(row, RecordRow):
                yield from (f"{what} was edited: {fault}" for fault in _moved_instants(row))


def _digest_of(kept: Kept[Any], row: Any) -> bytes | None:
    """The digest of a row's body; None for a row so mangled that it has none."""
    try:
        return digest(kept.body(row))
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def _moved_instants(row: RecordRow) -> Iterator[str]:
    """The instants that computations sort by stand in columns of their own: each must be one that was entered."""
    entered = {_TIME.validate_python(text) for text in row.entered.values() if _is_time(text)}
    stamped = {  # told by the body
        "recorded_at", "changed_at", "acknowledged_at", "signed_at", "completed_at", "cut_off_tested_at",
    }  # fmt: skip
    for column in row.__table__.columns:  # type: ignore[attr-defined]
        if isinstance(column.type, Instant) and column.name not in stamped:
            value = getattr(row, column.name)
            if value is not None and value not in entered:
                yield f"{column.name} is not an instant that was entered"


def _is_time(value: Any) -> bool:
    return isinstance(value, str) and re.fullmatch(RFC3339, value) is not None


def _lost_rows(session: Session, kept: Kept[Any]) -> Iterator[str]:
    table: Any = kept.table
    row = select(table.id).where(table.id == Event.thing_id)
    lost = select(Event.thing_id).where(Event.kind == kept.name, ~row.exists()).distinct().order_by(col(Event.thing_id))
    for thing_id in session.exec(lost.execution_options(yield_per=BATCH)):
        yield f"{kept.name} {thing_id} is gone, though the audit trail has it"


def _edited_versions(session: Session) -> Iterator[str]:
    """Replaced versions: each as its own entry has it, and none missing."""
    statement = select(RecordVersion).order_by(col(RecordVersion.record_id), col(RecordVersion.version))
    for versions in session.exec(statement.execution_options(yield_per=BATCH)).partitions():
        ids = {version.record_id for version in versions}
        said = {
            (event.kind, event.thing_id, event.version): event.digest
            for event in session.exec(select(Event).where(col(Event.thing_id).in_(ids)))
        }
        for version in versions:
            if said.get((version.kind, version.record_id, version.version)) != digest(version.body):
                yield f"version {version.version} of {version.kind} {version.record_id} was edited"
    yield from _lost_versions(session)


def _lost_versions(session: Session) -> Iterator[str]:
    kinds = [kept.name for kept in KEPT.values() if issubclass(kept.table, RecordRow)]
    latest = (
        select(Event.kind, Event.thing_id, func.max(Event.version).label("version"))
        .where(col(Event.kind).in_(kinds))
        .group_by(col(Event.kind), col(Event.thing_id))
        .subquery()
    )
    there = select(RecordVersion.version).where(
        RecordVersion.record_id == Event.thing_id,
        RecordVersion.kind == Event.kind,
        RecordVersion.version == Event.version,
    )
    lost = (
        select(Event.kind, Event.thing_id, Event.version)
        .join(latest, (latest.c.thing_id == Event.thing_id) & (latest.c.kind == Event.kind))
        .where(col(Event.kind).in_(kinds), Event.version < latest.c.version, ~there.exists())
        .order_by(col(Event.thing_id), col(Event.version))
    )
    for kind, thing_id, version in session.exec(lost.execution_options(yield_per=BATCH)):
        yield f"version {version} of {kind} {thing_id} is gone, though the audit trail has it"


def _last_words(session: Session, kind: str, ids: Sequence[UUID]) -> dict[UUID, Event]:
    """What the trail says last of each thing."""
    statement = (
        select(Event)
        .where(col(Event.thing_id).in_(ids), Event.kind == kind)
        .order_by(col(Event.version), col(Event.seq), col(Event.position))
    )
    return {event.thing_id: event for event in session.exec(statement)}


def _batches(session: Session, table: type[SQLModel]) -> Iterator[Sequence[Any]]:
    """Every row of a table in the order of ids, a batch at a time."""
    key: Any = getattr(table, "id")  # noqa: B009
    after: UUID | None = None
    while True:
        statement = select(table).order_by(key).limit(BATCH)
        rows = session.exec(statement if after is None else statement.where(key > after)).all()
        if not rows:
            return
        yield rows
        after = rows[-1].id  # type: ignore[attr-defined]
