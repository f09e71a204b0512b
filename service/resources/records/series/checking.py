"""Whether the points of every series are those that were recorded: blocks against batches, batches against the series.

A batch is a kept row: the audit trail holds its digest, and that covers the digest of its points.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from uuid import UUID

from sqlalchemy import func
from sqlmodel import Session, col, select

from service.resources.records.series.blocks import digest_of, kept_hours, unpacked
from service.resources.records.series.models import Series, SeriesBatch, SeriesBlock, series_id
from service.storage.types import microseconds

BATCH = 200  # batches compared at once: some ten megabytes when they are large


def faults(session: Session) -> Iterator[str]:
    """Everything about series that is not as it was recorded, one sentence each."""
    after: UUID | None = None
    while batches := _some_batches(session, after):
        for batch in batches:
            yield from _of_batch(session, batch)
        after = batches[-1].id
    yield from _stray_blocks(session)
    yield from _of_series(session)


def _some_batches(session: Session, after: UUID | None) -> Sequence[SeriesBatch]:
    statement = select(SeriesBatch).order_by(col(SeriesBatch.id)).limit(BATCH)
    return session.exec(statement if after is None else statement.where(col(SeriesBatch.id) > after)).all()


def _of_batch(session: Session, batch: SeriesBatch) -> Iterator[str]:
    """A batch whose points are not those of its digest, or whose blocks do not say what is in them."""
    statement = select(SeriesBlock).where(
        SeriesBlock.series_id == batch.series_id,
        SeriesBlock.batch_id == batch.id,
        col(SeriesBlock.last_at) >= batch.first_at,
        col(SeriesBlock.last_at) <= batch.last_at,
    )
    blocks = session.exec(statement.order_by(col(SeriesBlock.last_at))).all()
    what = f"series_batch {batch.id}"
    if any(len(block.points) % 16 for block in blocks):
        yield f"{what}: its points are cut off"
        return
    if digest_of(unpacked([block.points for block in blocks])) != batch.digest:
        yield f"{what}: its points were edited"
        return
    for block in blocks:
        points = unpacked([block.points])
        stated = (microseconds(block.first_at), microseconds(block.last_at), block.count, block.site_id, block.hours)
        if stated != (points["at"][0], points["at"][-1], len(points), batch.site_id, kept_hours(points)):
            yield f"{what}: the block that ends {block.last_at.isoformat()} was edited beside its points"
    session.expunge_all()


def _stray_blocks(session: Session) -> Iterator[str]:
    """Blocks outside what their batch covers."""
    stray = (
        select(SeriesBlock.batch_id)
        .join(SeriesBatch, col(SeriesBatch.id) == SeriesBlock.batch_id)
        .where(
            (col(SeriesBlock.series_id) != SeriesBatch.series_id)
            | (col(SeriesBlock.last_at) < SeriesBatch.first_at)
            | (col(SeriesBlock.last_at) > SeriesBatch.last_at)
        )
        .distinct()
    )
    for batch_id in session.exec(stray):
        yield f"series_batch {batch_id}: a block lies outside what it covers"


def _of_series(session: Session) -> Iterator[str]:
    """Series whose identity or totals are not those of their batches."""
    totals = (
        select(
            SeriesBatch.series_id,
            func.sum(SeriesBatch.count).label("count"),
            func.min(SeriesBatch.first_at).label("first_at"),
            func.max(SeriesBatch.last_at).label("last_at"),
        )
        .group_by(col(SeriesBatch.series_id))
        .subquery()
    )
    statement = select(Series, totals.c.count, totals.c.first_at, totals.c.last_at).outerjoin(
        totals, totals.c.series_id == Series.id
    )
    for series, count, first_at, last_at in session.exec(statement):
        if series.id != series_id(series.subject_id, series.quantity, series.method):
            yield f"series {series.id} was edited: it is of another subject, quantity or method"
        elif (series.count, series.first_at, series.last_at) != (count or 0, first_at, last_at):
            yield f"series {series.id} was edited: its batches add up to other totals"
