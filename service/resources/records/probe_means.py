"""What computations see of probe series: means over whole hours or over 24 hours, each as good as one reading.

A probe's error is mostly the same from minute to minute: it was calibrated once, and it stands in one place. Averaging
takes out the day of the water, not the error of the probe. So a mean is known no better than one reading of its method,
and each series counts as a lot of its own, which may read higher or lower than hand tests throughout.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.resources.records.recalibrations.queries import in_force
from service.resources.records.series.blocks import HOUR_US, Sums
from service.resources.records.series.models import Series
from service.resources.records.series.queries import hours, of_subjects
from service.storage.types import microseconds

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


@dataclass(frozen=True)
class ProbeMeans:
    """Means of one series in time order, arrays (means): the middle of the hours that went in, and their mean."""

    series_id: UUID
    method: str | None
    at_us: Whole
    value: Values


def probe_hours(
    session: Session, subject_ids: Sequence[UUID], quantity: str, start: datetime, end: datetime
) -> list[tuple[Series, Sums]]:
    """Every series of a quantity on these subjects by whole hours from start to `end`, as recalibrated.

    Three queries however many.
    """
    series = of_subjects(session, subject_ids, quantity)
    if not series:
        return []
    ids = [each.id for each in series]
    found = hours(session, ids, microseconds(start), microseconds(end), in_force(session, ids))
    return [(each, found[each.id]) for each in series]


def means_over(series: Series, sums: Sums, every: timedelta) -> ProbeMeans:
    """The hours of a series averaged over spans of so many hours, counted back from its last one.

    Counted back, the newest span is as long as the others: the mean of half a day would tell the hour, not the level.
    Every hour weighs the same, however many points it has.
    """
    span = (sums["at"][-1] - sums["at"]) // (every // HOUR * HOUR_US) if len(sums) else sums["at"]
    first = np.flatnonzero(np.diff(span, prepend=-1))
    count = np.diff(first, append=len(sums))
    middle = sums["at"] + HOUR_US // 2
    return ProbeMeans(
        series_id=series.id,
        method=series.method,
        at_us=middle[first] + np.add.reduceat(middle - np.repeat(middle[first], count), first) // count,
        value=np.add.reduceat(sums["total"] / sums["count"], first) / count,
    )
