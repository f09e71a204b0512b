"""Setting things: by record, and by describing a system's volume, salinity and targets."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.errors import Conflict, Fault
from service.http.shapes import Amount
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.resources.keeping.records import RecordKind, recorded
from service.resources.places.set_points import queries
from service.resources.places.set_points.codes import canonical_setting
from service.resources.places.set_points.models import SET_POINT, SetPoint, SetPointRead, SetPointSent
from service.resources.places.subjects import subject_of
from service.storage.types import new_id


def columns(work: Work, sent: SetPointSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable for unknown codes and units, Conflict where one begins already."""
    subject = subject_of(work.session, work.scope, sent.subject_id)
    value, unit = canonical_setting(sent.quantity, sent.value, sent.unit)
    if sent.relative_sd is not None and not 0 <= sent.relative_sd < 1:
        raise refused("/relative_sd", "A fraction from 0 to less than 1 is expected.", sent.relative_sd)
    with work.session.no_autoflush:
        there = queries.beginning_at(work.session, subject.id, sent.quantity, sent.from_)
    if there is not None and there.id != sent.id:
        detail = (
            f"A set-point of {sent.quantity} already begins at this instant: {there.id} ({there.entered['value']} "
            f"{there.entered['unit']}). Correct that one, or choose another instant."
        )
        raise Conflict(detail, (Fault("/from", detail, sent.from_.isoformat()),))
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.from_,
        "quantity": sent.quantity,
        "value": value,
        "unit": unit,
        "relative_sd": sent.relative_sd,
    }


SET_POINTS = RecordKind(
    kept=SET_POINT,
    singular="set_point",
    plural="set_points",
    sent=SetPointSent,
    read=SetPointRead,
    columns=columns,
    topic="quantity",
)


def open_set_point(
    work: Work,
    subject_id: UUID,
    quantity: str,
    amount: Amount,
    *,
    at: datetime,
    why: str,
    relative_sd: float | None = None,
) -> SetPoint:
    """Record a set-point as part of describing something, entered into the trail like any other."""
    content = {
        "subject_id": str(subject_id),
        "quantity": quantity,
        "value": amount.value,
        "unit": amount.unit,
        "from": at.isoformat(),
        "reason": why,
    }
    if relative_sd is not None:
        content["relative_sd"] = relative_sd
    sent = SetPointSent.model_validate(content)
    row, _ = recorded(work, SET_POINTS, new_id(), sent)
    work.session.flush()
    note(work, SET_POINT, row, "recorded")
    return row
