"""/v1/equipment/{id}/media-forecast: what is left of a reactor's media, and when to refill."""

from __future__ import annotations

from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Request, Response

from service.computations.media_forecast.answer import shown
from service.computations.media_forecast.gather import gather
from service.computations.media_forecast.models import MediaForecastRead
from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.gas_lines.models import REACTOR
from service.resources.equipment.pieces import queries as pieces
from service.resources.places.sites.models import Site
from service.science.media import REFILL_AT_FRACTION

router = APIRouter(prefix="/equipment", tags=["reactors"])


@router.get(
    "/{reactor_id}/media-forecast",
    response_model=MediaForecastRead,
    responses={**UNCHANGED, **may_refuse(NotFound, Unacceptable)},
)
def read_media_forecast(
    reactor_id: Annotated[Id, Path(description="The reactor's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    at: AskedAt = None,
    refill_at: Annotated[
        float, Query(ge=0, lt=1, description="The part of the most there was, at which to refill.")
    ] = REFILL_AT_FRACTION,
) -> Any:
    """What has dissolved of the media by what the reactor has brought, and when it is time to refill."""
    with door.read() as work:
        reactor = pieces.one(work.session, work.scope, reactor_id, pointer="reactor_id", place="path")
        pieces.require_kind(reactor, REACTOR, pointer="reactor_id", place="path")
        instant = at or resolved(work.session, [reactor.site_id], work.at)
        tag = tag_for(work.session, request, site_ids=[reactor.site_id], at=instant, form="json")
        response.headers["ETag"] = tag
        held = held_already(request, tag)
        if held is not None:
            return held
        zone = ZoneInfo(work.session.get_one(Site, reactor.site_id).time_zone)
        return shown(gather(work.session, [reactor], instant)[reactor.id], zone=zone, refill_at_fraction=refill_at)
