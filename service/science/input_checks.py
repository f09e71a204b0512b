"""What is known of an input that runs all the time, at any instant, from the checks made of it.

Between checks a drip wanders and clogs, an effluent follows gas and media. The logarithm of the input over its
intended value is taken for a random walk, seen through each check's relative error; smoothing it gives the course
between checks, how far it may be off, and how long such an error lasts.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.history import Checks

Values = NDArray[np.float64]

SMALLEST_SHARE = 1e-3
"""A stopped input counts as this share of its usual value: a logarithm needs one."""
UNCHECKED_SD = 0.25
"""Relative sd of an input whose intended value is known but which nobody ever measured."""
RESET_BEYOND_SD = 4.0
"""A check further than this from the course means that the input was changed."""
JUST_AFTER_DAYS = 1e-3
"""A reset happens this long after its recorded instant, so that a check at the same instant is of before."""


@dataclass(frozen=True, slots=True)
class InputCourse:
    """An input over its intended value on a grid of instants.

    log_factor and its variance (grid); persistence (grid): the part of the error at the instant before that is still
    there at this one, 0 to 1.
    """

    at_days: Values
    log_factor: Values
    variance: Values
    persistence: Values
    set_at_days: Values
    set_value: Values

    def value_at(self, days: Values) -> Values:
        """The input at any instants, in the unit of its checks."""
        factor = np.exp(np.interp(days, self.at_days, self.log_factor))
        before = np.searchsorted(self.set_at_days, days) - 1
        return np.asarray(factor * self.set_value[np.maximum(before, 0)])

    def variance_at(self, days: Values) -> Values:
        """Relative variance at any instants."""
        return np.interp(days, self.at_days, self.variance)

    def persistence_between(self, days: Values) -> Values:
        """For instants of the grid, in order: the part of each one's error that is left at the next, last 0."""
        total = np.cumsum(np.log(np.maximum(self.persistence, 1e-12)))
        at = total[np.searchsorted(self.at_days, days)]
        return np.append(np.exp(at[1:] - at[:-1]), 0.0)


def input_courses(*, checks: Sequence[Checks], grid_days: Sequence[Values]) -> list[InputCourse]:
    """The course of every input on its grid (and at its checks), all in one pass.

    Each needs at least one check or an intended value. Source: RAUCH65 for the smoothing.
    Check value: none, arrays; compared with dense conditioning in the tests.
    """
    if not checks:
        return []
    tables = [_Table.of(each, grid) for each, grid in zip(checks, grid_days, strict=True)]
    nodes = max(len(table.at_days) for table in tables)
    gained, reading, variance = (np.stack([each.padded(c, nodes) for each in tables], axis=1) for c in range(3))
    start_mean = np.array([table.start for table in tables])
    start_variance = np.array([table.start_variance for table in tables])
    mean, variances, persistence = _smooth(start_mean, start_variance, gained, reading, variance)
    courses = []
    for lane, table in enumerate(tables):
        used = slice(0, len(table.at_days))
        courses.append(
            InputCourse(
                at_days=table.at_days,
                log_factor=mean[used, lane],
                variance=variances[used, lane],
                persistence=persistence[used, lane],
                set_at_days=table.set_at_days,
                set_value=table.set_value,
            )
        )
    return courses


@dataclass(frozen=True, slots=True)
class _Table:
    """One input in time: variance gained since the instant before, the check there (nan: none), its variance."""

    at_days: Values
    columns: tuple[Values, Values, Values]
    start: float
    start_variance: float
    set_at_days: Values
    set_value: Values

    @classmethod
    def of(cls, checks: Checks, grid: Values) -> "_Table":
        set_at, set_value = checks.set_at_days, checks.set_value
        if not len(set_value):
            positive = checks.value[checks.value > 0]
            set_at, set_value = grid[:1], np.array([np.median(positive) if len(positive) else 1.0])
        before_resets = np.unique(np.concatenate([checks.reset_days, set_at[1:]]))
        after_resets = before_resets + JUST_AFTER_DAYS
        at = np.unique(np.concatenate([grid, checks.at_days, before_resets, after_resets]))
        gained = checks.drift**2 * np.diff(at, prepend=at[0])
        gained[np.searchsorted(at, after_resets)] += checks.reset_sd**2
        reading, variance = np.full(len(at), np.nan), np.ones(len(at))
        intended = set_value[np.maximum(np.searchsorted(set_at, checks.at_days) - 1, 0)]
        usual = np.where(intended > 0, intended, 1.0)
        where = np.searchsorted(at, checks.at_days)
        reading[where] = np.log(np.maximum(checks.value / usual, SMALLEST_SHARE))
        variance[where] = checks.relative_sd**2
        has_intention = len(checks.set_value) > 0
        known = max(UNCHECKED_SD, checks.reset_sd) if has_intention else 2.0
        first = 0.0 if has_intention or not len(where) else float(reading[where[0]])
        return cls(at, (gained, reading, variance), first, known**2, set_at, set_value)

    def padded(self, column: int, nodes: int) -> Values:
        fill = (0.0, np.nan, 1.0)[column]
        return np.concatenate([self.columns[column], np.full(nodes - len(self.at_days), fill)])


def _smooth(
    start: Values, start_variance: Values, gained: Values, reading: Values, reading_variance: Values
) -> tuple[Values, Values, Values]:
    """Random walk plus noise, smoothed: mean, variance, and covariance with the instant before over its variance."""
    nodes = len(gained)
    mean, variance = np.empty_like(gained), np.empty_like(gained)
    before = np.empty_like(gained)
    m, p = start, start_variance
    for node in range(nodes):
        p = p + gained[node]
        has = ~np.isnan(reading[node])
        residual = np.where(has, reading[node] - m, 0.0)
        far = residual**2 > RESET_BEYOND_SD**2 * (p + reading_variance[node])
        p = p + np.where(far, residual**2, 0.0)
        before[node] = p
        gain = np.where(has, p / (p + reading_variance[node]), 0.0)
        m, p = m + gain * residual, p * (1.0 - gain)
        mean[node], variance[node] = m, p
    persistence = np.zeros_like(gained)
    for node in range(nodes - 2, -1, -1):
        ahead = before[node + 1]
        back = np.where(ahead > 0, variance[node] / np.where(ahead > 0, ahead, 1.0), 1.0)
        later = variance[node + 1]
        mean[node] += back * (mean[node + 1] - mean[node])
        variance[node] += back**2 * (later - ahead)
        safe = np.where(variance[node] > 0, variance[node], 1.0)
        persistence[node + 1] = np.where(variance[node] > 0, back * later / safe, 1.0)
    return mean, variance, np.minimum(persistence, 1.0)
