"""Recording handovers, and taking note of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import WITHDRAWN, RecordKind, advanced, found
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import subject_of
from service.resources.records.fields import refuse_ahead
from service.resources.records.handovers.models import HANDOVER, Handover, HandoverRead, HandoverSent


def columns(work: Work, sent: HandoverSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    site = sites.one(work.session, work.scope, sent.site_id)
    refuse_ahead(work, sent.written_at, "/written_at")
    if sent.subject_id is not None:
        subject = subject_of(work.session, work.scope, sent.subject_id)
        if subject.site_id != site.id:
            raise refused("/subject_id", "A subject of the handover's own site is expected.", str(subject.id))
    return {"site_id": site.id, "subject_id": sent.subject_id, "at": sent.written_at, "shift": sent.shift}


HANDOVERS = RecordKind(
    kept=HANDOVER,
    singular="handover",
    plural="handovers",
    sent=HandoverSent,
    read=HandoverRead,
    columns=columns,
    topic="shift",
)


def acknowledged(work: Work, handover_id: UUID) -> Handover:
    """The handover, noted by the caller: once, and as a version of its own. A repeat by the same caller confirms it.

    Raises Conflict when somebody else took note of it before, or when it was withdrawn.
    """
    row = found(work, HANDOVERS, handover_id)
    work.caller.require(Right.RECORD, row.site_id)
    work.session.refresh(row, with_for_update=True)  # of two at once the second waits, and sees the first
    if row.state == WITHDRAWN:
        raise Conflict("This handover was withdrawn; there is nothing to take note of.")
    if row.acknowledged_by is not None:
        if row.acknowledged_by == work.caller.id:
            return row
        detail = (
            f"Somebody took note of this before you, at {row.acknowledged_at:%Y-%m-%d %H:%M} UTC. Read it to see who."
        )
        raise Conflict(detail)
    _noted(work, row)
    return row


def note_together(work: Work, rows: Iterable[Handover]) -> None:
    """Handovers that nobody took note of, noted by the caller, who may record on their site."""
    for row in rows:
        _noted(work, row)


def _noted(work: Work, row: Handover) -> None:
    def by_the_caller() -> None:
        row.acknowledged_at, row.acknowledged_by = work.at, work.caller.id

    advanced(work, HANDOVERS, row, "acknowledged", by_the_caller)
