"""Courses: what computations see of the records: when, how much, how well known, and from which record.

Computations never see rows: corrections, withdrawals, tanks that moved, methods' repeatabilities and the means of probe
series are resolved here, for many subjects at once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, NamedTuple, SupportsIndex, TypeVar, overload
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import BigInteger, select, type_coerce
from sqlalchemy.types import NullType
from sqlmodel import Session

from service.resources.catalogue.methods.queries import repeatabilities
from service.resources.catalogue.methods.repeatability import Repeatability
from service.resources.keeping.records import RECORDED
from service.resources.places.tanks.queries import Stay, stays_on
from service.resources.records.probe_means import DAY, ProbeMeans, means_over, probe_hours
from service.resources.records.readings.models import Reading
from service.storage.types import instant, microseconds

Values = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]
Found = TypeVar("Found")

COUNTED_PURPOSES = ("sample", "replicate")
REPLICATE_WITHIN_US = 2 * 3600 * 1_000_000  # the same sample tested again; two hours later is another sample
SMALLEST_SD = 1e-6  # a relative sd of a zero is no certainty


@dataclass(frozen=True)
class Origins(Sequence[UUID]):
    """The ids of records, each made a UUID only when somebody asks for it."""

    raw: Sequence[bytes | UUID]

    def __len__(self) -> int:
        return len(self.raw)

    @overload
    def __getitem__(self, index: SupportsIndex) -> UUID: ...
    @overload
    def __getitem__(self, index: slice) -> Origins: ...
    def __getitem__(self, index: SupportsIndex | slice) -> UUID | Origins:
        if isinstance(index, slice):
            return Origins(self.raw[index])
        return _uuid(self.raw[index.__index__()])


@dataclass(frozen=True)
class Course:
    """Readings of one quantity in time order, in its canonical unit, a probe's means among them; arrays are (readings).

    `at_us`: microseconds since 1970 UTC. `sd`: one standard deviation of each value. `replicate_group`: the same number
    for replicates of one sample. `lot`: a number a reagent lot or probe, 0 where none is stated; `lot_ids` has the ids
    of the reagent lots in the order of their numbers, from 1. `origin`: the records' ids, of a mean its series'.
    `is_mean`: which are means of a probe series.
    """

    at_us: Whole
    value: Values
    sd: Values
    replicate_group: Whole
    lot: Whole
    origin: Origins
    is_mean: Flags
    lot_ids: tuple[UUID, ...] = ()

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
            origin=Origins([id_ for id_, is_kept in zip(self.origin.raw, kept.tolist(), strict=True) if is_kept]),
            is_mean=self.is_mean[kept],
            lot_ids=self.lot_ids,
        )


class _Row(NamedTuple):
    """What a course needs of a reading: plain values, an integer time, and ids as the driver gives them.

    Making a UUID of each id would take as long as everything else together.
    """

    id: bytes | UUID
    subject: bytes | UUID
    at_us: int
    value: float
    method: str | None
    relative_sd: float | None
    lot: bytes | UUID | None
    purpose: str


def _uuid(raw: bytes | UUID) -> UUID:
    return raw if isinstance(raw, UUID) else UUID(bytes=bytes(raw))


def _as_driven(found: Mapping[UUID, Found]) -> dict[bytes | UUID, Found]:
    """The same by ids as a driver gives them: bytes by SQLite's, UUIDs by PostgreSQL's."""
    driven: dict[bytes | UUID, Found] = {key.bytes: each for key, each in found.items()}
    driven.update((key, each) for key, each in found.items())
    return driven


def courses(
    session: Session,
    subject_ids: Sequence[UUID],
    quantity: str,
    *,
    start: datetime,
    end: datetime,
    probes_every: timedelta = DAY,
) -> dict[UUID, Course]:
    """The course of a quantity read on each subject itself, from start to before end.

    A probe's series comes as one mean for each `probes_every`, a day unless what happened in the last hour matters.
    """
    found: dict[UUID, list[_Row]] = {subject_id: [] for subject_id in subject_ids}
    own = _as_driven(found)
    for row in _readings(session, subject_ids, quantity, start, end):
        own[row.subject].append(row)
    probes: dict[UUID, list[ProbeMeans]] = {subject_id: [] for subject_id in subject_ids}
    for series, hours in probe_hours(session, subject_ids, quantity, start, end):
        probes[series.subject_id].append(means_over(series, hours, probes_every))
    return _built(session, quantity, found, probes)


def system_courses(
    session: Session,
    system_ids: Sequence[UUID],
    quantity: str,
    *,
    start: datetime,
    end: datetime,
    probes_every: timedelta = DAY,
) -> dict[UUID, Course]:
    """The course of a quantity in each system: read on the system, or on a tank while it stood there."""
    by_tank: dict[UUID, list[Stay]] = {}
    for stay in stays_on(session, system_ids):
        by_tank.setdefault(stay.tank_id, []).append(stay)
    everywhere = [*system_ids, *by_tank]
    found: dict[UUID, list[_Row]] = {system_id: [] for system_id in system_ids}
    own, of_tanks = _as_driven(found), _as_driven(by_tank)
    for row in _readings(session, everywhere, quantity, start, end):
        if row.subject in own:
            own[row.subject].append(row)
        elif system_id := _system_at(of_tanks[row.subject], instant(row.at_us)):
            found[system_id].append(row)
    probes: dict[UUID, list[ProbeMeans]] = {system_id: [] for system_id in system_ids}
    for series, hours in probe_hours(session, everywhere, quantity, start, end):
        if series.subject_id in probes:
            probes[series.subject_id].append(means_over(series, hours, probes_every))
        for stay in by_tank.get(series.subject_id, ()):
            probes[stay.system_id].append(means_over(series, hours[_during(stay, hours["at"])], probes_every))
    return _built(session, quantity, found, probes)


def _during(stay: Stay, at_us: Whole) -> Flags:
    """Which hours began while the tank stood there."""
    until = np.inf if stay.to_at is None else microseconds(stay.to_at)
    return (at_us >= microseconds(stay.from_at)) & (at_us < until)


def _readings(
    session: Session, subject_ids: Sequence[UUID], quantity: str, start: datetime, end: datetime
) -> Iterator[_Row]:
    table: Any = Reading
    statement = (
        select(
            type_coerce(table.id, NullType()),
            type_coerce(table.subject_id, NullType()),
            type_coerce(table.at, BigInteger),
            table.value,
            table.method,
            table.relative_sd,
            type_coerce(table.lot_id, NullType()),
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


def _built(
    session: Session, quantity: str, rows: Mapping[UUID, Sequence[_Row]], probes: Mapping[UUID, Sequence[ProbeMeans]]
) -> dict[UUID, Course]:
    methods = {row.method for found in rows.values() for row in found}
    methods |= {means.method for found in probes.values() for means in found}
    known = repeatabilities(session, [(quantity, method) for method in methods])
    repeats = {method: known[quantity, method] for method in methods}
    return {
        subject: _merged(_by_hand(found, repeats), [_by_probe(means, repeats) for means in probes[subject]])
        for subject, found in rows.items()
    }


def _by_hand(rows: Sequence[_Row], repeats: Mapping[str | None, Repeatability]) -> Course:
    if not rows:
        return _NOTHING
    ids, _, at_us, values, methods, relative_sds, lots, _ = zip(*rows, strict=True)
    value, in_order = np.array(values, dtype=np.float64), list(dict.fromkeys(lot for lot in lots if lot is not None))
    return Course(
        at_us=np.array(at_us, dtype=np.int64),
        value=value,
        sd=_sds(value, methods, relative_sds, repeats),
        replicate_group=_groups(rows),
        lot=_lots(lots, in_order),
        origin=Origins(ids),
        is_mean=np.zeros(len(rows), dtype=np.bool_),
        lot_ids=tuple(_uuid(lot) for lot in in_order),
    )


def _by_probe(means: ProbeMeans, repeats: Mapping[str | None, Repeatability]) -> Course:
    """Each mean as one reading: no better known than one, and of no lot yet."""
    repeatability = repeats[means.method]
    return Course(
        at_us=means.at_us,
        value=means.value,
        sd=np.array([max(repeatability.at(value), SMALLEST_SD) for value in means.value.tolist()], dtype=np.float64),
        replicate_group=np.full(len(means.at_us), -1, dtype=np.int64),
        lot=np.zeros(len(means.at_us), dtype=np.int64),
        origin=Origins([means.series_id] * len(means.at_us)),
        is_mean=np.ones(len(means.at_us), dtype=np.bool_),
    )


def _merged(by_hand: Course, by_probe: Sequence[Course]) -> Course:
    """All of one subject by time; each probe counts as a lot of its own."""
    by_probe = [course for course in by_probe if len(course)]
    if not by_probe:
        return by_hand
    first = by_hand.lot.max(initial=0) + 1
    parts = [by_hand, *(replace(course, lot=course.lot + first + number) for number, course in enumerate(by_probe))]
    order = np.argsort(np.concatenate([part.at_us for part in parts]), kind="stable")
    columns = {
        name: np.concatenate([getattr(part, name) for part in parts])[order]
        for name in ("at_us", "value", "sd", "lot", "is_mean")
    }
    group = np.concatenate([part.replicate_group for part in parts])
    place = np.argsort(order)
    group = np.where(group >= 0, place[group], -1)  # a group is named by the place of its first sample
    origins = [origin for part in parts for origin in part.origin.raw]
    return Course(
        **columns,
        replicate_group=group[order],
        origin=Origins([origins[index] for index in order]),
        lot_ids=by_hand.lot_ids,
    )


def _sds(
    value: Values,
    methods: Sequence[str | None],
    relative_sds: Sequence[float | None],
    repeats: Mapping[str | None, Repeatability],
) -> Values:
    """As stated with each reading, else as its method repeats."""
    number = {method: index for index, method in enumerate(dict.fromkeys(methods))}
    of = np.array([number[method] for method in methods])
    sd, part = (np.array([getattr(repeats[method], name) for method in number])[of] for name in ("sd", "relative_sd"))
    stated = np.array(relative_sds, dtype=np.float64)  # None is NaN
    usual = np.sqrt(sd**2 + (part * value) ** 2)
    return np.maximum(np.where(np.isnan(stated), usual, np.abs(stated * value)), SMALLEST_SD)


def _groups(rows: Sequence[_Row]) -> Whole:
    """A replicate belongs to the sample before it on the same subject, if that is recent; -1 stands alone."""
    groups = np.full(len(rows), -1, dtype=np.int64)
    if all(row.purpose != "replicate" for row in rows):
        return groups
    last: dict[bytes | UUID, int] = {}
    for index, row in enumerate(rows):
        sample = last.get(row.subject)
        if row.purpose == "replicate" and sample is not None and row.at_us - rows[sample].at_us <= REPLICATE_WITHIN_US:
            groups[index] = groups[sample] = sample
        else:
            last[row.subject] = index
    return groups


def _lots(lots: Sequence[bytes | UUID | None], in_order: Sequence[bytes | UUID]) -> Whole:
    """A number a lot, from 1 in order of first use, 0 where none is stated."""
    number: dict[bytes | UUID | None, int] = {None: 0}
    number.update((lot, index + 1) for index, lot in enumerate(in_order))
    return np.array([number[lot] for lot in lots], dtype=np.int64)


_NOTHING = Course(
    at_us=np.empty(0, dtype=np.int64),
    value=np.empty(0),
    sd=np.empty(0),
    replicate_group=np.empty(0, dtype=np.int64),
    lot=np.empty(0, dtype=np.int64),
    origin=Origins(()),
    is_mean=np.empty(0, dtype=np.bool_),
)
"""The course of what nobody read by hand; arrays of no entries, which nothing can change."""
