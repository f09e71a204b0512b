"""/v1/changes"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.access.rights import Right
from service.errors import Malformed, NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.paging import LARGEST_PAGE
from service.http.problems import may_refuse
from service.resources.records.chains import ChainNamed, chain_named
from service.resources.records.changes.models import ChangesRead
from service.resources.records.changes.queries import changes, place_named

router = APIRouter()


@router.get(
    "/changes",
    response_model=ChangesRead,
    responses=may_refuse(Malformed, NotFound, Unacceptable),
    operation_id="list_changes",
    tags=["changes"],
)
def list_changes(
    door: DoorOf,
    site: ChainNamed,
    after: Annotated[
        str, Query(max_length=40, description="0 to begin, then the `next_after` of the last page.")
    ] = "0",
    limit: Annotated[int, Query(ge=1, le=LARGEST_PAGE, description="Changes a page.")] = 100,
) -> Any:
    """Everything recorded, corrected, withdrawn or described since, in the order of commits: for mirrors.

    Ask again with `next_after` until `changes` is empty, and later from there. Late uploads come when they are stored.
    """
    with door.read() as work:
        found, last = changes(work, chain_named(work, site, Right.READ), place_named(after), limit)
        return {"changes": found, "next_after": str(last)}
