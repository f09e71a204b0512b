"""Reading series: their points within a span, and the hours of many at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

import numpy as np
from sqlalchemy import BigInteger, ColumnElement, and_, case, func, not_, or_, select, type_coerce
from sqlmodel import Session, col

from service.access.caller import Scope
from service.resources.records.series.blocks import (
    DAY_US,
    HOUR_US,
    SUM,
    Points,
    Sums,
    hours_of,
    in_order,
    merged,
    unpacked,
)
from service.resources.records.series.models import Series, SeriesBatch, SeriesBlock
from service.resources.records.series.recalibrated import Lines, cut_hours, right_hours, right_points
from service.storage.types import instant


def of_subjects(session: Session, subject_ids: Sequence[UUID], quantity: str) -> Sequence[Series]:
    """The series of a quantity that these subjects have, in a fixed order; one query."""
    statement = (
        select(Series)
        .where(col(Series.subject_id).in_(subject_ids), col(Series.quantity) == quantity, col(Series.count) > 0)
        .order_by(col(Series.subject_id), col(Series.id))
    )
    return session.execute(statement).scalars().all()


def visible(
    session: Session,
    scope: Scope,
    *,
    site_id: UUID | None,
    subject_id: UUID | None,
    quantity: str | None,
    after: UUID | None,
    limit: int,
) -> Sequence[Series]:
    """Up to `limit` series within the scope behind an id, by id; of one site, subject or quantity when asked."""
    statement = select(Series).where(scope.holds(Series.site_id), col(Series.count) > 0).order_by(col(Series.id))
    for column, wanted in (
        (Series.site_id, site_id),
        (Series.subject_id, subject_id),
        (Series.quantity, quantity),
    ):
        if wanted is not None:
            statement = statement.where(col(column) == wanted)
    if after is not None:
        statement = statement.where(col(Series.id) > after)
    return session.execute(statement.limit(limit)).scalars().all()


def batches(
    session: Session, scope: Scope, *, subject_id: UUID | None, quantity: str | None, before: UUID | None, limit: int
) -> Sequence[SeriesBatch]:
    """Up to `limit` batches within the scope, the last recorded first; of one subject or quantity when asked."""
    statement = select(SeriesBatch).where(scope.holds(SeriesBatch.site_id)).order_by(col(SeriesBatch.id).desc())
    if subject_id is not None:
        statement = statement.where(col(SeriesBatch.subject_id) == subject_id)
    if quantity is not None:
        statement = statement.where(col(SeriesBatch.quantity) == quantity)
    if before is not None:
        statement = statement.where(col(SeriesBatch.id) < before)  # ids follow the order of recording
    return session.execute(statement.limit(limit)).scalars().all()


def points(session: Session, series_id: UUID, start_us: int, end_us: int, *, at_most: int | None = None) -> Points:
    """The points of a series from start to before end, in order of time; the first `at_most` of them when asked."""
    if at_most is not None:
        end_us = _end_of(session, series_id, start_us, end_us, at_most)
    blobs = session.execute(
        select(col(SeriesBlock.points))
        .where(col(SeriesBlock.series_id) == series_id, *_touching(start_us, end_us))
        .order_by(col(SeriesBlock.last_at), col(SeriesBlock.batch_id))
    ).scalars()
    found = in_order(unpacked(blobs))
    first, last = np.searchsorted(found["at"], (start_us, end_us))
    return found[first:last][:at_most]


def hours(
    session: Session, series_ids: Sequence[UUID], start_us: int, end_us: int, lines: Mapping[UUID, Lines] | None = None
) -> dict[UUID, Sums]:
    """What each series comes to in each whole hour that begins at start or later and ends by `end`; one query.

    As recorded, or with `lines` as recalibrated.
    """
    lines = lines or {}
    start_us, end_us = -(-start_us // HOUR_US) * HOUR_US, end_us // HOUR_US * HOUR_US
    loose = or_(col(SeriesBlock.hours).is_(None), *_cut(lines))
    rows = session.execute(
        select(
            col(SeriesBlock.series_id),
            case((not_(loose), col(SeriesBlock.hours))),
            case((loose, col(SeriesBlock.points))),
        )
        .where(col(SeriesBlock.series_id).in_(series_ids), *_touching(start_us, end_us))
        .order_by(col(SeriesBlock.series_id), col(SeriesBlock.last_at), col(SeriesBlock.batch_id))
    )
    as_hours: dict[UUID, list[bytes]] = {series_id: [] for series_id in series_ids}
    as_points: dict[UUID, list[bytes]] = {series_id: [] for series_id in series_ids}
    for series_id, of_block, of_points in rows:
        (as_points if of_block is None else as_hours)[series_id].append(of_points if of_block is None else of_block)
    return {
        each: _within(_together(as_hours[each], as_points[each], lines.get(each, ())), start_us, end_us)
        for each in series_ids
    }


def _cut(lines: Mapping[UUID, Lines]) -> list[ColumnElement[bool]]:
    """The blocks that have points in an hour within which a recalibration begins or ends."""
    return [
        and_(
            col(SeriesBlock.series_id) == series_id,
            col(SeriesBlock.first_at) < instant(hour + HOUR_US),
            col(SeriesBlock.last_at) >= instant(hour),
        )
        for series_id, of_series in lines.items()
        for hour in cut_hours(of_series)
    ]


def _together(as_hours: Sequence[bytes], as_points: Sequence[bytes], lines: Lines) -> Sums:
    """The hours of blocks read as hours, and of those read as points, in order of time."""
    sums = right_hours(unpacked(as_hours, SUM), lines)
    if as_points:
        sums = np.concatenate([sums, hours_of(right_points(in_order(unpacked(as_points)), lines))])
    return merged(sums)


def _within(sums: Sums, start_us: int, end_us: int) -> Sums:
    first, last = np.searchsorted(sums["at"], (start_us, end_us))
    return sums[first:last]


def _touching(start_us: int, end_us: int) -> tuple[ColumnElement[bool], ...]:
    """The blocks with a point between two instants, found by their last one: none is longer than a day."""
    return (
        col(SeriesBlock.last_at) >= instant(start_us),
        col(SeriesBlock.last_at) < instant(end_us + DAY_US),
        col(SeriesBlock.first_at) < instant(end_us),
    )


def _end_of(session: Session, series_id: UUID, start_us: int, end_us: int, at_most: int) -> int:
    """An instant before which lie at least `at_most` points, or the end: nothing behind it need be read."""
    last_us = type_coerce(col(SeriesBlock.last_at), BigInteger)
    running = func.sum(col(SeriesBlock.count)).over(order_by=(col(SeriesBlock.last_at), col(SeriesBlock.batch_id)))
    whole = (
        select(last_us.label("last_us"), running.label("running"))
        .where(
            col(SeriesBlock.series_id) == series_id,
            col(SeriesBlock.first_at) >= instant(start_us),
            col(SeriesBlock.last_at) < instant(end_us),
        )
        .subquery()
    )
    enough = session.execute(select(func.min(whole.c.last_us)).where(whole.c.running >= at_most)).scalar()
    return end_us if enough is None else min(end_us, int(enough) + 1)
