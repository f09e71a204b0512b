"""/v1/reports/handover"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Time
from service.reports.handover.compute import handover_report
from service.reports.handover.mark import chosen, mark_of
from service.reports.handover.models import HandoverReport
from service.resources.places.sites import queries as sites

router = APIRouter(prefix="/reports", tags=["reports"])


@router.get("/handover", response_model=HandoverReport, responses=may_refuse(NotFound, Unacceptable))
def read_handover_report(
    door: DoorOf,
    site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")],
    since: Annotated[Time | None, Query(description="Begin at an instant of the last seven days instead.")] = None,
) -> Any:
    """What changed on a site since somebody last took it over, system by system as they are walked.

    To take over: PUT to /v1/takeovers/{id} with `read_to` and `at` of the report. Those who take over within three
    hours of each other read the same list.
    """
    with door.read() as work:
        of = sites.named(work.session, work.scope, site)
        if since is not None:
            mark = chosen(work.session, of.id, since, work.at)
        else:
            mark = mark_of(work.session, of.id, work.at, reader_id=work.caller.id)
        return handover_report(work.session, of, mark, work.at)
