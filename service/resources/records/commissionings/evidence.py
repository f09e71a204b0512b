"""Whether evidence meets what holds a step (minutes, bounds, words), and its value as a reading of its own."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from service.access.caller import Work
from service.errors import Fault, NotFound
from service.http.conditional import tag_of
from service.resources.keeping.amounts import refused
from service.resources.keeping.records import RECORDED, record_one, withdrawn
from service.resources.places.subjects import subject_of
from service.resources.records.commissionings.models import Commissioning, EvidenceSent, standing
from service.resources.records.procedures.models import DURATION, Measured, Procedure, Step, Wait, WrittenNote
from service.resources.records.readings.actions import READINGS
from service.resources.records.readings.models import Reading, ReadingSent
from service.science.quantities import QUANTITIES, EntryError
from service.science.units import UnitError
from service.storage.subjects import Subject

MINUTE = timedelta(minutes=1)
ROUNDING = 1e-9


def judged(
    work: Work, row: Commissioning, procedure: Procedure, step: Step, sent: EvidenceSent, since: datetime
) -> dict[str, Any]:
    """What was measured: `minutes_since_step_before` and `canonical`, the values with their units.

    Raises Unacceptable or NotFound naming the field: an instant before the step before, evidence of another kind than
    asked for, and, unless `deviation` says why, a wait too short or a value outside its bounds.
    """
    elapsed = (sent.done_at - since) / MINUTE
    if elapsed < 0:
        detail = f"The step before was done at {since.isoformat()}; this one comes after it."
        raise refused("/done_at", detail, sent.done_at.isoformat())
    if sent.minutes is not None and sent.minutes > elapsed + 1:
        detail = f"Only {elapsed:.0f} minutes have passed since the step before. Check the times."
        raise refused("/minutes", detail, sent.minutes)
    hold = step.hold
    if sent.subject_id is not None and (sent.value is None or not isinstance(hold, Measured) or not hold.subject):
        detail = "A reading of something goes with a `value` at a step that asks for a reading. Leave it out here."
        raise refused("/subject_id", detail, str(sent.subject_id))
    if isinstance(hold, Wait):
        _waited(hold, sent, elapsed)
    if isinstance(hold, WrittenNote) and sent.note is None:
        raise refused("/note", "This step is held until something is written about it.")
    if isinstance(hold, Measured):
        values = _values(work, row, hold, sent, since)
        _within(row, procedure, hold, sent, values)
        unit = "min" if hold.quantity == DURATION else QUANTITIES[hold.quantity].unit
    elif sent.value is not None or sent.unit is not None or sent.reading_ids is not None:
        field = "/reading_ids" if sent.reading_ids is not None else "/value" if sent.value is not None else "/unit"
        raise refused(field, "This step asks for no value. Leave it out, or write it into the note.")
    else:
        values, unit = [], ""
    return {
        "minutes_since_step_before": elapsed,
        "canonical": [{"value": value, "unit": unit} for value in values],
    }


def _waited(hold: Wait, sent: EvidenceSent, elapsed: float) -> None:
    waited = elapsed if sent.minutes is None else min(elapsed, sent.minutes)
    if waited < hold.minutes - ROUNDING and sent.deviation is None:
        detail = (
            f"{hold.minutes:g} minutes are asked for, and {waited:.1f} have passed since the step before. Wait, or say "
            "why not as `deviation`."
        )
        by_form = sent.minutes is not None and sent.minutes < elapsed
        raise refused("/minutes" if by_form else "/done_at", detail, sent.minutes if by_form else str(sent.done_at))


def _values(work: Work, row: Commissioning, hold: Measured, sent: EvidenceSent, since: datetime) -> list[float]:
    if (sent.value is None) != (sent.unit is None):
        raise refused("/unit" if sent.unit is None else "/value", "A value and its unit go together.")
    if (sent.value is None) == (sent.reading_ids is None):
        what = "a duration" if hold.quantity == DURATION else QUANTITIES[hold.quantity].title
        raise refused("/value", f"This step asks for {what}: `value` with `unit`, or else `reading_ids`.")
    if sent.value is not None and sent.unit is not None:
        try:
            return [hold.canonical(sent.value, sent.unit)]
        except (EntryError, UnitError) as error:
            field = "/value" if getattr(error, "field", "unit") not in {"unit"} else "/unit"
            raise refused(field, str(error), sent.unit if field == "/unit" else sent.value) from error
    assert sent.reading_ids is not None
    return [
        _read(work, row, hold, sent, since, work.session.get(Reading, reading_id), f"/reading_ids/{index}")
        for index, reading_id in enumerate(sent.reading_ids)
    ]


def _read(
    work: Work,
    row: Commissioning,
    hold: Measured,
    sent: EvidenceSent,
    since: datetime,
    reading: Reading | None,
    pointer: str,
) -> float:
    if reading is None or reading.site_id != row.site_id or reading.state != RECORDED:
        detail = "There is no reading with this id on this site, or it was withdrawn. Record it first."
        raise NotFound(detail, (Fault(pointer, detail),))
    if reading.quantity != hold.quantity:
        raise refused(pointer, f"A reading of {hold.quantity} is expected.", reading.quantity)
    _refuse_other_subject(work, row, hold, work.session.get_one(Subject, reading.subject_id), pointer)
    if not since <= reading.at <= sent.done_at:
        detail = f"A reading taken for this step is expected: after {since.isoformat()}, by done_at."
        raise refused(pointer, detail, reading.at.isoformat())
    return reading.value


def _within(
    row: Commissioning, procedure: Procedure, hold: Measured, sent: EvidenceSent, values: Sequence[float]
) -> None:
    if sent.deviation is not None:
        return
    pointer = "/value" if sent.value is not None else "/reading_ids/0"
    low, high = hold.canonical(hold.low, hold.unit), hold.canonical(hold.high, hold.unit)
    if any(not low - ROUNDING <= value <= high + ROUNDING for value in values):
        detail = (
            f"{hold.low:g} to {hold.high:g} {hold.unit} is asked for. Put it right and measure again, or say why it "
            "is so as `deviation`."
        )
        raise refused(pointer, detail, sent.value if sent.value is not None else values[0])
    earlier = None if hold.above is None else standing(row, hold.above)
    if hold.above is not None and earlier is not None:
        most = max(each["value"] for each in earlier["canonical"])
        if min(values) <= most:
            step = procedure.step(hold.above)
            assert step is not None
            detail = f"More than at the step '{step.title}' is asked for, which was {most:.3g} {_unit(hold)}."
            raise refused(pointer, detail, sent.value if sent.value is not None else values[0])


def _unit(hold: Measured) -> str:
    return "bar absolute" if hold.quantity.endswith("pressure") else QUANTITIES[hold.quantity].unit


def kept_as_reading(work: Work, row: Commissioning, step: Step, sent: EvidenceSent, sent_digest: str) -> Reading:
    """The evidence's value as a reading of `subject_id`, under an id that follows from run and evidence.

    What lies within the step's own bounds, or outside them for a reason given, needs no confirming. Raises
    Unacceptable or NotFound naming the field.
    """
    hold, subject_id = step.hold, sent.subject_id
    assert isinstance(hold, Measured)
    assert subject_id is not None
    subject = subject_of(work.session, work.scope, subject_id)
    if subject.site_id != row.site_id:
        raise refused("/subject_id", "This is on another site than the run.", str(subject_id))
    _refuse_other_subject(work, row, hold, subject, "/subject_id")
    reading = ReadingSent.model_validate({
        "id": uuid5(row.id, f"{step.code} {sent_digest}"),
        "subject_id": subject_id,
        "quantity": hold.quantity,
        "value": sent.value,
        "unit": sent.unit,
        "taken_at": sent.done_at,
        "conditions": hold.conditions,
        "observed_by": sent.observed_by,
        "note": f"{row.asked.title}: {step.title}",
        "confirm": True,
    })  # fmt: skip
    assert reading.id is not None
    return record_one(work, READINGS, reading.id, reading)[0]


def withdrawn_with_step(work: Work, reading_id: UUID, why: str) -> None:
    """Withdraw the reading that came with a step which is taken back, unless it was withdrawn before."""
    reading = work.session.get_one(Reading, reading_id)
    if reading.state == RECORDED:
        withdrawn(work, READINGS, reading_id, why, tag_of(reading.version))


def _refuse_other_subject(work: Work, row: Commissioning, hold: Measured, subject: Subject, pointer: str) -> None:
    own = work.session.get_one(Subject, row.subject_id)
    if subject.kind not in hold.subject or (subject.kind == own.kind and subject.id != own.id):
        expected = " or ".join(hold.subject).replace("_", " ") or "no reading, but a value sent with the step"
        raise refused(pointer, f"Expected is {expected}, and of the run's own kind only its own subject.", subject.kind)
