"""What was set at an instant, and how it changed over time."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.places.set_points.models import SetPoint


def history(
    session: Session, subject_ids: Sequence[UUID], *, quantity: str | None = None
) -> dict[UUID, list[SetPoint]]:
    """The set-points that hold for each subject, in time order; of one quantity or of all."""
    statement = (
        select(SetPoint)
        .where(col(SetPoint.subject_id).in_(subject_ids), SetPoint.state == RECORDED)
        .order_by(col(SetPoint.at), col(SetPoint.recorded_at))
    )
    if quantity is not None:
        statement = statement.where(SetPoint.quantity == quantity)
    found: dict[UUID, list[SetPoint]] = {subject_id: [] for subject_id in subject_ids}
    for row in session.exec(statement):
        found[row.subject_id].append(row)
    return found


def in_force(history: Sequence[SetPoint], at: datetime) -> dict[str, SetPoint]:
    """Of one subject's history: the set-point of each quantity that holds at an instant."""
    return {row.quantity: row for row in history if row.at <= at}


def beginning_at(session: Session, subject_id: UUID, quantity: str, at: datetime) -> SetPoint | None:
    """The set-point of this quantity that begins at exactly this instant, if there is one."""
    statement = select(SetPoint).where(
        SetPoint.subject_id == subject_id,
        SetPoint.quantity == quantity,
        SetPoint.at == at,
        SetPoint.state == RECORDED,
    )
    return session.exec(statement).first()
