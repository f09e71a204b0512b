"""Undoing an import as a whole: everything it recorded is withdrawn, and stays in the audit trail."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from sqlmodel import col, select

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, NotFound
from service.http.caller import Door
from service.resources.keeping.kept import note
from service.resources.keeping.records import RECORDED, withdrawn_together
from service.storage import trail
from service.transfer.imports.models import IMPORT, Import, ImportedRecord
from service.transfer.imports.recording import KINDS

BLOCK = 300


def found(work: Work, import_id: UUID) -> Import:
    """An import within the caller's scope. Raises NotFound."""
    row = work.session.get(Import, import_id)
    if row is None or row.site_id not in work.scope:
        raise NotFound("There is no import with this id.")
    return row


def undo(
    door: Door, import_id: UUID, why: str, *, progress: Callable[[int], None] = lambda _count: None
) -> dict[str, Any]:
    """Withdraw every record of an import that still stands, corrected ones too; in short transactions.

    Interrupted, it is `undoing`, and a repeat goes on. Raises NotFound, NotAllowed, Conflict for one undone before.
    """
    with door.write(Right.CORRECT) as work:
        row = _allowed(work, import_id)
        if row.state == "undone":
            raise Conflict("This import was undone before.")
        if row.mapping.get("record_as") == "series":
            raise Conflict(
                "Points of a series are never taken away. Say what is wrong with them in a maintenance event."
            )
        if row.state != "undoing":
            _change(work, row, "undoing", why)
    after: tuple[UUID, str] | None = None
    count = 0
    while True:
        with door.write(Right.CORRECT) as work:
            records = _next(work, import_id, after)
            if not records:
                row = _allowed(work, import_id)
                _change(work, row, "undone", row.undone_reason or why)
                return IMPORT.body(row)
            count += _withdraw(work, records, why)
            after = records[-1].record_id, records[-1].kind
        progress(count)


def _allowed(work: Work, import_id: UUID) -> Import:
    row = found(work, import_id)
    work.caller.require_correction_of(
        recorded_by=row.started_by, recorded_at=row.started_at, site_id=row.site_id, at=work.at
    )
    return row


def _change(work: Work, row: Import, state: str, why: str) -> None:
    before = IMPORT.body(row)
    row.version += 1
    row.state, row.undone_reason = state, why
    work.session.flush()
    note(work, IMPORT, row, "changed", before=before, why=why)


def _next(work: Work, import_id: UUID, after: tuple[UUID, str] | None) -> list[ImportedRecord]:
    statement = (
        select(ImportedRecord)
        .where(ImportedRecord.import_id == import_id)
        .order_by(col(ImportedRecord.record_id), col(ImportedRecord.kind))
        .limit(BLOCK)
    )
    if after is not None:
        record_id, kind = after
        statement = statement.where(
            (col(ImportedRecord.record_id) > record_id)
            | ((col(ImportedRecord.record_id) == record_id) & (col(ImportedRecord.kind) > kind))
        )
    return list(work.session.exec(statement))


def _withdraw(work: Work, records: list[ImportedRecord], why: str) -> int:
    """Withdraw those of a block that stand; how many."""
    changes = []
    for name, kind in KINDS.items():
        ids = [record.record_id for record in records if record.kind == name]
        table = kind.kept.table
        rows = work.session.exec(
            select(table).where(col(table.id).in_(ids), table.state == RECORDED).with_for_update()
        ).all()
        changes += withdrawn_together(work, kind, rows, why)
    if changes:
        trail.note(
            work.session,
            chain_id=records[0].site_id,
            at=work.at,
            actor=work.caller.actor,
            changes=changes,
            before={"import": str(records[0].import_id)},
            after={"withdrawn": len(changes)},
            why=why,
        )
    return len(changes)
