"""Recording batches of a series: what is new is stored, what is known is confirmed, what contradicts is reported."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import col, insert, select

from service.access.caller import Work
from service.access.rights import Right
from service.http.instants import BadInstant, instants_of
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.resources.places.subjects import subject_of
from service.resources.records.readings.actions import AHEAD_AT_MOST, method_of, naming_fields, plain, quantity_of
from service.resources.records.series.blocks import Points, days_of, digest_of, kept_hours, points_of
from service.resources.records.series.models import (
    SERIES_BATCH,
    Series,
    SeriesBatch,
    SeriesBlock,
    SeriesSent,
    series_id,
)
from service.resources.records.series.queries import points
from service.science.quantities import Quantity, canonical, is_possible
from service.storage.subjects import Subject
from service.storage.types import instant, microseconds, new_id

Whole = NDArray[np.int64]
Values = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME = 1e-12  # relative: the same value, converted from another unit


@dataclass(frozen=True)
class _Points:
    """What was sent and can be, in order of time: instants, canonical values, and each one's place as sent."""

    at_us: Whole
    value: Values
    index: Whole


@dataclass(frozen=True)
class _Judged:
    """Which points are new; for the others the value that stands at their instant, and whether it is theirs."""

    is_new: Flags
    stands: Values
    is_same: Flags


def record_batch(work: Work, sent: SeriesSent) -> dict[str, Any]:
    """What became of each point. Nothing held is overwritten; what is new is one batch and one entry of the trail.

    Raises Unacceptable or NotFound naming the field (`/taken_at/17`), NotAllowed without the right on the site.
    """
    subject = subject_of(work.session, work.scope, sent.subject_id)
    work.caller.require(Right.RECORD, subject.site_id)
    quantity = quantity_of(sent.quantity, subject.kind)
    at_us, value = _columns(work, sent, quantity)
    method = method_of(work.session, quantity.code, sent.method)
    possible = is_possible(quantity, value)
    answer: dict[str, Any] = {
        "series_id": series_id(subject.id, quantity.code, method),
        "batch_id": None,
        "stored": 0,
        "held_already": 0,
        "conflicts": [],
        "refused": [_refused(sent, at_us, int(index), quantity) for index in np.flatnonzero(~possible)],
    }
    if not possible.any():
        return answer
    series = _locked(work, subject, quantity, method)
    found = _in_order(at_us, value, np.flatnonzero(possible))
    judged = _judged(work, series, found)
    known, other = ~judged.is_new & judged.is_same, ~judged.is_new & ~judged.is_same
    if judged.is_new.any():
        new = points_of(found.at_us[judged.is_new], found.value[judged.is_new])
        answer |= {"batch_id": _store(work, series, sent, new).id, "stored": len(new)}
    conflicts = [_conflict(sent, found, judged, int(place), quantity) for place in np.flatnonzero(other)]
    return answer | {
        "held_already": int(known.sum()),
        "conflicts": sorted(conflicts, key=lambda conflict: conflict["index"]),
    }


def _columns(work: Work, sent: SeriesSent, quantity: Quantity) -> tuple[Whole, Values]:
    """Instants and canonical values as sent. A value that cannot be is left as it is: each is judged by itself."""
    if len(sent.taken_at) != len(sent.value):
        detail = f"As many values as times are expected: {len(sent.taken_at)} times and {len(sent.value)} values came."
        raise refused("/value", detail)
    try:
        at_us = instants_of(sent.taken_at)
    except BadInstant as error:
        raise refused(f"/taken_at/{error.index}", str(error), sent.taken_at[error.index]) from error
    ahead = at_us > microseconds(work.at + AHEAD_AT_MOST)
    if ahead.any():
        first = int(np.argmax(ahead))
        detail = "This lies ahead of the service's clock. Check the time and the offset."
        raise refused(f"/taken_at/{first}", detail, sent.taken_at[first])
    with naming_fields(sent), np.errstate(all="ignore"):  # what cannot be may be no number when converted
        value = canonical(quantity, np.array(sent.value), sent.unit, plain(sent.conditions), refuse=False)
    return at_us, value


def _in_order(at_us: Whole, value: Values, index: Whole) -> _Points:
    index = index[np.argsort(at_us[index], kind="stable")]
    return _Points(at_us[index], value[index], index)


def _judged(work: Work, series: Series, found: _Points) -> _Judged:
    """Held against what is stored, and against what came earlier in the batch for the same instant."""
    held = points(work.session, series.id, int(found.at_us[0]), int(found.at_us[-1]) + 1)
    place = np.searchsorted(held["at"], found.at_us)
    inside = place < len(held)
    is_held = np.zeros(len(found.at_us), dtype=np.bool_)
    is_held[inside] = held["at"][place[inside]] == found.at_us[inside]
    is_first = np.diff(found.at_us, prepend=found.at_us[0] - 1) > 0
    stands = found.value[np.maximum.accumulate(np.where(is_first, np.arange(len(is_first)), 0))]
    stands[is_held] = held["value"][place[is_held]]
    return _Judged(is_first & ~is_held, stands, np.isclose(found.value, stands, rtol=SAME, atol=0.0))


def _locked(work: Work, subject: Subject, quantity: Quantity, method: str | None) -> Series:
    """The row of the series, made by its first batch; on PostgreSQL no other batch of it is judged until this ends."""
    known = series_id(subject.id, quantity.code, method)
    add = postgresql.insert if work.session.get_bind().dialect.name == "postgresql" else sqlite.insert
    first = add(Series).values(
        id=known, site_id=subject.site_id, subject_id=subject.id, quantity=quantity.code, method=method, count=0
    )
    work.session.execute(first.on_conflict_do_nothing())
    locked = select(Series).where(col(Series.id) == known).with_for_update()
    return work.session.exec(locked.execution_options(populate_existing=True)).one()


def _store(work: Work, series: Series, sent: SeriesSent, new: Points) -> SeriesBatch:
    """The batch, its blocks and its entry in the trail."""
    first, last = instant(int(new["at"][0])), instant(int(new["at"][-1]))
    batch = SeriesBatch(
        id=new_id(),
        site_id=series.site_id,
        series_id=series.id,
        subject_id=series.subject_id,
        quantity=series.quantity,
        method=series.method,
        unit=sent.unit,
        conditions=plain(sent.conditions),
        first_at=first,
        last_at=last,
        count=len(new),
        digest=digest_of(new),
        recorded_at=work.at,
        recorded_by=work.caller.id,
    )
    work.session.add(batch)
    series.first_at = min(series.first_at or first, first)
    series.last_at = max(series.last_at or last, last)
    series.count += len(new)
    work.session.flush()
    work.session.execute(insert(SeriesBlock), [_block(batch, day) for day in days_of(new)])
    note(work, SERIES_BATCH, batch, "recorded")
    return batch


def _block(batch: SeriesBatch, day: Points) -> dict[str, Any]:
    return {
        "series_id": batch.series_id,
        "last_at": instant(int(day["at"][-1])),
        "batch_id": batch.id,
        "site_id": batch.site_id,
        "first_at": instant(int(day["at"][0])),
        "count": len(day),
        "hours": kept_hours(day),
        "points": day.tobytes(),
    }


def _refused(sent: SeriesSent, at_us: Whole, index: int, quantity: Quantity) -> dict[str, Any]:
    low, high = quantity.possible
    return {
        "index": index,
        "taken_at": instant(int(at_us[index])),
        "sent": {"value": sent.value[index], "unit": sent.unit},
        "detail": f"{quantity.title} lies between {low:g} and {high:g} {quantity.unit}.",
    }


def _conflict(sent: SeriesSent, found: _Points, judged: _Judged, place: int, quantity: Quantity) -> dict[str, Any]:
    index = int(found.index[place])
    return {
        "index": index,
        "taken_at": instant(int(found.at_us[place])),
        "held": {"value": float(judged.stands[place]), "unit": quantity.unit},
        "sent": {"value": sent.value[index], "unit": sent.unit},
    }
