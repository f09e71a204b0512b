"""The nodes of many records: the instants at which something is read or changed, in order."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import Readings, SystemHistory
from service.science.ragged import Places, distinct, end_to_end, first_entries, places, records

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

LONGEST_STEP_DAYS = 3.0
"""Steps of systems with feeds are no longer: the wandering error is taken as straight between two nodes."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Readings of all records in order of record and time, replicates averaged.

    record: which record each is of; source: index of the (first) reading in it.
    """

    record: Whole
    at_days: Values
    value: Values
    variance: Values
    lot: Whole
    source: Whole

    @classmethod
    def of(cls, histories: Sequence[SystemHistory]) -> "Samples":
        """The tests of records whose readings may come in any order."""
        every = [history.readings for history in histories]
        days, record = end_to_end(each.at_days for each in every)
        order = np.argsort(places(record, days), kind="stable")
        source = (np.arange(len(days)) - first_entries(record, len(every))[record])[order]
        record, at = record[order], days[order]
        value, sd = (np.concatenate([getattr(each, name) for each in every])[order] for name in ("value", "sd"))
        variance = sd**2
        lot, group = (np.concatenate(column)[order] for column in zip(*map(_lot_and_group, every), strict=True))
        # One number for each test: that of its replicates, in no other record, or one of its own.
        among = group.max(initial=0) + 1
        key = np.where(group >= 0, record * among + group, len(every) * among + np.arange(len(group)))
        _, first, inverse, times = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
        if len(first) == len(key):
            return cls(record, at, value, variance, lot, source)
        mean, spread = (np.bincount(inverse, weights=column) / times for column in (value, variance))
        sequence = np.argsort(first)
        first = first[sequence]
        return cls(
            record[first], at[first], mean[sequence], (spread / times)[sequence], lot[first], source[first]
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Nodes:
    """Instants of all records in order, and which of them are tests (one each) and which water changes that count.

    places: record and instant of each node; first: where each record begins, and the end of the last (records + 1).
    change: the water changes that count, by their numbers among those of all records end to end.
    """

    places: Places
    first: Whole
    has_feeds: NDArray[np.bool_]
    tests: Samples
    test_node: Whole
    change: Whole
    change_node: Whole

    @property
    def record(self) -> Whole:
        """The record of each node."""
        return records(self.places)

    @property
    def used(self) -> Whole:
        """How many nodes each record has."""
        return np.diff(self.first)

    @property
    def start_days(self) -> Values:
        """The first instant of each record."""
        return np.asarray(self.places.imag[self.first[:-1]])

    @property
    def end_days(self) -> Values:
        """The last instant of each record."""
        return np.asarray(self.places.imag[self.first[1:] - 1])

    @classmethod
    def of(cls, histories: Sequence[SystemHistory], at_days: Values) -> "Nodes":
        """The tests, the water changes after the first of them, and the instant asked for if it is later.

        At one instant tests come before water changes. Systems with feeds get more nodes, so that no step is long.
        """
        tests, count = Samples.of(histories), len(histories)
        begins = first_entries(tests.record, count)
        start, end = tests.at_days[begins[:-1]], tests.at_days[begins[1:] - 1]
        last = np.maximum(end, at_days)
        changed, of = end_to_end(history.water_changes.at_days for history in histories)
        change = np.flatnonzero((changed > start[of]) & (changed <= last[of]))
        change = change[np.argsort(places(of[change], changed[change]), kind="stable")]
        later, has_feeds = np.flatnonzero(last > end), np.array([bool(history.feeds) for history in histories])
        every = np.concatenate(
            [places(tests.record, tests.at_days), places(of[change], changed[change]), places(later, last[later])]
        )
        every = np.concatenate([every, _between(every[has_feeds[records(every)]])])
        order = np.argsort(every, kind="stable")
        node = np.empty(len(every), dtype=np.int64)
        node[order] = np.arange(len(every))
        ordered, read = every[order], len(tests.at_days)
        first = first_entries(records(ordered), count)
        return cls(ordered, first, has_feeds, tests, node[:read], change, node[read : read + len(change)])


def _lot_and_group(readings: Readings) -> tuple[Whole, Whole]:
    """The lot of each reading, one where none is named; the number of its replicates, -1 where it stands alone."""
    lot, group, count = readings.lot, readings.replicate_group, len(readings.at_days)
    return (
        np.zeros(count, dtype=np.int64) if lot is None else lot,
        np.full(count, -1, dtype=np.int64) if group is None else group,
    )


def _between(every: Places) -> Places:
    """Instants that cut the longer gaps between those of one record into equal steps."""
    ordered = distinct(every)
    record, days = records(ordered), ordered.imag
    gap = np.where(record[1:] == record[:-1], np.diff(days), 0.0)
    parts = np.maximum(np.ceil(gap / LONGEST_STEP_DAYS), 1.0).astype(np.int64)
    long = np.repeat(np.arange(len(gap)), parts - 1)
    rank = np.arange(len(long)) - np.searchsorted(long, long) + 1
    return places(record[long], days[long] + gap[long] * rank / parts[long])
