"""What is known of an input that runs all the time, at any instant, from the checks made of it.

Between checks a drip wanders and clogs, an effluent follows gas and media. The logarithm of the input over its
intended value is taken for a random walk, seen through each check's relative error; smoothing it gives the course
between checks, how far it may be off, and how long such an error lasts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from service.science.history import Checks
from service.science.ragged import (
    Places,
    distinct,
    end_to_end,
    first_entries,
    medians,
    places,
    records,
    straight_between,
)

Values = NDArray[np.float64]
Whole = NDArray[np.int64]
Flags = NDArray[np.bool_]

SMALLEST_SHARE = 1e-3
"""A stopped input counts as this share of its usual value: a logarithm needs one."""
SHARPEST_CHECK = 1e-3
"""No check is taken to be better than this, relative; several at one instant are pooled."""
UNCHECKED_SD = 0.25
"""Relative sd of an input whose intended value is known but which nobody ever measured."""
RESET_BEYOND_SD = 4.0
"""A check further than this from the course means that the input was changed."""
DRIFT_FACTORS = np.exp(0.55 * np.arange(-2, 4))
DRIFT_LOG_SD = 0.7
"""An input may wander less or more than stated; the checks choose, under a log-normal prior around what is stated."""
JUST_AFTER_DAYS = 1e-3
"""A reset happens this long after its recorded instant, so that a check at the same instant is of before."""


@dataclass(frozen=True, slots=True)
class InputCourses:
    """Inputs over their intended values, each on its own instants, end to end in order (entries).

    places: the number of the input and the instant; log_factor and its variance; persistence: the logarithm of the part
    of an error at the input's first instant that is still there. set_places, set_value: what was intended, from when.
    """

    places: Places
    log_factor: Values
    variance: Values
    persistence: Values
    set_places: Places
    set_value: Values

    def value_at(self, wanted: Places) -> Values:
        """Inputs at any instants, in the unit of their checks."""
        factor = np.exp(straight_between(wanted, self.places, self.log_factor))
        return np.asarray(factor * self.set_value[_setting_before(self.set_places, wanted)])

    def variance_at(self, wanted: Places) -> Values:
        """Relative variance at any instants."""
        return straight_between(wanted, self.places, self.variance)

    def persistence_to_next(self, wanted: Places) -> Values:
        """For instants among each input's own, in order: the part of the error that is left at the next of them, or 0.

        The last of an input has no next: 0.
        """
        at = self.persistence[np.searchsorted(self.places, wanted)]
        left = np.where(wanted.real[1:] == wanted.real[:-1], np.exp(np.minimum(at[1:] - at[:-1], 0.0)), 0.0)
        return np.append(left, 0.0)


def input_courses(*, checks: Sequence[Checks], grid: Places) -> InputCourses:
    """The course of every input at its instants on the grid (and at its checks), all in one pass.

    grid: the number of the input and the instant, at least one each, in any order. Each input needs at least one check
    or an intended value. The random walk of a logarithm is a model of our own, its smoothing is published.

    Source: DERIVED, RAUCH65.
    Check value: none, arrays; compared with dense conditioning in the tests.
    """
    if not checks:
        return InputCourses(grid, np.empty(0), np.empty(0), np.empty(0), grid, np.empty(0))
    table = _Table.of(checks, distinct(grid))
    drifted, reset, reading, noise = table.padded()
    start = np.stack([table.start, table.start_variance])
    gain = _gain(drifted, reset, DRIFT_FACTORS)
    tried = _filter(start[..., None], gain, reading[..., None], noise[..., None])
    weight = tried.log_likelihood - 0.5 * (np.log(DRIFT_FACTORS) / DRIFT_LOG_SD) ** 2
    likeliest = gain[:, np.arange(len(checks)), weight.argmax(axis=1)]
    mean, variances, persistence = _smooth(_filter(start, likeliest, reading, noise))
    kept = np.cumsum(np.log(np.maximum(persistence, 1e-12)), axis=0)
    own = table.slots()
    return InputCourses(table.places, mean[own], variances[own], kept[own], table.set_places, table.set_value)


def _setting_before(set_places: Places, wanted: Places) -> Whole:
    """Which intended value held just before each instant; the first one before there was any."""
    record = records(wanted)
    first = first_entries(records(set_places), int(record.max(initial=-1)) + 1)[record]
    return np.maximum(np.searchsorted(set_places, wanted) - 1, first)


@dataclass(frozen=True, slots=True)
class _Table:
    """All inputs in time, end to end.

    columns: variance gained since the instant before by drift as stated and by a reset, the check (nan: none), its
    variance. start and its variance: (inputs).
    """

    places: Places
    columns: tuple[Values, Values, Values, Values]
    start: Values
    start_variance: Values
    set_places: Places
    set_value: Values

    @classmethod
    def of(cls, checks: Sequence[Checks], grid: Places) -> "_Table":
        drift, reset_sd = (np.array([getattr(each, name) for each in checks]) for name in ("drift", "reset_sd"))
        read_at, of = end_to_end(each.at_days for each in checks)
        value, sd = (np.concatenate([getattr(each, name) for each in checks]) for name in ("value", "relative_sd"))
        reset_at, reset_of = end_to_end(each.reset_days for each in checks)
        set_places, set_value, is_new = _settings(checks, value, of, grid)
        before_resets = distinct(np.concatenate([places(reset_of, reset_at), set_places[is_new]]))
        after_resets = before_resets + 1j * JUST_AFTER_DAYS
        read = places(of, read_at)
        every = distinct(np.concatenate([grid, read, before_resets, after_resets]))
        own = records(every)
        same = np.append(False, own[1:] == own[:-1])
        drifted = drift[own] ** 2 * np.where(same, np.diff(every.imag, prepend=0.0), 0.0)
        reset = np.zeros(len(every))
        reset[np.searchsorted(every, after_resets)] = reset_sd[records(after_resets)] ** 2
        intended = set_value[_setting_before(set_places, read)]
        usual = np.where(intended > 0, intended, 1.0)
        where = np.searchsorted(every, read)
        precision = np.maximum(sd, SHARPEST_CHECK) ** -2.0
        logarithm = np.log(np.maximum(value / usual, SMALLEST_SHARE))
        total = np.bincount(where, weights=precision, minlength=len(every))
        known, safe = total > 0.0, np.where(total > 0.0, total, 1.0)
        mean = np.bincount(where, weights=precision * logarithm, minlength=len(every)) / safe
        columns = (drifted, reset, np.where(known, mean, np.nan), np.where(known, 1.0 / safe, 1.0))
        has_intention = np.array([len(each.set_value) > 0 for each in checks])
        unknown = np.where(has_intention, np.maximum(UNCHECKED_SD, reset_sd), 2.0)
        start, begins = np.zeros(len(checks)), first_entries(of, len(checks))
        from_check = ~has_intention & (np.diff(begins) > 0)
        start[from_check] = mean[where[begins[:-1][from_check]]]
        return cls(every, columns, start, unknown**2, set_places, set_value)

    def slots(self) -> tuple[Whole, Whole]:
        """Where each entry stands in a table (instants, inputs) of columns that all begin at its top."""
        own = records(self.places)
        return np.arange(len(own)) - first_entries(own, len(self.start))[own], own

    def padded(self) -> list[Values]:
        """The columns as tables (instants, inputs)."""
        slots = self.slots()
        found = []
        for column, fill in zip(self.columns, (0.0, 0.0, np.nan, 1.0), strict=True):
            table = np.full((int(slots[0].max(initial=0)) + 1, len(self.start)), fill)
            table[slots] = column
            found.append(table)
        return found


def _settings(checks: Sequence[Checks], value: Values, of: Whole, grid: Places) -> tuple[Places, Values, Flags]:
    """What was intended of each input and from when, in order; whether it replaced another intention.

    Of an input without any it is the median of its checks, from the first instant on.
    """
    days, owner = end_to_end(each.set_at_days for each in checks)
    intended = np.concatenate([each.set_value for each in checks])
    without = np.array([number for number, each in enumerate(checks) if not len(each.set_value)], dtype=np.int64)
    positive = value > 0
    usual = medians(value[positive], of[positive], len(checks))[without]
    begins = grid[first_entries(records(grid), len(checks))[without]]
    every = np.concatenate([places(owner, days), begins])
    order = np.argsort(every.real, kind="stable")
    owner = records(every)[order]
    amount = np.concatenate([intended, np.where(np.isnan(usual), 1.0, usual)])[order]
    return every[order], amount, np.append(False, owner[1:] == owner[:-1])


class _Filtered(NamedTuple):
    """Random walk plus noise after each check: mean, variance, variance just before it; log-likelihood per lane."""

    mean: Values
    variance: Values
    before: Values
    log_likelihood: Values


def _gain(drifted: Values, reset: Values, factors: Values) -> Values:
    """Variance gained at each instant with the drift at several times what is stated, (nodes, inputs, factors)."""
    return np.asarray(drifted[..., None] * factors**2 + reset[..., None])


def _filter(start: Values, gained: Values, reading: Values, noise: Values) -> _Filtered:
    """A random walk seen through noise; a check beyond 4 sd is a change nobody recorded, and believed."""
    mean, variance, before = (np.empty_like(gained) for _ in range(3))
    log_likelihood = np.zeros(gained.shape[1:])
    checked = ~np.isnan(reading)
    is_checked = np.asarray(checked.reshape(len(checked), -1).any(axis=1))
    m, p = start
    for node in range(len(gained)):
        p = p + gained[node]
        if is_checked[node]:
            has = checked[node]
            residual = np.where(has, reading[node] - m, 0.0)
            total = p + noise[node]
            score = residual**2 / total
            far = score > RESET_BEYOND_SD**2
            log_likelihood -= np.where(has, 0.5 * (np.minimum(score, RESET_BEYOND_SD**2) + np.log(total)), 0.0)
            p = p + np.where(far, residual**2, 0.0)
            before[node] = p
            gain = np.where(has, p / (p + noise[node]), 0.0)
            m, p = m + gain * residual, p * (1.0 - gain)
        else:
            before[node] = p
        mean[node], variance[node] = m, p
    return _Filtered(mean, variance, before, log_likelihood)


def _smooth(filtered: _Filtered) -> tuple[Values, Values, Values]:
    """Mean and variance given all checks, and the covariance with the instant before over that one's variance."""
    mean, variance = filtered.mean.copy(), filtered.variance.copy()
    persistence = np.zeros_like(mean)
    for node in range(len(mean) - 2, -1, -1):
        ahead, later = filtered.before[node + 1], variance[node + 1]
        back = np.where(ahead > 0, variance[node] / np.where(ahead > 0, ahead, 1.0), 1.0)
        mean[node] += back * (mean[node + 1] - mean[node])
        variance[node] += back**2 * (later - ahead)
        safe = np.where(variance[node] > 0, variance[node], 1.0)
        persistence[node + 1] = np.where(variance[node] > 0, back * later / safe, 1.0)
    return mean, variance, np.minimum(persistence, 1.0)
