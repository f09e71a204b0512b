"""Finding maintenance plans, when each was last done and when each is due next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.access.caller import Scope
from service.errors import Fault, NotFound
from service.resources.equipment.pieces.models import RETIRED, Equipment
from service.resources.keeping.amounts import refused
from service.resources.places.sites.models import Site
from service.resources.records.commissionings.queries import last_finished
from service.resources.records.maintenance_events.queries import last_done
from service.resources.records.maintenance_plans.models import MaintenancePlan, body
from service.resources.records.maintenance_plans.recurrence import known
from service.resources.records.procedures.queries import procedures


@dataclass(frozen=True)
class Due:
    """One plan at an instant: when it was last done, the day it is due on, and today, both by the site's clock."""

    plan: MaintenancePlan
    last_done_at: datetime | None
    next_due_on: date | None
    today: date

    @property
    def overdue_days(self) -> int | None:
        """Days since it was due; 0 while it is not overdue, None when nothing is due."""
        return None if self.next_due_on is None else max(0, (self.today - self.next_due_on).days)

    @property
    def shown(self) -> dict[str, Any]:
        """The plan's answer."""
        return {
            **body(self.plan),
            "last_done_at": self.last_done_at,
            "next_due_on": self.next_due_on,
            "overdue_days": self.overdue_days,
        }


def one_for(session: Session, scope: Scope, plan_id: UUID, *, site_id: UUID, subject_id: UUID) -> MaintenancePlan:
    """The plan that an event names. Raises NotFound, also for another site's, Unacceptable for another subject's."""
    plan = session.get(MaintenancePlan, plan_id)
    if plan is None or plan.site_id not in scope or plan.site_id != site_id:
        detail = "There is no maintenance plan with this id on this site."
        raise NotFound(detail, (Fault("/plan_id", detail, str(plan_id)),))
    if plan.subject_id != subject_id:
        raise refused("/plan_id", "This plan is for something else. Name a plan of the event's subject.", str(plan_id))
    return plan


def of_sites(session: Session, scope: Scope, site_id: UUID | None) -> list[MaintenancePlan]:
    """Every plan of a site, or of every site within the scope, in the order of their ids."""
    statement = select(MaintenancePlan).where(scope.holds(MaintenancePlan.site_id)).order_by(col(MaintenancePlan.id))
    return list(session.exec(statement if site_id is None else statement.where(MaintenancePlan.site_id == site_id)))


def dues(session: Session, plans: Sequence[MaintenancePlan], at: datetime) -> list[Due]:
    """How each plan stands at an instant, in order; a fixed number of queries however many."""
    site_ids = {plan.site_id for plan in plans}
    zones = dict(session.exec(select(Site.id, Site.time_zone).where(col(Site.id).in_(site_ids))).all())
    retired = _retired(session, {plan.subject_id for plan in plans})
    told = last_done(session, [(plan.id, plan.subject_id, plan.what) for plan in plans], at)
    runs = last_finished(session, {plan.subject_id for plan in plans if code_of(plan) is not None}, at)
    done = {
        plan.id: max(filter(None, (told[plan.id], runs.get((plan.subject_id, code_of(plan) or "")))), default=None)
        for plan in plans
    }
    return [
        _due(plan, done[plan.id], at, ZoneInfo(zones[plan.site_id]), is_retired=plan.subject_id in retired)
        for plan in plans
    ]


def code_of(plan: MaintenancePlan) -> str | None:
    """The procedure that fulfils a plan: what its `procedure` says, where that is a code of /v1/procedures."""
    code = (plan.procedure or "").strip()
    return code if code in procedures() else None


def shown(session: Session, rows: Sequence[MaintenancePlan], at: datetime) -> list[dict[str, Any]]:
    """Plans with how they stand at an instant, in order."""
    return [due.shown for due in dues(session, rows, at)]


def due_within(session: Session, plans: Sequence[MaintenancePlan], at: datetime, days: int) -> list[Due]:
    """Of these plans, those due up to so many of the site's days after the instant's own; the longest overdue first."""
    last = timedelta(days=days)
    found = [
        (due.next_due_on, due)
        for due in dues(session, plans, at)
        if due.next_due_on is not None and due.next_due_on <= due.today + last
    ]
    return [due for _, due in sorted(found, key=lambda each: (each[0], each[1].plan.what, each[1].plan.id))]


def next_due(plan: MaintenancePlan, last_done_at: datetime | None, zone: ZoneInfo) -> date | None:
    """The site's day on which the plan is due next; None when that is not before its end."""
    rule, begun = known(plan.recurrence), _day(plan.from_at, zone)
    if last_done_at is None:
        due = rule.next_on_or_after(begun, begun=begun)
    elif plan.counts_from == "calendar":
        due = rule.next_on_or_after(_day(last_done_at, zone) + timedelta(days=1), begun=begun)
    else:
        due = rule.next_after_done(_day(last_done_at, zone))
        due = None if due is None else max(due, begun)
    ends_on = None if plan.to_at is None else _day(plan.to_at, zone)
    return None if due is None or (ends_on is not None and due >= ends_on) else due


def _due(
    plan: MaintenancePlan, last_done_at: datetime | None, at: datetime, zone: ZoneInfo, *, is_retired: bool
) -> Due:
    today = _day(at, zone)
    has_ended = plan.to_at is not None and _day(plan.to_at, zone) <= today
    due = None if is_retired or has_ended else next_due(plan, last_done_at, zone)
    return Due(plan, last_done_at, due, today)


def _day(at: datetime, zone: ZoneInfo) -> date:
    return at.astimezone(zone).date()


def _retired(session: Session, subject_ids: set[UUID]) -> set[UUID]:
    statement = select(Equipment.id).where(col(Equipment.id).in_(subject_ids), Equipment.state == RETIRED)
    return set(session.exec(statement))
