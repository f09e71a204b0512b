"""What was last read of a subject, and where its readings usually lie."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from uuid import UUID

import numpy as np
from sqlmodel import Session, col, func, select

from service.resources.keeping.records import RECORDED
from service.resources.records.readings.models import Reading

USUAL_WITHIN = timedelta(days=90)
FEWEST_FOR_USUAL = 5
USUAL_SHARE = (5.0, 95.0)  # percentiles
COUNTED = ("sample", "replicate")


@dataclass(frozen=True)
class Known:
    """What is known of one quantity of one subject: the last value and the middle nine tenths of the last 90 days'.

    Values in the canonical unit; `usual` is None below five readings.
    """

    subject_id: UUID
    quantity: str
    value: float
    at: datetime
    id: UUID
    version: int
    count: int
    usual: tuple[float, float] | None


def known_of(session: Session, subject_ids: Sequence[UUID], *, at: datetime) -> list[Known]:
    """For each subject and quantity what was last read before an instant, most often read first: two queries."""
    recent = list(_recent(session, subject_ids, at))
    fresh = {_subject_and_quantity(row) for row in recent}
    older = [row for row in _last(session, subject_ids, at) if _subject_and_quantity(row) not in fresh]
    found = [
        _known(list(rows)) for _, rows in groupby([*recent, *older], key=lambda row: (row.subject_id, row.quantity))
    ]
    return sorted(found, key=lambda known: -known.count)


def read_at(session: Session, site_id: UUID, *, at: datetime) -> dict[tuple[UUID, str], list[datetime]]:
    """When each quantity of each subject of a site was read within the last 90 days: one query."""
    statement = select(Reading.subject_id, Reading.quantity, Reading.at).where(
        Reading.site_id == site_id,
        Reading.state == RECORDED,
        col(Reading.purpose).in_(COUNTED),
        Reading.at >= at - USUAL_WITHIN,
        Reading.at <= at,
    )
    found: dict[tuple[UUID, str], list[datetime]] = {}
    for subject_id, quantity, instant in session.exec(statement):
        found.setdefault((subject_id, quantity), []).append(instant)
    return found


def _subject_and_quantity(row: Reading) -> tuple[UUID, str]:
    return row.subject_id, row.quantity


def _known(rows: Sequence[Reading]) -> Known:
    """Rows of one subject and quantity, the newest first."""
    newest, values = rows[0], [row.value for row in rows]
    usual = None
    if len(values) >= FEWEST_FOR_USUAL:
        low, high = np.percentile(values, USUAL_SHARE)
        usual = (float(low), float(high))
    return Known(
        newest.subject_id, newest.quantity, newest.value, newest.at, newest.id, newest.version, len(rows), usual
    )


def _recent(session: Session, subject_ids: Sequence[UUID], at: datetime) -> Iterable[Reading]:
    return session.exec(
        select(Reading)
        .where(
            col(Reading.subject_id).in_(subject_ids),
            Reading.state == RECORDED,
            col(Reading.purpose).in_(COUNTED),
            Reading.at >= at - USUAL_WITHIN,
            Reading.at <= at,
        )
        .order_by(col(Reading.subject_id), col(Reading.quantity), col(Reading.at).desc(), col(Reading.id))
    )


def _last(session: Session, subject_ids: Sequence[UUID], at: datetime) -> Iterable[Reading]:
    newest = (
        select(Reading.subject_id, Reading.quantity, func.max(Reading.at).label("at"))
        .where(
            col(Reading.subject_id).in_(subject_ids),
            Reading.state == RECORDED,
            col(Reading.purpose).in_(COUNTED),
            Reading.at <= at,
        )
        .group_by(col(Reading.subject_id), col(Reading.quantity))
        .subquery()
    )
    return session.exec(
        select(Reading)
        .join(
            newest,
            (col(Reading.subject_id) == newest.c.subject_id)
            & (col(Reading.quantity) == newest.c.quantity)
            & (col(Reading.at) == newest.c.at),
        )
        .where(Reading.state == RECORDED)
        .order_by(col(Reading.subject_id), col(Reading.quantity), col(Reading.id))
    )
