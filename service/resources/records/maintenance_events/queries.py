"""What maintenance tells computations and plans: when something was as new again, and when it was last done."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import func, or_
from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.maintenance_events.models import MaintenanceEvent, what_key


def restorations(
    session: Session, subject_ids: Sequence[UUID], from_: datetime, to: datetime, *, quantity: str = "effluent_flow"
) -> dict[UUID, list[datetime]]:
    """When maintenance restored a quantity of each subject within [from_, to), in time order; one query.

    Every subject asked for is there, with an empty list when nothing was restored.
    """
    statement = (
        select(MaintenanceEvent)
        .where(
            col(MaintenanceEvent.subject_id).in_(subject_ids),
            MaintenanceEvent.state == RECORDED,
            col(MaintenanceEvent.at) >= from_,
            col(MaintenanceEvent.at) < to,
        )
        .order_by(col(MaintenanceEvent.at))
    )
    found: dict[UUID, list[datetime]] = {subject_id: [] for subject_id in subject_ids}
    for row in session.exec(statement):
        if quantity in row.restores:
            found[row.subject_id].append(row.at)
    return found


def last_done(session: Session, plans: Sequence[tuple[UUID, UUID, str]], at: datetime) -> dict[UUID, datetime | None]:
    """When each plan (its id, its subject, its `what`) was last done, up to and including an instant; two queries.

    An event counts for the plan it names. One that names none counts for every plan of its subject whose `what` it
    repeats, letter case and spacing aside.
    """
    latest = func.max(col(MaintenanceEvent.at))
    counted: list[Any] = [MaintenanceEvent.state == RECORDED, col(MaintenanceEvent.at) <= at]
    by_plan = dict(
        session.exec(
            select(MaintenanceEvent.plan_id, latest)
            .where(col(MaintenanceEvent.plan_id).in_([plan_id for plan_id, _, _ in plans]), *counted)
            .group_by(col(MaintenanceEvent.plan_id))
        ).all()
    )
    unnamed = session.exec(
        select(MaintenanceEvent.subject_id, MaintenanceEvent.what_key, latest)
        .where(
            col(MaintenanceEvent.subject_id).in_({subject_id for _, subject_id, _ in plans}),
            col(MaintenanceEvent.plan_id).is_(None),
            *counted,
        )
        .group_by(col(MaintenanceEvent.subject_id), col(MaintenanceEvent.what_key))
    )
    by_words = {(subject_id, words): done for subject_id, words, done in unnamed}
    return {
        plan_id: max(filter(None, (by_plan.get(plan_id), by_words.get((subject_id, what_key(what))))), default=None)
        for plan_id, subject_id, what in plans
    }


def last_about(
    session: Session, subject_ids: Sequence[UUID], words: Sequence[str], at: datetime
) -> MaintenanceEvent | None:
    """The latest test or inspection of any of these subjects whose `what` has one of the words; None where none is."""
    said = or_(*(col(MaintenanceEvent.what_key).contains(word, autoescape=True) for word in words))
    is_test = or_(col(MaintenanceEvent.kind) == "inspection", col(MaintenanceEvent.what_key).contains("test"))
    statement = (
        select(MaintenanceEvent)
        .where(
            col(MaintenanceEvent.subject_id).in_(subject_ids),
            MaintenanceEvent.state == RECORDED,
            col(MaintenanceEvent.at) <= at,
            said,
            is_test,
        )
        .order_by(col(MaintenanceEvent.at).desc())
        .limit(1)
    )
    return session.exec(statement).first()
