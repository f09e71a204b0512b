"""POST /v1/systems/{id}/projection: what a system's water does in the days to come, under a plan."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Path

from service.access.caller import Work
from service.computations.consumption.gather import gather
from service.computations.output_balance.gather import gather as gather_reactors
from service.computations.projection.answer import shown
from service.computations.projection.models import ProjectionRead, ProjectionSent
from service.computations.projection.plan import Reactor, reactor_ahead
from service.computations.pulls import resolved
from service.computations.timeframe import volumes
from service.errors import NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System

router = APIRouter(prefix="/systems", tags=["consumption"])

WINDOW = timedelta(days=180)
JUST_AFTER = timedelta(microseconds=1)


@router.post(
    "/{system_id}/projection", response_model=ProjectionRead, responses=may_refuse(NotFound, Unacceptable, TooLarge)
)
def project_system(
    system_id: Annotated[Id, Path(description="The system's id.")], sent: ProjectionSent, door: DoorOf
) -> Any:
    """Alkalinity over 1 to 60 days under changed drip, gas, dosing, limewater and water changes. Stores nothing."""
    with door.read() as work:
        system = systems.one(work.session, work.scope, system_id, pointer="system_id", place="path")
        at = sent.at or resolved(work.session, [system.site_id], work.at)
        found = gather(work.session, [system], "alkalinity", start=at - WINDOW, end=at + JUST_AFTER)[system.id]
        volume = volumes(work.session, [system.id])[system.id]
        reactors = _reactors(work, system, sent, at)
        return shown(system, sent, at, found, reactors, None if volume is None else volume.at(at))


def _reactors(work: Work, system: System, sent: ProjectionSent, at: datetime) -> list[Reactor]:
    """The reactors that feed the system, each with its plan. Raises Unacceptable for one that does not."""
    ids = sorted({feed.reactor_id for feed in feeds_into(work.session, [system.id]) if feed.span.holds_at(at)})
    wanted = {plan.reactor_id: plan for plan in sent.reactors}
    places = {plan.reactor_id: f"/reactors/{index}" for index, plan in reversed([*enumerate(sent.reactors)])}
    for index, plan in enumerate(sent.reactors):
        if places[plan.reactor_id] != f"/reactors/{index}":
            detail = "This reactor is planned twice. Say all that is turned at it in one place."
            raise refused(f"/reactors/{index}/reactor_id", detail, str(plan.reactor_id))
        if plan.reactor_id not in ids:
            detail = "No such reactor feeds this system at that instant. Describe the feed, or leave it out."
            raise refused(f"/reactors/{index}/reactor_id", detail, str(plan.reactor_id))
    rows = [pieces.one(work.session, work.scope, each, pointer="reactor_id", place="body") for each in ids]
    records = gather_reactors(work.session, rows, at) if rows else {}
    return [reactor_ahead(records[row.id], system.id, wanted.get(row.id), places.get(row.id, "")) for row in rows]
