"""/v1/handovers"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Response

from service.access.rights import Right
from service.errors import Conflict, NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.conditional import tag_of
from service.http.problems import may_refuse
from service.resources.keeping.record_routes import RecordId, record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.handovers.actions import HANDOVERS, acknowledged
from service.resources.records.handovers.models import HandoverRead, body

router = APIRouter()


@router.post(
    "/handovers/{record_id}/acknowledgement",
    response_model=HandoverRead,
    responses=may_refuse(NotFound, Conflict, Unacceptable),
    tags=["handovers"],
)
def acknowledge_handover(record_id: RecordId, door: DoorOf, response: Response) -> Any:
    """Take note of a handover: once; the answer says who did and when."""
    with door.write(Right.RECORD) as work:
        row = acknowledged(work, record_id)
        response.headers["ETag"] = tag_of(row.version)
        return body(row)


router.include_router(record_routes(HANDOVERS, site_named=id_named))
