"""POST /v1/systems/{id}/projection: what a system's water does in the days to come, under a plan."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path

from service.computations.projection.answer import shown
from service.computations.projection.gather import gather
from service.computations.projection.models import ProjectionRead, ProjectionSent
from service.computations.pulls import resolved
from service.errors import NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.places.systems import queries as systems

router = APIRouter(prefix="/systems", tags=["consumption"])


@router.post(
    "/{system_id}/projection", response_model=ProjectionRead, responses=may_refuse(NotFound, Unacceptable, TooLarge)
)
def project_system(
    system_id: Annotated[Id, Path(description="The system's id.")], sent: ProjectionSent, door: DoorOf
) -> Any:
    """Alkalinity and pH over 1 to 60 days under a plan, with the gas and media that it takes. Stores nothing.

    A plan changes drip, gas, chamber pH, dosing, limewater and water changes, or names a pH that is wanted. It is taken
    in as few equal stages, three days apart, as leave no day's change above the allowed; they are listed.
    """
    with door.read() as work:
        system = systems.one(work.session, work.scope, system_id, pointer="system_id", place="path")
        at = sent.at or resolved(work.session, [system.site_id], work.at)
        return shown(gather(work, system, sent, at), sent)
