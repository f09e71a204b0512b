"""Maintenance by plan: what is overdue at the report's instant, and what is due in the seven days after it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.places.sites.models import Site
from service.resources.records.maintenance_plans.models import MaintenancePlan
from service.resources.records.maintenance_plans.queries import Due, due_within

DAYS_AHEAD = 7


def due_of(session: Session, site: Site, at: datetime) -> list[Due]:
    """The site's plans that were described by then and are overdue or due soon; a fixed number of queries."""
    statement = (
        select(MaintenancePlan)
        .where(MaintenancePlan.site_id == site.id, col(MaintenancePlan.described_at) <= at)
        .order_by(col(MaintenancePlan.id))
    )
    return due_within(session, session.exec(statement).all(), at, DAYS_AHEAD)


def shown(due: Due, names: Mapping[UUID, str]) -> dict[str, Any]:
    """One plan as the report has it."""
    plan, overdue = due.plan, due.overdue_days
    assert due.next_due_on is not None
    return {
        "plan_id": plan.id,
        "subject_id": plan.subject_id,
        "subject": names.get(plan.subject_id, "?"),
        "what": plan.what,
        "kind": plan.kind,
        "last_done_at": due.last_done_at,
        "next_due_on": due.next_due_on,
        "overdue_days": overdue,
        "words": _words(due.next_due_on, due.today),
        "procedure": plan.procedure,
    }


def _words(due_on: date, today: date) -> str:
    days = (today - due_on).days
    if days > 0:
        return f"{days} day{'' if days == 1 else 's'} overdue"
    if days == 0:
        return "due today"
    return f"due on {due_on:%A} {due_on.day} {due_on:%B}"
