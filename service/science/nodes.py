"""The nodes of one record: the instants at which something is read or changed, in order."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import SystemHistory

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

LONGEST_STEP_DAYS = 3.0
"""Steps of systems with feeds are no longer: the wandering error is taken as straight between two nodes."""


@dataclass(frozen=True, slots=True)
class Samples:
    """Readings in order of time, replicates averaged; source: index of the (first) reading in the record."""

    at_days: Values
    value: Values
    variance: Values
    lot: Whole
    source: Whole

    @classmethod
    def of(cls, history: SystemHistory) -> "Samples":
        """The tests of a record whose readings may come in any order."""
        readings = history.readings
        count = len(readings.at_days)
        lot = readings.lot if readings.lot is not None else np.zeros(count, dtype=np.int64)
        order = np.argsort(readings.at_days, kind="stable")
        at, value, variance = readings.at_days[order], readings.value[order], readings.sd[order] ** 2
        group = readings.replicate_group
        if group is None:
            return cls(at, value, variance, lot[order], order)
        key = np.where(group >= 0, group, group.max(initial=0) + 1 + np.arange(count))[order]
        _, first, inverse, times = np.unique(key, return_index=True, return_inverse=True, return_counts=True)
        if len(first) == count:
            return cls(at, value, variance, lot[order], order)
        mean, spread = (np.bincount(inverse, weights=column) / times for column in (value, variance))
        sequence = np.argsort(first)
        first = first[sequence]
        source = order[first]
        return cls(at[first], mean[sequence], (spread / times)[sequence], lot[source], source)


@dataclass(frozen=True, slots=True)
class Nodes:
    """Instants in order, and which of them are tests (one each) and which water changes (of those that count)."""

    at_days: Values
    tests: Samples
    test_node: Whole
    change: Whole
    change_node: Whole

    @classmethod
    def of(cls, history: SystemHistory, at_day: float) -> "Nodes":
        """The tests, the water changes after the first of them, and the instant asked for if it is later.

        At one instant tests come before water changes. Systems with feeds get more nodes, so that no step is long.
        """
        tests, changed = Samples.of(history), history.water_changes.at_days
        first, last = tests.at_days[0], max(tests.at_days[-1], at_day)
        change = np.flatnonzero((changed > first) & (changed <= last))
        change = change[np.argsort(changed[change], kind="stable")]
        days = np.concatenate([tests.at_days, changed[change], [last] if last > tests.at_days[-1] else []])
        days = np.concatenate([days, _between(days)]) if history.feeds else days
        order = np.argsort(days, kind="stable")
        node = np.empty(len(days), dtype=np.int64)
        node[order] = np.arange(len(days))
        count = len(tests.at_days)
        return cls(days[order], tests, node[:count], change, node[count : count + len(change)])


def _between(days: Values) -> Values:
    """Instants that cut the longer gaps between days into equal steps."""
    ordered = np.unique(days)
    gap = np.diff(ordered)
    parts = np.maximum(np.ceil(gap / LONGEST_STEP_DAYS), 1.0).astype(np.int64)
    long = np.repeat(np.arange(len(gap)), parts - 1)
    rank = np.arange(len(long)) - np.searchsorted(long, long) + 1
    return np.asarray(ordered[long] + gap[long] * rank / parts[long])
