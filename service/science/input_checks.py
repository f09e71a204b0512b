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

Values = NDArray[np.float64]

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
    drifted, reset, reading, noise = (np.stack([t.padded(c, nodes) for t in tables], axis=1) for c in range(4))
    start = np.array([[table.start, table.start_variance] for table in tables]).T
    tried = _filter(start[..., None], _gain(drifted, reset, DRIFT_FACTORS), reading[..., None], noise[..., None])
    weight = tried.log_likelihood - 0.5 * (np.log(DRIFT_FACTORS) / DRIFT_LOG_SD) ** 2
    gained = _gain(drifted, reset, DRIFT_FACTORS)[:, np.arange(len(tables)), weight.argmax(axis=1)]
    mean, variances, persistence = _smooth(_filter(start, gained, reading, noise))
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
    """One input in time.

    columns: variance gained since the instant before by drift as stated and by a reset, the check (nan: none), its
    variance.
    """

    at_days: Values
    columns: tuple[Values, Values, Values, Values]
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
        drifted, reset = checks.drift**2 * np.diff(at, prepend=at[0]), np.zeros(len(at))
        reset[np.searchsorted(at, after_resets)] = checks.reset_sd**2
        reading, variance = np.full(len(at), np.nan), np.ones(len(at))
        intended = set_value[np.maximum(np.searchsorted(set_at, checks.at_days) - 1, 0)]
        usual = np.where(intended > 0, intended, 1.0)
        where = np.searchsorted(at, checks.at_days)
        precision = np.maximum(checks.relative_sd, SHARPEST_CHECK) ** -2.0
        logarithm = np.log(np.maximum(checks.value / usual, SMALLEST_SHARE))
        total = np.bincount(where, weights=precision, minlength=len(at))
        known = total > 0.0
        reading[known] = np.bincount(where, weights=precision * logarithm, minlength=len(at))[known] / total[known]
        variance[known] = 1.0 / total[known]
        has_intention = len(checks.set_value) > 0
        unknown = max(UNCHECKED_SD, checks.reset_sd) if has_intention else 2.0
        first = 0.0 if has_intention or not len(where) else float(reading[where[0]])
        return cls(at, (drifted, reset, reading, variance), first, unknown**2, set_at, set_value)

    def padded(self, column: int, nodes: int) -> Values:
        fill = (0.0, 0.0, np.nan, 1.0)[column]
        return np.concatenate([self.columns[column], np.full(nodes - len(self.at_days), fill)])


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
    nodes = len(gained)
    mean, variance, before = (np.empty_like(gained) for _ in range(3))
    log_likelihood = np.zeros(gained.shape[1:])
    m, p = start
    for node in range(nodes):
        p = p + gained[node]
        has = ~np.isnan(reading[node])
        residual = np.where(has, reading[node] - m, 0.0)
        total = p + noise[node]
        score = residual**2 / total
        far = score > RESET_BEYOND_SD**2
        log_likelihood -= np.where(has, 0.5 * (np.minimum(score, RESET_BEYOND_SD**2) + np.log(total)), 0.0)
        p = p + np.where(far, residual**2, 0.0)
        before[node] = p
        gain = np.where(has, p / (p + noise[node]), 0.0)
        m, p = m + gain * residual, p * (1.0 - gain)
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
