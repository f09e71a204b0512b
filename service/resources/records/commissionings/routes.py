"""/v1/commissionings"""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from service.access import devices
from service.access.caller import Caller
from service.access.rights import Right
from service.errors import Conflict, NotFound, TooLarge, TooMany, Unacceptable
from service.http.caller import Door, DoorOf
from service.http.conditional import tag_of
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Reason
from service.resources.keeping.record_routes import RecordId, record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.commissionings import actions
from service.resources.records.commissionings.models import (
    Commissioning,
    CommissioningRead,
    EvidenceSent,
    SignatureSent,
    body,
)

router = APIRouter()
ONE = "/commissionings/{record_id}"
StepCode = Annotated[str, Path(max_length=40, pattern=PRINTABLE, description="The step's code.")]
REFUSALS = may_refuse(NotFound, Conflict, Unacceptable, TooLarge)
SIGNING = may_refuse(NotFound, Conflict, Unacceptable, TooLarge, TooMany)
KNOWN: dict[int | str, dict[str, Any]] = {200: {"model": CommissioningRead, "description": "Known already: confirmed"}}
TAGS: list[Any] = ["commissionings"]


@router.post(
    ONE + "/steps/{code}", response_model=CommissioningRead, status_code=201, responses=REFUSALS | KNOWN, tags=TAGS
)
def record_step(record_id: RecordId, code: StepCode, sent: EvidenceSent, door: DoorOf, response: Response) -> Any:
    """Record the next step with its evidence; the same again confirms it."""
    with door.write(Right.RECORD) as work:
        row, is_new = actions.step_recorded(work, record_id, code, sent)
        response.status_code = 201 if is_new else 200
        return _answer(response, row)


@router.post(ONE + "/steps/{code}/sign", response_model=CommissioningRead, responses=SIGNING, tags=TAGS)
def sign_step(
    record_id: RecordId, code: StepCode, sent: SignatureSent, door: DoorOf, request: Request, response: Response
) -> Any:
    """Sign a step as the second person, where four eyes are asked for: signed in, or by PIN on a shared device."""
    signer = _signer(sent, door, request)
    with door.write(Right.RECORD) as work:
        return _answer(response, actions.step_signed(replace(work, caller=signer), record_id, code, sent.note))


@router.post(ONE + "/steps/{code}/withdrawal", response_model=CommissioningRead, responses=REFUSALS, tags=TAGS)
def take_back_step(record_id: RecordId, code: StepCode, sent: Reason, door: DoorOf, response: Response) -> Any:
    """Take back the last recorded step, with a reason; what was recorded stays visible."""
    with door.write(Right.CORRECT) as work:
        return _answer(response, actions.step_taken_back(work, record_id, code, sent.reason))


@router.post(ONE + "/sign", response_model=CommissioningRead, responses=SIGNING, tags=TAGS)
def sign_commissioning(
    record_id: RecordId, sent: SignatureSent, door: DoorOf, request: Request, response: Response
) -> Any:
    """Sign a run whose steps are all done; what was commissioned is in service, and a plan that asks for it is done."""
    signer = _signer(sent, door, request)
    with door.write(Right.RECORD) as work:
        return _answer(response, actions.signed(replace(work, caller=signer), record_id, sent.note))


def _signer(sent: SignatureSent, door: Door, request: Request) -> Caller:
    """Who signs: the caller, or whoever typed their PIN beside them on a shared device."""
    if sent.person_id is None or sent.pin is None:
        return door.caller
    door.require(Right.RECORD)
    state = request.app.state
    return devices.vouched(
        state.database,
        state.hasher,
        door.caller,
        person_id=sent.person_id,
        pin=sent.pin.get_secret_value(),
        at=state.clock(),
        address=door.caller.origin,
    )


def _answer(response: Response, row: Commissioning) -> dict[str, Any]:
    response.headers["ETag"] = tag_of(row.version)
    return body(row)


router.include_router(record_routes(actions.COMMISSIONINGS, site_named=id_named))
