"""Courses: what computations see of the records: when, how much, how well known, and from which record.

Computations never see rows: corrections, withdrawals, tanks that moved and methods' repeatabilities are resolved here,
for many subjects at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import BigInteger, select, type_coerce
from sqlmodel import Session

from service.resources.catalogue.methods.queries import repeatabilities
from service.resources.catalogue.methods.repeatability import Repeatability
from service.resources.keeping.records import RECORDED
from service.resources.places.tanks.queries import Stay, stays_on
from service.resources.records.readings.models import Reading
from service.storage.types import instant

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

COUNTED_PURPOSES = ("sample", "replicate")
REPLICATE_WITHIN_US = 2 * 3600 * 1_000_000  # the same sample tested again; two hours later is another sample
SMALLEST_SD = 1e-6  # a relative sd of a zero is no certainty


@dataclass(frozen=True)
class Course:
    """Readings of one quantity in time order, in its canonical unit; all arrays are (readings).

    `at_us`: microseconds since 1970 UTC. `sd`: one standard deviation of each value. `replicate_group`: the same number
    for replicates of one sample. `lot`: a number a reagent lot, 0 where none is stated. `origin`: the records' ids.
    """

    at_us: Whole
    value: Values
    sd: Values
    replicate_group: Whole
    lot: Whole
    origin: tuple[UUID, ...]

    def __len__(self) -> int:
        return len(self.origin)

    def where(self, kept: NDArray[np.bool_]) -> Course:
        """Some of the readings: those for which `kept` (readings) is true."""
        return Course(
            at_us=self.at_us[kept],
            value=self.value[kept],
            sd=self.sd[kept],
            replicate_group=self.replicate_group[kept],
            lot=self.lot[kept],
            origin=tuple(id_ for id_, is_kept in zip(self.origin, kept, strict=True) if is_kept),
        )


class _Row(NamedTuple):
    """What a course needs of a reading: plain values, an integer time."""

    id: UUID
    subject_id: UUID
    at_us: int
    quantity: str
    value: float
    method: str | None
    relative_sd: float | None
    lot_id: UUID | None
    purpose: str


def courses(
    session: Session, subject_ids: Sequence[UUID], quantity: str, *, start: datetime, end: datetime
) -> dict[UUID, Course]:
    """The course of a quantity read on each subject itself, from start to before end."""
    found: dict[UUID, list[_Row]] = {subject_id: [] for subject_id in subject_ids}
    for row in _readings(session, subject_ids, quantity, start, end):
        found[row.subject_id].append(row)
    return _built(session, found)


def system_courses(
    session: Session, system_ids: Sequence[UUID], quantity: str, *, start: datetime, end: datetime
) -> dict[UUID, Course]:
    """The course of a quantity in each system: read on the system, or on a tank while it stood there."""
    by_tank: dict[UUID, list[Stay]] = {}
    for stay in stays_on(session, system_ids):
        by_tank.setdefault(stay.tank_id, []).append(stay)
    found: dict[UUID, list[_Row]] = {system_id: [] for system_id in system_ids}
    for row in _readings(session, [*system_ids, *by_tank], quantity, start, end):
        is_system = row.subject_id in found
        system_id = row.subject_id if is_system else _system_at(by_tank[row.subject_id], instant(row.at_us))
        if system_id is not None:
            found[system_id].append(row)
    return _built(session, found)


def _readings(
    session: Session, subject_ids: Sequence[UUID], quantity: str, start: datetime, end: datetime
) -> Iterator[_Row]:
    table: Any = Reading
    statement = (
        select(
            table.id,
            table.subject_id,
            type_coerce(table.at, BigInteger),
            table.quantity,
            table.value,
            table.method,
            table.relative_sd,
            table.lot_id,
            table.purpose,
        )
        .where(
            table.subject_id.in_(subject_ids),
            table.quantity == quantity,
            table.state == RECORDED,
            table.purpose.in_(COUNTED_PURPOSES),
            table.at >= start,
            table.at < end,
        )
        .order_by(table.at, table.id)
    )
    return map(_Row._make, session.execute(statement))


def _system_at(stays: Sequence[Stay], at: datetime) -> UUID | None:
    for stay in stays:
        if stay.from_at <= at and (stay.to_at is None or at < stay.to_at):
            return stay.system_id
    return None


def _built(session: Session, rows: Mapping[UUID, Sequence[_Row]]) -> dict[UUID, Course]:
    methods = {(row.quantity, row.method) for found in rows.values() for row in found}
    repeats = repeatabilities(session, methods)
    return {
        subject: Course(
            at_us=np.array([row.at_us for row in found], dtype=np.int64),
            value=np.array([row.value for row in found], dtype=np.float64),
            sd=np.array([_sd(row, repeats[row.quantity, row.method]) for row in found], dtype=np.float64),
            replicate_group=_groups(found),
            lot=_lots(found),
            origin=tuple(row.id for row in found),
        )
        for subject, found in rows.items()
    }


def _sd(row: _Row, repeatability: Repeatability) -> float:
    sd = abs(row.relative_sd * row.value) if row.relative_sd is not None else repeatability.at(row.value)
    return max(sd, SMALLEST_SD)


def _groups(rows: Sequence[_Row]) -> Whole:
    """A replicate belongs to the sample before it on the same subject, if that is recent; -1 stands alone."""
    groups = np.full(len(rows), -1, dtype=np.int64)
    last: dict[UUID, int] = {}
    for index, row in enumerate(rows):
        sample = last.get(row.subject_id)
        if row.purpose == "replicate" and sample is not None and row.at_us - rows[sample].at_us <= REPLICATE_WITHIN_US:
            groups[index] = groups[sample] = sample
        else:
            last[row.subject_id] = index
    return groups


def _lots(rows: Sequence[_Row]) -> Whole:
    """A number a lot in order of first use, 0 where none is stated."""
    numbers: dict[UUID, int] = {}
    return np.array(
        [0 if row.lot_id is None else numbers.setdefault(row.lot_id, len(numbers) + 1) for row in rows], dtype=np.int64
    )
