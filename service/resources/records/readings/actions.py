"""Recording readings: what is impossible is refused, what is implausible wants confirming."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import timedelta
from typing import Any
from uuid import UUID

from pydantic import ValidationError
from sqlmodel import Session

from service.access.caller import Work
from service.errors import Fault, HeldBack, NeedsConfirmation, NotFound, ServiceError, Unacceptable
from service.http.problems import faults_of, problem, status_of
from service.resources.catalogue.lots.models import Lot
from service.resources.catalogue.methods.queries import named as method_named
from service.resources.catalogue.methods.repeatability import COMMON, common_methods
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RecordKind, id_from_key, recorded
from service.resources.places.subjects import subject_of
from service.resources.records.readings.models import READING, Reading, ReadingBatch, ReadingRead, ReadingSent
from service.science.quantities import (
    QUANTITIES,
    ConditionMissing,
    ConditionRefused,
    EntryError,
    Quantity,
    canonical,
    is_plausible,
    quantity_named,
)
from service.storage import trail
from service.storage.trail import Change

AHEAD_AT_MOST = timedelta(minutes=5)


def columns(work: Work, sent: ReadingSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable, NeedsConfirmation or NotFound, each naming its field."""
    subject = subject_of(work.session, work.scope, sent.subject_id)
    if sent.taken_at > work.at + AHEAD_AT_MOST:
        raise refused(
            "/taken_at",
            "This lies ahead of the service's clock. Check the time and the offset.",
            sent.taken_at.isoformat(),
        )
    quantity = quantity_of(sent.quantity, subject.kind)
    with naming_fields(sent):
        value = canonical(quantity, sent.value, sent.unit, plain(sent.conditions))
    plausible = bool(is_plausible(quantity, value))
    if not plausible and not sent.confirm:
        raise _implausible(sent, quantity)
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.taken_at,
        "quantity": quantity.code,
        "value": value,
        "unit": quantity.unit,
        "method": method_of(work.session, quantity.code, sent.method),
        "lot_id": _lot(work.session, sent.lot_id),
        "purpose": sent.purpose,
        "relative_sd": sent.relative_sd,
        "flagged": not plausible,
    }


READINGS = RecordKind(
    kept=READING,
    singular="reading",
    plural="readings",
    sent=ReadingSent,
    read=ReadingRead,
    columns=columns,
    topic="quantity",
)


def record_batch(work: Work, batch: ReadingBatch, key: str | None) -> list[dict[str, Any]]:
    """What became of each item, in input order; new readings share one entry of the trail per site.

    Raises HeldBack, with the results, when `all_or_none` is asked for and an item is refused.
    """
    results: list[dict[str, Any]] = []
    new: list[Reading] = []
    for index, item in enumerate(batch.items):
        try:
            row, is_new = _record_item(work, item, key, index)
            results.append({"index": index, "status": 201 if is_new else 200, "id": row.id, "problem": None})
            new += [row] if is_new else []
        except ServiceError as error:
            results.append({"index": index, "status": status_of(error), "id": None, "problem": problem(error)})
    if batch.all_or_none and any(result["problem"] for result in results):
        raise Refused(_held_back(results))
    work.session.flush()
    for site_id in sorted({row.site_id for row in new}):
        _note_batch(work, site_id, [READING.change(row, "recorded") for row in new if row.site_id == site_id])
    return results


class Refused(Exception):
    """A whole batch was refused; `results` says what became of each item."""

    def __init__(self, results: list[dict[str, Any]]) -> None:
        super().__init__("the batch was refused as a whole")
        self.results = results


def _record_item(work: Work, item: Any, key: str | None, index: int) -> tuple[Reading, bool]:
    try:
        sent = ReadingSent.model_validate(item)
    except ValidationError as error:
        faults = faults_of(error.errors(), item, place="body")
        raise Unacceptable(f"{faults[0].pointer or '(whole)'}: {faults[0].detail}", faults) from error
    record_id = id_from_key(work, sent, key, index=index)
    return recorded(work, READINGS, record_id, sent, key_used=sent.id is None)


def _held_back(results: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Nothing was stored: items that were good in themselves say so."""
    kept_out = HeldBack(
        "Not stored: another item of this all-or-none batch was refused. Mend that one and send all again."
    )
    return [
        result
        if result["problem"]
        else {**result, "status": status_of(kept_out), "id": None, "problem": problem(kept_out)}
        for result in results
    ]


def _note_batch(work: Work, site_id: UUID, changes: list[Change]) -> None:
    trail.note(
        work.session,
        chain_id=site_id,
        at=work.at,
        actor=work.caller.actor,
        changes=changes,
        after={"readings": len(changes)},
    )


def quantity_of(code: str, subject_kind: str) -> Quantity:
    """The quantity of this code, as read on such a subject. Raises Unacceptable naming its field."""
    try:
        quantity = quantity_named(code)
    except EntryError as error:
        raise refused("/quantity", f"Not a quantity known here. Known: {', '.join(QUANTITIES)}.", code) from error
    if subject_kind not in quantity.subjects:
        where = ", ".join(sorted(quantity.subjects))
        raise refused(
            "/subject_id", f"{quantity.title} is read on: {where}; this subject is a {subject_kind}.", subject_kind
        )
    return quantity


@contextmanager
def naming_fields(sent: Any) -> Iterator[None]:
    """What cannot be made canonical is refused by the name of the field that was sent: value, unit or a condition."""
    try:
        yield
    except (ConditionMissing, ConditionRefused) as error:
        raise refused(f"/conditions/{error.field}", str(error), sent.conditions.get(error.field)) from error
    except EntryError as error:
        raise refused(f"/{error.field}", str(error), getattr(sent, error.field)) from error


def plain(conditions: Mapping[str, Any]) -> dict[str, Any]:
    """Conditions as sent, an amount as a mapping of its value and unit."""
    return {
        name: condition.model_dump() if hasattr(condition, "model_dump") else condition
        for name, condition in conditions.items()
    }


def _implausible(sent: ReadingSent, quantity: Quantity) -> NeedsConfirmation:
    low, high = quantity.plausible
    detail = (
        f"A {quantity.title} of {sent.value:g} {sent.unit} is outside the usual "
        f"{low:g} to {high:g} {quantity.unit}. "
        "Check the value and its unit; if it is right, send it again with confirm: true."
    )
    return NeedsConfirmation(detail, (Fault("/value", detail, sent.value),))


def method_of(session: Session, quantity: str, text: str | None) -> str | None:
    """A method as stored: the id of a described one in text, or the name of a common one."""
    if text is None or (quantity, text) in COMMON:
        return text
    method = method_named(session, quantity, text)
    if method is None:
        common = ", ".join(common_methods(quantity)) or "none"
        detail = f"No such method measures {quantity}. Describe it at /v1/methods, or use a common one: {common}."
        raise NotFound(detail, (Fault("/method", detail, text),))
    return str(method.id)


def _lot(session: Session, lot_id: UUID | None) -> UUID | None:
    if lot_id is not None and session.get(Lot, lot_id) is None:
        detail = "There is no lot with this id. Describe it at /v1/lots."
        raise NotFound(detail, (Fault("/lot_id", detail, str(lot_id)),))
    return lot_id
