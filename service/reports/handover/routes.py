"""/v1/reports/handover"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE
from service.reports.handover.compute import handover_report
from service.reports.handover.models import HandoverReport
from service.resources.places.sites import queries as sites

router = APIRouter(prefix="/reports", tags=["reports"])


@router.get("/handover", response_model=HandoverReport, responses=may_refuse(NotFound, Unacceptable))
def read_handover_report(
    door: DoorOf, site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")]
) -> Any:
    """What changed on a site since somebody last took note of a handover, system by system as they are walked.

    To move the mark, take note of a handover: POST to /v1/handovers/{id}/acknowledgement.
    """
    with door.read() as work:
        return handover_report(work.session, sites.named(work.session, work.scope, site), work.at)
