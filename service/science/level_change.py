"""Has something changed? One change of level or of slope in a short, noisy record of checks.

The checks of a drip, of an effluent, of a cylinder's weight share errors that last (a watch, a titrant, a scale): what
they say about a *change* is far better than what any of them says about the amount. Both tests look at every instant
at which the change may have begun, of late, and keep the likeliest (generalised likelihood ratio).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from service.science import Values

Z_95 = 1.959964
CHI2_95 = 5.991465
"""By how much chi squared may be above its least, 95 %, when both the instant and the size were sought."""
NORMAL_MAD = 1.482602
"""The sd of a normal distribution over its median absolute deviation."""
MEDIAN_EFFICIENCY = np.pi / 2.0
"""Variance of a median over that of a mean, many normal values."""
FEWEST_BEFORE, FEWEST_AFTER = 3, 2
"""Checks needed to know the usual level, and to believe a change: one check alone may be a slip."""
ENOUGH_FOR_SCATTER = 6
LEAST_SCATTER = 0.02
"""Relative. Records that agree better than this by luck are not believed (common practice)."""
WANDER_PER_ROOT_DAY = 0.008
"""By how much a drip or an effluent wanders unprovoked, part of it a square root of a day (common practice)."""


@dataclass(frozen=True, slots=True)
class LevelChange:
    """A change of level: what the values after it are of those before (ratio, 95 % interval), and since when.

    after_days is the last check before the change, at_days the first one after; score its size in standard deviations;
    before, after count the checks on either side.
    """

    ratio: float
    low: float
    high: float
    score: float
    after_days: float
    at_days: float
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class SlopeChange:
    """A change of what leaves for each unit indicated: the later slope over the earlier (ratio, 95 % interval).

    at_days: the weighing from which it holds; score: the difference of the slopes in standard deviations.
    """

    ratio: float
    low: float
    high: float
    score: float
    at_days: float
    before: int
    after: int


def level_change(
    *,
    at_days: Values,
    value: Values,
    relative_sd: Values,
    recent_days: float = 35.0,
    wander_per_root_day: float = WANDER_PER_ROOT_DAY,
    begun_days: float | None = None,
) -> LevelChange | None:
    """The likeliest single change of level among the checks of the last `recent_days`, however small.

    at_days rises, value is above 0 and relative_sd is what each is stated to; arrays (checks). The scatter is taken
    from the record itself, by the median of successive differences, once six are there; before, as stated: what all
    checks share cancels. A level is a median, so that one slip on either side moves nothing. None where there are too
    few checks. begun_days: the instant at which it is known to have begun, if it was there; the change from the checks
    before to those from then on. Whether to believe it is for the caller: see `score`.

    Source: DERIVED, WILLSKY76.
    Check value: none, tested by test_a_step_is_found_where_it_was.
    Shapes: the axis is the checks.
    """
    if len(value) < FEWEST_BEFORE + FEWEST_AFTER:
        return None
    log = np.log(value)
    scatter = _scatter(log, relative_sd)
    splits = [
        first
        for first in range(FEWEST_BEFORE, len(log) - FEWEST_AFTER + 1)
        if at_days[first] >= at_days[-1] - recent_days
        and (begun_days is None or at_days[first - 1] < begun_days <= at_days[first])
    ]
    if not splits:
        return None
    first = min(splits, key=lambda each: _misfit(log[:each]) + _misfit(log[each:]))
    return _at(first, at_days, log, scatter, wander_per_root_day)


def _misfit(log: Values) -> float:
    return float(np.abs(log - np.median(log)).sum())


def _scatter(log: Values, relative_sd: Values) -> float:
    """Sd of one check apart from what all of them share."""
    if len(log) < ENOUGH_FOR_SCATTER:
        return max(float(np.median(relative_sd)), LEAST_SCATTER)
    steps = np.diff(log)
    return max(float(NORMAL_MAD * np.median(np.abs(steps)) / np.sqrt(2.0)), LEAST_SCATTER)


def _at(first: int, at_days: Values, log: Values, scatter: float, wander: float) -> LevelChange:
    before, after = log[:first], log[first:]
    apart = float(np.mean(at_days[first:]) - at_days[first - 1])
    variance = scatter**2 * (_of_middle(len(before)) + _of_middle(len(after))) + wander**2 * apart
    step = float(np.median(after) - np.median(before))
    sd = float(np.sqrt(variance))
    return LevelChange(
        ratio=float(np.exp(step)),
        low=float(np.exp(step - Z_95 * sd)),
        high=float(np.exp(step + Z_95 * sd)),
        score=_least_of_the_last(step, after, before) / sd,
        after_days=float(at_days[first - 1]),
        at_days=float(at_days[first]),
        before=len(before),
        after=len(after),
    )


def _of_middle(count: int) -> float:
    """Variance of a median of so many values of variance one (two values: their mean)."""
    return (1.0 if count <= 2 else MEDIAN_EFFICIENCY) / count


def _least_of_the_last(step: float, after: Values, before: Values) -> float:
    """The size of the change, or less where one of the last two checks does not share it: then it may be over."""
    last = np.sign(step) * (after[-FEWEST_AFTER:] - np.median(before))
    return float(min(abs(step), 1.5 * max(float(last.min()), 0.0)))


def slope_change(
    *,
    at_days: Values,
    mass: Values,
    mass_sd: Values,
    indicated: Values,
    series: Values,
    indicated_relative_sd: float,
    recent_days: float = 42.0,
) -> SlopeChange | None:
    """The likeliest single change of mass lost for each unit indicated, over weighings of one or more cylinders.

    at_days rises; mass with mass_sd (one unit) is what was weighed, indicated the running total of what an indicator
    (bubbles, a meter, a chemistry) counted until then, series numbers the cylinder: each has a level of its own.
    indicated_relative_sd: what the totals before and after may be off by apart from what they share. Weighted least
    squares with one slope before and one after; the interval spans every instant that fits nearly as well (it holds
    the truth some nine times in ten: the best of many was chosen). None with
    fewer than three weighings before and two after, or where nothing was indicated.

    Source: WILLSKY76, AITKEN35.
    Check value: none, tested by test_a_leak_bends_the_line.
    Shapes: the axis is the weighings.
    """
    bends = [
        bend
        for first in range(FEWEST_BEFORE - 1, len(mass) - FEWEST_AFTER)
        if at_days[first] >= at_days[-1] - recent_days
        and (bend := _bend(first, at_days, mass, mass_sd, indicated, series, indicated_relative_sd))
    ]
    if not bends:
        return None
    best = max(bends, key=lambda each: abs(each.score))
    alike = [
        each for each in bends if each.score * np.sign(best.score) >= 0 and each.score**2 >= best.score**2 - CHI2_95
    ]
    return replace(best, low=min(each.low for each in alike), high=max(each.high for each in alike))


def _bend(
    first: int,
    at_days: Values,
    mass: Values,
    mass_sd: Values,
    indicated: Values,
    series: Values,
    indicated_relative_sd: float,
) -> SlopeChange | None:
    """Slopes before and after weighing `first`."""
    early = np.minimum(indicated, indicated[first])
    late = np.maximum(indicated - indicated[first], 0.0)
    levels = (series[:, None] == np.unique(series)).astype(np.float64)
    design = np.column_stack([levels, -early, -late]) / mass_sd[:, None]
    if np.linalg.matrix_rank(design) < design.shape[1]:
        return None
    covariance = np.linalg.inv(design.T @ design)
    solution = covariance @ design.T @ (mass / mass_sd)
    before, after = float(solution[-2]), float(solution[-1])
    if before <= 0.0:
        return None
    variance = (
        covariance[-1, -1] + covariance[-2, -2] - 2.0 * covariance[-1, -2] + 2.0 * (indicated_relative_sd * before) ** 2
    )
    ratio = after / before
    # of after/before, first order
    ratio_sd = np.sqrt(covariance[-1, -1] - 2.0 * ratio * covariance[-1, -2] + ratio**2 * covariance[-2, -2]) / before
    half = Z_95 * float(np.hypot(ratio_sd, np.sqrt(2.0) * indicated_relative_sd * ratio))
    return SlopeChange(
        ratio,
        ratio - half,
        ratio + half,
        score=(after - before) / float(np.sqrt(variance)),
        at_days=float(at_days[first]),
        before=first + 1,
        after=len(mass) - first - 1,
    )
