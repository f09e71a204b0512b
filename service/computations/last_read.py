"""The latest value of a quantity on any of several subjects, if it is recent enough to say what holds today."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NamedTuple
from uuid import UUID

from sqlmodel import Session

from service.resources.records.queries import courses
from service.storage.types import instant

FRESH = timedelta(days=28)


class Last(NamedTuple):
    """A value in its canonical unit, and when it was read."""

    value: float
    at: datetime


def last_read(
    session: Session, subject_ids: Sequence[UUID], quantity: str, at: datetime, *, within: timedelta = FRESH
) -> Last | None:
    """The latest value on any of these subjects up to an instant; None where none was read within the time.

    Of a probe's series it is the mean of the last hour.
    """
    end = at + timedelta(microseconds=1)
    found = courses(session, subject_ids, quantity, start=at - within, end=end, probes_every=timedelta(hours=1))
    read = [course for course in found.values() if len(course)]
    if not read:
        return None
    last = max(read, key=lambda course: int(course.at_us[-1]))
    return Last(float(last.value[-1]), instant(int(last.at_us[-1])))
