"""The recalibrations in force on series."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.recalibrations.models import Recalibration
from service.resources.records.series.recalibrated import Line, Lines
from service.storage.types import microseconds


def in_force(session: Session, series_ids: Sequence[UUID]) -> Mapping[UUID, Lines]:
    """The lines that make each series right, of two that overlap the later recorded last; one query."""
    statement = (
        select(Recalibration)
        .where(col(Recalibration.series_id).in_(series_ids), Recalibration.state == RECORDED)
        .order_by(col(Recalibration.recorded_at), col(Recalibration.id))
    )
    found: dict[UUID, list[Line]] = {}
    for row in session.exec(statement):
        line = Line(microseconds(row.at), microseconds(row.to_at), row.slope, row.shift)
        found.setdefault(row.series_id, []).append(line)
    return {series_id: tuple(lines) for series_id, lines in found.items()}
