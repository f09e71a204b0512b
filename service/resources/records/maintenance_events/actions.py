"""Recording maintenance."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from sqlmodel import col, select

from service.access.caller import Work
from service.errors import Fault, NotFound
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind
from service.resources.places.subjects import subject_of
from service.resources.records.fields import refuse_ahead
from service.resources.records.maintenance_events.models import (
    MAINTENANCE_EVENT,
    MaintenanceEventRead,
    MaintenanceEventSent,
    what_key,
)
from service.resources.records.maintenance_plans import queries as plans
from service.resources.records.readings.models import Reading
from service.science.quantities import QUANTITIES


def columns(work: Work, sent: MaintenanceEventSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    subject = subject_of(work.session, work.scope, sent.subject_id)
    refuse_ahead(work, sent.performed_at, "/performed_at")
    for index, code in enumerate(sent.restores):
        if code not in QUANTITIES:
            raise refused(f"/restores/{index}", f"Not a quantity known here. Known: {', '.join(QUANTITIES)}.", code)
    if sent.plan_id is not None:
        plans.one_for(work.session, work.scope, sent.plan_id, site_id=subject.site_id, subject_id=subject.id)
    for name in ("readings_before", "readings_after"):
        _refuse_unknown(work, subject.site_id, getattr(sent, name), name)
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.performed_at,
        "kind": sent.kind,
        "plan_id": sent.plan_id,
        "what_key": what_key(sent.what),
        "restores": list(sent.restores),
    }


MAINTENANCE_EVENTS = RecordKind(
    kept=MAINTENANCE_EVENT,
    singular="maintenance_event",
    plural="maintenance_events",
    sent=MaintenanceEventSent,
    read=MaintenanceEventRead,
    columns=columns,
    topic="kind",
)


def _refuse_unknown(work: Work, site_id: UUID, reading_ids: list[UUID], name: str) -> None:
    if not reading_ids:
        return
    with work.session.no_autoflush:
        statement = select(Reading.id).where(Reading.site_id == site_id, col(Reading.id).in_(reading_ids))
        known = set(work.session.exec(statement).all())
    for index, reading_id in enumerate(reading_ids):
        if reading_id not in known:
            detail = "There is no reading with this id on this site. Record it first."
            raise NotFound(detail, (Fault(f"/{name}/{index}", detail, str(reading_id)),))
