"""Calcium carbonate that fell out of the water at once: alkalinity and calcium fall together, 20.04 mg a meq.

A kit that went off shows in alkalinity alone; dilution takes some 150 mg of calcium with each meq of alkalinity, since
it takes the same part of both. A ratio near 20 with an interval that excludes none and so much tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.science import Values
from service.science.answer import LevelShift
from service.science.demand_prior import corrected_readings
from service.science.fieller import ratio_interval
from service.science.history import SystemHistory
from service.science.reactor_output import MG_CALCIUM_PER_MEQ
from service.science.timeline import lay_out

Z_95 = 1.959964
AROUND_DAYS = 35.0
FEWEST_AROUND = 3
"""Readings of calcium on either side: two give a slope and no doubt about it (common practice)."""
SIGNIFICANT_SCORE = 2.5
"""Of the fall of calcium. Alkalinity has been seen to jump before it is asked."""
DILUTION_MG_PER_MEQ = 60.0
"""Far above what skeletons or precipitation take, far below what dilution takes (a judgement)."""


@dataclass(frozen=True, slots=True)
class Fall:
    """By how much a level fell at once, beside its slope and what is on record; its sd; the readings on each side."""

    size: float
    sd: float
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class Precipitated:
    """What fell out between two instants (days): alkalinity and calcium with 95 % intervals, and calcium a meq."""

    after_days: float
    at_days: float
    alkalinity: tuple[float, float, float]
    calcium: tuple[float, float, float]
    ratio: tuple[float, float, float]


def fall_between(*, history: SystemHistory, after_days: float, at_days: float) -> Fall | None:
    """By how much a level fell between two instants: a straight line with a step, through five weeks on either side.

    Weighted least squares on readings less what is on record, their noise as stated or as it scatters, whichever is
    more; readings between the instants are left out. None with fewer than three readings on a side.

    Source: AITKEN35, HUBER64. Check value: none, tested by test_a_fall_is_told_apart_from_a_slope.
    """
    if len(history.readings.at_days) < 2 * FEWEST_AROUND:
        return None
    timeline = lay_out(histories=[history], at_days=history.readings.at_days[-1:])
    corrected, reach, sd, count = (each[..., 0] for each in corrected_readings(timeline))
    days = timeline.at_days[timeline.has_reading[:, 0], 0]
    before = (days <= after_days) & (days >= after_days - AROUND_DAYS)
    after = (days >= at_days) & (days <= at_days + AROUND_DAYS)
    if min(before.sum(), after.sum()) < FEWEST_AROUND:
        return None
    kept = before | after
    y, noise = corrected[: int(count)][kept], sd[: int(count)][kept]
    design = np.column_stack([np.ones(kept.sum()), reach[: int(count)][kept], after[kept].astype(np.float64)])
    step, variance = _least_squares(design, y, noise)
    return Fall(-step, float(np.sqrt(variance)), int(before.sum()), int(after.sum()))


def _least_squares(design: Values, value: Values, noise: Values) -> tuple[float, float]:
    """The last coefficient and its variance; readings beyond 2.5 sd count less."""
    weight = np.ones(len(value))
    for _ in range(3):
        scaled = design * (weight / noise)[:, None]
        covariance = np.linalg.inv(scaled.T @ scaled)
        solution = covariance @ scaled.T @ (value * weight / noise)
        score = (value - design @ solution) / noise
        weight = np.sqrt(np.minimum(1.0, 2.5 / np.maximum(np.abs(score), 1e-12)))
    excess = float((weight**2 * score**2).sum()) / max(len(value) - design.shape[1], 1)
    return float(solution[-1]), float(covariance[-1, -1]) * max(excess, 1.0)


def precipitated(*, alkalinity: LevelShift, calcium: Fall) -> Precipitated | None:
    """Whether alkalinity (a jump down, meq/L) and calcium (mg/L) fell together as carbonate falls out; None if not.

    Calcium must have fallen by 2.5 of its sd, and the ratio hold 20.04 and exclude both none and that of dilution.

    Source: FIELLER54, IUPAC05. Check value: none, tested by test_both_fall_together_at_twenty_milligrams_a_meq.
    """
    if alkalinity.size >= 0.0 or calcium.size < SIGNIFICANT_SCORE * calcium.sd:
        return None
    fell, fell_sd = -alkalinity.size, (alkalinity.high - alkalinity.low) / (2.0 * Z_95)
    ratio = ratio_interval(
        numerator_mean=calcium.size,
        numerator_variance=calcium.sd**2,
        denominator_mean=fell,
        denominator_variance=fell_sd**2,
        covariance=0.0,
        score=Z_95,
    )
    low, high = float(ratio.low), float(ratio.high)
    if not bool(ratio.is_bounded) or not 0.0 < low <= MG_CALCIUM_PER_MEQ <= high < DILUTION_MG_PER_MEQ:
        return None
    half = Z_95 * calcium.sd
    return Precipitated(
        alkalinity.after_days,
        alkalinity.at_days,
        (fell, -alkalinity.high, -alkalinity.low),
        (calcium.size, calcium.size - half, calcium.size + half),
        (calcium.size / fell, low, high),
    )
