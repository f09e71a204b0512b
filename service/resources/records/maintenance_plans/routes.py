"""/v1/maintenance-plans and /v1/maintenance-plans/due"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Time
from service.resources.keeping.thing_routes import SiteFilter, thing_routes
from service.resources.places.sites.queries import id_named
from service.resources.records.maintenance_plans import queries
from service.resources.records.maintenance_plans.actions import MAINTENANCE_PLANS
from service.resources.records.maintenance_plans.models import MaintenancePlanRead

router = APIRouter()


@router.get(
    "/maintenance-plans/due",  # before the routes of one plan, which would take `due` for an id
    response_model=list[MaintenancePlanRead],
    responses=may_refuse(NotFound, Unacceptable),
    tags=["maintenance-plans"],
)
def list_due_maintenance(
    door: DoorOf,
    site: SiteFilter = None,
    at: Annotated[Time | None, Query(description="As it stood at this instant; left out, now.")] = None,
    days: Annotated[int, Query(ge=0, le=366, description="How many of the site's days ahead to look.")] = 7,
) -> Any:
    """The plans that are overdue, or due in the days to come: the longest overdue first."""
    with door.read() as work:
        site_id = None if site is None else id_named(work.session, work.scope, site)
        plans = queries.of_sites(work.session, work.scope, site_id)
        return [due.shown for due in queries.due_within(work.session, plans, at or work.at, days)]


router.include_router(thing_routes(MAINTENANCE_PLANS, site_named=id_named))
