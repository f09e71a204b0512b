"""/v1/gas-lines/{id}/gas-forecast and /v1/equipment/{id}/gas-forecast"""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Path, Query, Request, Response

from service.access.caller import Work
from service.computations.gas_forecast.answer import forecasts, shown
from service.computations.gas_forecast.gather import gather
from service.computations.gas_forecast.models import GasForecastRead
from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.gas_lines.actions import GAS_LINES
from service.resources.equipment.gas_lines.models import CYLINDER, GasLine
from service.resources.equipment.gas_lines.queries import line_of
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.keeping.things import found
from service.resources.places.sites.models import Site

router = APIRouter(tags=["gas"])
RESPONSES: dict[int | str, dict[str, Any]] = {
    **UNCHANGED,
    **may_refuse(NotFound, Unacceptable),
}


class Question:
    """What a gas forecast may be asked for: an instant, a range of temperature, a lead time."""

    def __init__(
        self,
        at: AskedAt = None,
        lowest_temperature: Annotated[
            float, Query(ge=-20, le=50, description="Of the cylinder, degrees Celsius.")
        ] = 18,
        highest_temperature: Annotated[
            float, Query(ge=-20, le=50, description="Of the cylinder, degrees Celsius.")
        ] = 26,
        lead_days: Annotated[int, Query(ge=0, le=90, description="Days that a new cylinder takes to arrive.")] = 7,
    ) -> None:
        if highest_temperature < lowest_temperature:
            detail = "The highest temperature is below the lowest. Exchange them."
            raise refused("highest_temperature", detail, highest_temperature)
        self.at = at
        self.temperature_c = (lowest_temperature, highest_temperature)
        self.lead = timedelta(days=lead_days)


QuestionOf = Annotated[Question, Depends(Question)]


@router.get("/gas-lines/{line_id}/gas-forecast", response_model=GasForecastRead, responses=RESPONSES)
def read_gas_line_forecast(
    line_id: Annotated[Id, Path(description="The gas line's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    question: QuestionOf,
) -> Any:
    """How long the gas on a line lasts, by weighing."""
    with door.read() as work:
        line = found(work, GAS_LINES, line_id)
        return _answered(work, request, response, question, line.site_id, line, None)


@router.get("/equipment/{cylinder_id}/gas-forecast", response_model=GasForecastRead, responses=RESPONSES)
def read_cylinder_forecast(
    cylinder_id: Annotated[Id, Path(description="The cylinder's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    question: QuestionOf,
) -> Any:
    """How long the gas of the line lasts that this cylinder is on."""
    with door.read() as work:
        cylinder = pieces.one(work.session, work.scope, cylinder_id, pointer="cylinder_id", place="path")
        pieces.require_kind(cylinder, CYLINDER, pointer="cylinder_id", place="path")
        at = question.at or resolved(work.session, [cylinder.site_id], work.at)
        line_id = line_of(work.session, [cylinder.id], at).get(cylinder.id)
        line = None if line_id is None else work.session.get_one(GasLine, line_id)
        return _answered(work, request, response, question, cylinder.site_id, line, cylinder.id)


def _answered(
    work: Work,
    request: Request,
    response: Response,
    question: Question,
    site_id: UUID,
    line: GasLine | None,
    cylinder_id: UUID | None,
) -> Any:
    at = question.at or resolved(work.session, [site_id], work.at)
    tag = tag_for(work.session, request, site_ids=[site_id], at=at, form="json")
    held = held_already(request, tag)
    if held is not None:
        return held
    response.headers["ETag"] = tag
    records = None if line is None else gather(work.session, [line], at)[line.id]
    forecast = None if records is None else forecasts([records], at=at, temperature_c=question.temperature_c)[0]
    return shown(
        records,
        forecast,
        at=at,
        zone=ZoneInfo(work.session.get_one(Site, site_id).time_zone),
        lead=question.lead,
        temperature_c=question.temperature_c,
        cylinder_id=cylinder_id,
    )
