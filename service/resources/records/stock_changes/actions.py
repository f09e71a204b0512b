"""Recording stock changes."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind
from service.resources.places.subjects import subject_of
from service.resources.records.fields import refuse_ahead
from service.resources.records.stock_changes.models import STOCK_CHANGE, StockChangeRead, StockChangeSent
from service.storage.subjects import Subject

HOLDS_STOCK = ("system", "tank")


def columns(work: Work, sent: StockChangeSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    subject = _holder(work, sent.subject_id, "/subject_id")
    refuse_ahead(work, sent.at, "/at")
    if sent.to_subject_id is not None:
        to = _holder(work, sent.to_subject_id, "/to_subject_id")
        if to.site_id != subject.site_id:
            detail = "Corals move within a site. Record them as removed here, and as added there."
            raise refused("/to_subject_id", detail, str(to.id))
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.at,
        "kind": sent.kind,
        "count": sent.count,
        "to_subject_id": sent.to_subject_id,
    }


STOCK_CHANGES = RecordKind(
    kept=STOCK_CHANGE,
    singular="stock_change",
    plural="stock_changes",
    sent=StockChangeSent,
    read=StockChangeRead,
    columns=columns,
    topic="kind",
)


def _holder(work: Work, subject_id: UUID, pointer: str) -> Subject:
    subject = subject_of(work.session, work.scope, subject_id, pointer=pointer)
    if subject.kind not in HOLDS_STOCK:
        words = subject.kind.replace("_", " ")
        raise refused(pointer, f"Corals live in a system or a tank; this is a {words}.", str(subject.id))
    return subject
