"""What maintenance tells computations: when something was as new again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.maintenance_events.models import MaintenanceEvent


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
