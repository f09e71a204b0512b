"""Running a procedure: begin, record each step in its order, sign with four eyes, take back, sign the whole."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session

from service.access.caller import Work
from service.access.names import person_behind
from service.access.rights import SIGNS_HOLD_POINTS, Right
from service.errors import Conflict, Fault, NotAllowed, NotFound
from service.resources.equipment.pieces.models import EQUIPMENT, Equipment
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.resources.keeping.records import WITHDRAWN, RecordKind, advanced, found
from service.resources.places.subjects import subject_of
from service.resources.records.commissionings.evidence import judged, kept_as_reading, withdrawn_with_step
from service.resources.records.commissionings.models import (
    COMMISSIONING,
    Commissioning,
    CommissioningRead,
    CommissioningSent,
    EvidenceSent,
    cut_off_test,
    next_step,
    standing,
    state_of,
)
from service.resources.records.fields import refuse_ahead
from service.resources.records.procedures.models import Procedure, Step
from service.resources.records.procedures.queries import named
from service.storage.types import digest

PLANNED, COMMISSIONED, IN_SERVICE = "planned", "commissioning", "in_service"


def columns(work: Work, sent: CommissioningSent) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its field."""
    procedure = named(sent.procedure)
    subject = subject_of(work.session, work.scope, sent.subject_id)
    if subject.kind not in procedure.subjects:
        expected = " or ".join(procedure.subjects).replace("_", " ")
        words = subject.kind.replace("_", " ")
        raise refused("/subject_id", f"{procedure.title} is done to: {expected}; this is a {words}.", str(subject.id))
    refuse_ahead(work, sent.started_at, "/started_at")
    return {
        "site_id": subject.site_id,
        "subject_id": subject.id,
        "at": sent.started_at,
        "procedure": procedure.code,
        "content": procedure.model_dump(mode="json"),
        "evidence": [],
    }


def _begun(work: Work, row: Commissioning) -> None:
    """What is planned is being commissioned from now on."""
    if row.asked.puts_in_service:
        _move(work, row.subject_id, (PLANNED,), COMMISSIONED, f"{row.asked.title} began")


def _may_withdraw(work: Work, row: Commissioning) -> None:
    """What was signed is withdrawn only by those who sign."""
    if row.signed_at is not None:
        _require_signer(work, row.site_id)


COMMISSIONINGS = RecordKind(
    kept=COMMISSIONING,
    singular="commissioning",
    plural="commissionings",
    sent=CommissioningSent,
    read=CommissioningRead,
    columns=columns,
    topic="procedure",
    follows=_begun,
    keeps=_may_withdraw,
    is_corrected=False,
)


def step_recorded(work: Work, run_id: UUID, code: str, sent: EvidenceSent) -> tuple[Commissioning, bool]:
    """The run with evidence of its next step, and whether it is new; the same again confirms it, whatever became of it.

    Raises Conflict out of order, for other evidence of a recorded step, and once the run was signed or withdrawn;
    Unacceptable where the evidence does not meet what holds the step; NotFound for an unknown run or step.
    """
    row, procedure, step = _opened(work, run_id, code)
    work.caller.require(Right.RECORD, row.site_id)
    sent_digest = _digest_of(sent)
    if any(each["code"] == code and each["digest"] == sent_digest for each in row.evidence):
        return row, False
    _refuse_closed(row)
    if standing(row, code) is not None:
        raise Conflict("Other evidence of this step is recorded. Take that back first, with a reason.")
    upcoming = next_step(row, procedure)
    if upcoming is not step:
        assert upcoming is not None
        waits = "is signed by a second person" if standing(row, upcoming.code) else "is done"
        detail = f"Steps are done in their order: this one waits until '{upcoming.title}' ({upcoming.code}) {waits}."
        raise Conflict(detail)
    refuse_ahead(work, sent.done_at, "/done_at")
    measured = judged(work, row, procedure, step, sent, _done_before(row, procedure, step))
    reading_ids = [str(each) for each in sent.reading_ids or ()]
    if sent.subject_id is not None:
        reading_ids = [str(kept_as_reading(work, row, step, sent, sent_digest).id)]
    evidence = {
        "code": code,
        "digest": sent_digest,
        "done_at": _utc(sent.done_at),
        "minutes": sent.minutes,
        "reading_ids": reading_ids,
        "value": sent.value,
        "unit": sent.unit,
        "subject_id": None if sent.subject_id is None else str(sent.subject_id),
        "note": sent.note,
        "observed_by": sent.observed_by,
        "deviation": sent.deviation,
        **measured,
        "recorded_at": _utc(work.at),
        "recorded_by": str(work.caller.id),
        "second": None,
        "taken_back": None,
    }
    return advanced(work, COMMISSIONINGS, row, "step_recorded", lambda: _set(row, [*row.evidence, evidence])), True


def step_signed(work: Work, run_id: UUID, code: str, words: str | None) -> Commissioning:
    """The run with a step signed by the caller as the second person; a repeat by the same person confirms it.

    Raises NotAllowed without a role that signs, for a token, and for whoever recorded the step, by however many
    tokens; Conflict where there is nothing to sign, or somebody else did.
    """
    row, _procedure, step = _opened(work, run_id, code)
    _require_signer(work, row.site_id)
    evidence = standing(row, code)
    if evidence is not None and evidence["second"] is not None:
        if evidence["second"]["by"] == str(work.caller.id):
            return row
        raise Conflict("Somebody else signed this step as the second person. Read the run to see who.")
    _refuse_closed(row)
    if evidence is None or state_of(step, evidence) != "to_be_signed":
        raise Conflict("There is nothing for a second person to sign at this step.")
    _require_second_person(work, UUID(evidence["recorded_by"]))
    signature = {"at": _utc(work.at), "by": str(work.caller.id), "note": words}
    return advanced(work, COMMISSIONINGS, row, "step_signed", lambda: _amend(row, evidence, second=signature))


def step_taken_back(work: Work, run_id: UUID, code: str, why: str) -> Commissioning:
    """The run with the evidence of its last step taken back, and kept; a repeat with the same reason confirms it.

    Raises Conflict for a step with later ones recorded, and once the run was signed or withdrawn.
    """
    row, procedure, _step = _opened(work, run_id, code)
    work.caller.require(Right.CORRECT, row.site_id)
    evidence = standing(row, code)
    if evidence is None:
        last = next((each for each in reversed(row.evidence) if each["code"] == code), None)
        if last is not None and (last["taken_back"]["by"], last["taken_back"]["reason"]) == (str(work.caller.id), why):
            return row
        raise Conflict("This step is not recorded; there is nothing to take back.")
    _refuse_closed(row)
    recorded = [step.code for step in procedure.steps if standing(row, step.code) is not None]
    if recorded[-1] != code:
        raise Conflict(f"Later steps rest on this one. Take them back first, the last one first: {recorded[-1]}.")
    work.caller.require_correction_of(
        recorded_by=UUID(evidence["recorded_by"]),
        recorded_at=datetime.fromisoformat(evidence["recorded_at"]),
        site_id=row.site_id,
        at=work.at,
    )
    if evidence.get("subject_id") is not None:
        withdrawn_with_step(work, UUID(evidence["reading_ids"][0]), why)
    taken_back = {"at": _utc(work.at), "by": str(work.caller.id), "reason": why}
    return advanced(work, COMMISSIONINGS, row, "step_taken_back", lambda: _amend(row, evidence, taken_back=taken_back))


def signed(work: Work, run_id: UUID, words: str | None) -> Commissioning:
    """The run signed off by the caller; a repeat by the same person confirms it. What was commissioned is in service.

    Raises NotAllowed without a role that signs; Conflict while a step is open or not signed by a second person.
    """
    row, procedure = _run(work, run_id)
    _require_signer(work, row.site_id)
    if row.signed_at is not None:
        if row.signed_by == work.caller.id:
            return row
        raise Conflict("Somebody else signed this run. Read it to see who.")
    _refuse_closed(row)
    upcoming = next_step(row, procedure)
    if upcoming is not None:
        waits = "a second person's signature" if standing(row, upcoming.code) else "its evidence"
        raise Conflict(f"The run is not finished: '{upcoming.title}' ({upcoming.code}) waits for {waits}.")

    def sign() -> None:
        last = standing(row, procedure.steps[-1].code)
        assert last is not None
        row.completed_at = datetime.fromisoformat(last["done_at"])
        test = cut_off_test(row, procedure)
        row.cut_off_tested_at = None if test is None else test["tested_at"]
        row.signed_at, row.signed_by, row.signed_note = work.at, work.caller.id, words

    advanced(work, COMMISSIONINGS, row, "signed", sign)
    if procedure.puts_in_service:
        _move(work, row.subject_id, (PLANNED, COMMISSIONED), IN_SERVICE, f"{procedure.title} was signed")
    return row


def _opened(work: Work, run_id: UUID, code: str) -> tuple[Commissioning, Procedure, Step]:
    row, procedure = _run(work, run_id)
    step = procedure.step(code)
    if step is None:
        detail = f"{procedure.title} has no such step; it has {', '.join(each.code for each in procedure.steps)}."
        raise NotFound(detail, (Fault("code", detail, code, "path"),))
    return row, procedure, step


def _run(work: Work, run_id: UUID) -> tuple[Commissioning, Procedure]:
    row = found(work, COMMISSIONINGS, run_id)
    work.session.refresh(row, with_for_update=True)  # of two at once the second waits, and sees the first
    return row, row.asked


def _refuse_closed(row: Commissioning) -> None:
    if row.state == WITHDRAWN:
        raise Conflict("This run was withdrawn. Begin a new one.")
    if row.signed_at is not None:
        raise Conflict("This run was signed and stays as it is. Begin a new one.")


def _require_signer(work: Work, site_id: UUID) -> None:
    work.caller.require(Right.RECORD, site_id)
    if work.caller.role_on(site_id) not in SIGNS_HOLD_POINTS:
        how = " On a shared device they sign by name and PIN." if work.caller.device_id is not None else ""
        raise NotAllowed(
            f"Signing needs the role life_support, or a supervisor. Ask one of them to look and sign.{how}"
        )


def _require_second_person(work: Work, recorded_by: UUID) -> None:
    """Two people see it: who signs is a person, and another one than stands behind what was recorded."""
    if work.caller.kind != "person":
        raise NotAllowed("Four eyes: a second person signs this step, signed in as themselves. A token has no eyes.")
    first = person_behind(work.session, recorded_by)
    if first is None:
        raise NotAllowed(
            "Four eyes: this step was recorded with a token made on the command line, and nobody knows whose it is. "
            "Take the step back and record it signed in, or with a token that a person made."
        )
    if first == work.caller.id:
        raise NotAllowed("Four eyes: a second person signs this step, not the one who recorded it.")


def _done_before(row: Commissioning, procedure: Procedure, step: Step) -> datetime:
    """When the step before was done; for the first, when the run began."""
    place = procedure.steps.index(step)
    before = None if place == 0 else standing(row, procedure.steps[place - 1].code)
    return row.at if before is None else datetime.fromisoformat(before["done_at"])


def _move(work: Work, subject_id: UUID, from_states: tuple[str, ...], to: str, why: str) -> None:
    """Equipment in one of these states comes into another, entered into the trail; a system has no state."""
    piece = _piece(work.session, subject_id)
    if piece is None or piece.state not in from_states:
        return
    before = EQUIPMENT.body(piece)
    piece.state = to
    piece.version += 1
    work.session.flush()
    note(work, EQUIPMENT, piece, "changed", before=before, why=why)


def _piece(session: Session, subject_id: UUID) -> Equipment | None:
    return session.get(Equipment, subject_id, with_for_update=True)


def _set(row: Commissioning, evidence: list[dict[str, Any]]) -> None:
    row.evidence = evidence


def _amend(row: Commissioning, evidence: dict[str, Any], **fields: Any) -> None:
    _set(row, [{**each, **fields} if each is evidence else each for each in row.evidence])


def _digest_of(sent: EvidenceSent) -> str:
    """What decides whether two sendings are the same: times as instants, unset as absent."""
    content = sent.model_dump(mode="python", exclude_none=True)
    return digest({**content, "done_at": _utc(sent.done_at)}).hex()


def _utc(at: datetime) -> str:
    return at.astimezone(UTC).isoformat()
