"""Describing maintenance plans, and changing them."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from service.access.caller import Work
from service.access.rights import Right
from service.resources.keeping.amounts import refused
from service.resources.keeping.things import Thing
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import subject_of
from service.resources.records.maintenance_plans import queries
from service.resources.records.maintenance_plans.models import (
    MAINTENANCE_PLAN,
    MaintenancePlan,
    MaintenancePlanPatch,
    MaintenancePlanRead,
    MaintenancePlanSent,
)
from service.resources.records.maintenance_plans.recurrence import NotARule, read
from service.storage.types import new_id


def describe(work: Work, sent: MaintenancePlanSent) -> MaintenancePlan:
    """The new plan. Raises NotFound or Unacceptable, each naming its field."""
    subject = subject_of(work.session, work.scope, sent.subject_id)
    site = sites.one(work.session, work.scope, subject.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    start = sent.from_.astimezone(UTC)
    return MaintenancePlan(
        id=new_id(),
        site_id=site.id,
        subject_id=subject.id,
        what=sent.what,
        kind=sent.kind,
        recurrence=_checked(sent.recurrence, start, site.time_zone),
        counts_from=sent.counts_from,
        from_at=start,
        to_at=_end(sent.to, start, may_be_empty=False),
        procedure=sent.procedure,
        described_at=work.at,
    )


def amend(work: Work, plan: MaintenancePlan, patch: MaintenancePlanPatch) -> None:
    """Change what the patch names. A plan that ends where it begins never held: a mistake, undone."""
    if patch.recurrence is not None:
        site = sites.one(work.session, work.scope, plan.site_id)
        plan.recurrence = _checked(patch.recurrence, plan.from_at, site.time_zone)
    if "to" in patch.model_fields_set:
        plan.to_at = _end(patch.to, plan.from_at, may_be_empty=True)
    if "procedure" in patch.model_fields_set:
        plan.procedure = patch.procedure
    for name in ("what", "kind", "counts_from"):
        value = getattr(patch, name)
        if value is not None:
            setattr(plan, name, value)


def _checked(text: str, start: datetime, zone: str) -> str:
    try:
        return read(text, begun=start.astimezone(ZoneInfo(zone)).date()).text
    except NotARule as error:
        raise refused("/recurrence", str(error), text) from error


def _end(to: datetime | None, start: datetime, *, may_be_empty: bool) -> datetime | None:
    end = None if to is None else to.astimezone(UTC)
    if end is not None and (end < start or (end == start and not may_be_empty)):
        raise refused("/to", f"An end after the beginning, {start.isoformat()}, is expected.", to)
    return end


MAINTENANCE_PLANS = Thing(
    kept=MAINTENANCE_PLAN,
    singular="maintenance_plan",
    plural="maintenance_plans",
    sent=MaintenancePlanSent,
    patch=MaintenancePlanPatch,
    read=MaintenancePlanRead,
    describe=describe,
    amend=amend,
    show=queries.shown,
)
