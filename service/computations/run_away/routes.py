"""/v1/equipment/{id}/run-away: how soon a reactor's gas would harm its systems, and what a cut-off can do."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.computations.run_away.answer import answered
from service.computations.run_away.gather import gather
from service.computations.run_away.models import ReactorRunAwayRead
from service.computations.run_away.situation import TANK_PH_READS, USUAL_DELAY_MINUTES, USUAL_FLOW_G_H, Asked
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.gas_lines.models import REACTOR
from service.resources.equipment.pieces import queries as pieces

router = APIRouter(prefix="/equipment", tags=["reactors"])
LOWEST, HIGHEST = TANK_PH_READS


class Question:
    """What a run-away may be asked for: an instant, a flow, how the cut-off shuts, how low is too low."""

    def __init__(
        self,
        at: AskedAt = None,
        flow: Annotated[
            float | None, Query(gt=0, le=1e5, description="Gas that runs through what is stuck open, g/h.")
        ] = None,
        delay_minutes: Annotated[
            float | None,
            Query(
                ge=0,
                le=600,
                description="From the water passing the cut-off to the gas having stopped; left out, the closing time "
                "of the last signed test, else 5.",
            ),
        ] = None,
        held_gas: Annotated[
            float, Query(ge=0, le=1e5, description="Gas that chamber and line still give after that, g.")
        ] = 0.0,
        stays_above_ph: Annotated[
            float | None,
            Query(ge=LOWEST, le=HIGHEST, description="For the largest flow; left out, 7.5 or 0.1 below the cut-off."),
        ] = None,
    ) -> None:
        self.at = at
        self.asked = Asked(
            flow_g_h=USUAL_FLOW_G_H if flow is None else flow,
            delay_minutes=USUAL_DELAY_MINUTES if delay_minutes is None else delay_minutes,
            delay_is_assumed=delay_minutes is None,
            held_gas_g=held_gas,
            stays_above_ph=stays_above_ph,
            flow_is_assumed=flow is None,
        )


@router.get(
    "/{reactor_id}/run-away",
    response_model=ReactorRunAwayRead,
    responses={**UNCHANGED, **may_refuse(NotFound, Unacceptable)},
)
def read_run_away(
    reactor_id: Annotated[Id, Path(description="The reactor's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    question: Annotated[Question, Depends(Question)],
) -> Any:
    """How soon a reactor's gas would lower the pH of its systems, how far, and what the cut-off can do about it."""
    with door.read() as work:
        reactor = pieces.one(work.session, work.scope, reactor_id, pointer="reactor_id", place="path")
        pieces.require_kind(reactor, REACTOR, pointer="reactor_id", place="path")
        instant = question.at or resolved(work.session, [reactor.site_id], work.at)
        tag = tag_for(work.session, request, site_ids=[reactor.site_id], at=instant, form="json")
        response.headers["ETag"] = tag
        held = held_already(request, tag)
        if held is not None:
            return held
        records = gather(work.session, reactor, instant, question.asked)
        return {
            **answered(records.situation, at=instant),
            "reactor_id": reactor.id,
            "at": instant,
            "used": {"readings": records.readings},
            "set_aside": records.set_aside,
        }
