"""/v1/readings"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.access.rights import Right
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.resources.keeping.record_routes import Key, record_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.readings.actions import READINGS, Refused, record_batch
from service.resources.records.readings.models import BatchRead, ReadingBatch

router = APIRouter()


@router.post(
    "/readings/batch", response_model=BatchRead, responses=may_refuse(Unacceptable, TooLarge), tags=["readings"]
)
def record_reading_batch(sent: ReadingBatch, door: DoorOf, key: Key = None) -> Any:
    """Record many readings, each with its own result in input order."""
    try:
        with door.write(Right.RECORD) as work:
            return {"results": record_batch(work, sent, key)}
    except Refused as refused:
        return {"results": refused.results}


router.include_router(record_routes(READINGS, site_named=id_named))
