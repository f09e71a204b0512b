"""/v1/audit"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.access.rights import Right
from service.errors import Fault, Malformed, NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.paging import Page, PageOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.records.audit.models import AuditRead
from service.resources.records.audit.queries import entries, shown
from service.resources.records.chains import ChainNamed, chain_named

router = APIRouter()


@router.get(
    "/audit",
    response_model=list[AuditRead],
    responses=may_refuse(Malformed, NotFound, Unacceptable),
    operation_id="list_audit_entries",
    tags=["audit"],
)
def list_audit_entries(
    door: DoorOf,
    page: PageOf,
    site: ChainNamed,
    thing: Annotated[Id | None, Query(description="Only what happened to this record or described thing.")] = None,
    actor: Annotated[Id | None, Query(description="Only what this person or token did.")] = None,
) -> Any:
    """The audit trail of a site or of the installation, the newest last. Supervisors and administrators read it."""
    with door.read(Right.DESCRIBE) as work:
        chain_id = chain_named(work, site, Right.DESCRIBE)
        rows = entries(
            work.session,
            chain_id,
            after_seq=_after_seq(page),
            limit=page.limit + 1,
            thing_id=thing,
            actor_id=actor,
        )
        return shown(work.session, page.close(rows, lambda row: [row.seq]))


def _after_seq(page: Page) -> int:
    match page.after:
        case None:
            return 0
        case [int() as seq] if not isinstance(seq, bool) and 0 <= seq < 2**31:
            return seq
        case _:
            detail = "This cursor was not made by this list. Start again without one and follow the Link headers."
            raise Malformed(detail, (Fault("cursor", detail, None, "query"),))
