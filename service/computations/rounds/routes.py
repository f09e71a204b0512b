"""/v1/rounds: what is due today."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.computations.rounds.answer import todays_round
from service.computations.rounds.models import RoundRead
from service.errors import NotFound
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE
from service.resources.places.sites.queries import named

router = APIRouter(prefix="/rounds", tags=["rounds"])


@router.get("", response_model=RoundRead, responses=may_refuse(NotFound))
def read_round(
    door: DoorOf, site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")]
) -> Any:
    """What is due on a site today, in walking order: readings by their own habit, maintenance by its plans."""
    with door.read() as work:
        return todays_round(work.session, work.scope, named(work.session, work.scope, site), work.at)
