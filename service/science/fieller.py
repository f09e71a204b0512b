"""Intervals for a ratio of two estimates, and for the day a straight line reaches a level: they may have no end.

When the denominator is not surely apart from nothing, no finite interval can hold the truth as often as it says: the
records then allow every date after one, or every date.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.student import t_quantile

Flags = NDArray[np.bool_]
FEWEST_READINGS = 3


@dataclass(frozen=True, slots=True)
class RatioInterval:
    """What a ratio may be; all fields one shape.

    is_bounded: from low to high. is_two_rays: anything up to low, and anything from high on. Neither: anything at all,
    low and high are -inf and inf.
    """

    value: Values
    low: Values
    high: Values
    is_bounded: Flags
    is_two_rays: Flags


@dataclass(frozen=True, slots=True)
class LineReaches:
    """The day a falling straight line reaches a level; all fields one shape, days on the axis of the readings.

    rate_kg_d is how fast it falls. high_days is inf where the readings give no last day, low_days -inf where they give
    no first one either (a rise is as likely as a fall). NaN throughout with fewer than three readings.
    """

    at_days: Values
    low_days: Values
    high_days: Values
    rate_kg_d: Values
    rate_sd_kg_d: Values


def ratio_interval(
    *,
    numerator_mean: Numbers,
    numerator_variance: Numbers,
    denominator_mean: Numbers,
    denominator_variance: Numbers,
    covariance: Numbers,
    score: Numbers,
) -> RatioInterval:
    """All ratios rho for which numerator - rho denominator lies within `score` of its own sd.

    (d^2 - z^2 v_dd) rho^2 - 2 (n d - z^2 v_nd) rho + (n^2 - z^2 v_nn) <= 0

    Source: FIELLER54.
    Check value: low = 1.6 at numerator_mean=2, numerator_variance=0.04, denominator_mean=1, denominator_variance=0,
        covariance=0, score=2 (+-1e-12).
    """
    n, d, z2 = (np.asarray(each, dtype=np.float64) for each in (numerator_mean, denominator_mean, score))
    z2 = z2**2
    a = d**2 - z2 * denominator_variance
    b = n * d - z2 * covariance
    c = n**2 - z2 * numerator_variance
    discriminant = b**2 - a * c
    root = np.sqrt(np.maximum(discriminant, 0.0))
    safe = np.where(a == 0.0, np.nan, a)
    ends = np.stack(np.broadcast_arrays((b - root) / safe, (b + root) / safe))
    bounded = a > 0.0
    two_rays = (a < 0.0) & (discriminant > 0.0)
    parts = np.broadcast_arrays(
        n / np.where(d == 0.0, np.nan, d),
        np.where(bounded | two_rays, ends.min(axis=0), -np.inf),
        np.where(bounded | two_rays, ends.max(axis=0), np.inf),
        bounded,
        two_rays,
    )
    return RatioInterval(*parts)


def line_reaches(
    *, at_days: Values, mass_kg: Values, level_kg: Numbers = 0.0, offset_sd_kg: Numbers = 0.0, level: float = 0.95
) -> LineReaches:
    """When mass that falls at a constant rate reaches a level, by least squares and Fieller's interval.

    offset_sd_kg is what all readings may be off together (the tare). Scatter is taken from the readings themselves,
    Student's t with n - 2. It assumes one constant rate: after a change of gas or drip it is too sure. NaN readings are
    left out.

    Source: FIELLER54.
    Check value: none, tested by test_the_worked_line_and_its_interval.
    Shapes: the last axis is time.
    """
    time, mass = np.broadcast_arrays(np.asarray(at_days, dtype=np.float64), np.asarray(mass_kg, dtype=np.float64))
    known = np.isfinite(time) & np.isfinite(mass)
    count = known.sum(axis=-1)
    enough = count >= FEWEST_READINGS
    n = np.where(enough, count, FEWEST_READINGS).astype(np.float64)
    middle = np.where(known, time, 0.0).sum(axis=-1) / n
    mean = np.where(known, mass, 0.0).sum(axis=-1) / n
    apart = np.where(known, time - middle[..., None], 0.0)
    spread = (apart**2).sum(axis=-1)
    spread = np.where(enough & (spread > 0.0), spread, np.nan)
    rate = -(apart * np.where(known, mass, 0.0)).sum(axis=-1) / spread
    off = np.where(known, mass - mean[..., None] + rate[..., None] * apart, 0.0)
    variance = (off**2).sum(axis=-1) / (n - 2.0)
    scores = {int(k): t_quantile(level=level, degrees_of_freedom=int(k) - 2) for k in np.unique(n)}
    ratio = ratio_interval(
        numerator_mean=mean - level_kg,
        numerator_variance=variance / n + np.asarray(offset_sd_kg) ** 2,
        denominator_mean=rate,
        denominator_variance=variance / spread,
        covariance=0.0,
        score=np.vectorize(scores.__getitem__, otypes=[np.float64])(n.astype(int)),
    )
    # Gas only leaves: of two rays the one of falling lines is meant.
    known_rate = np.isfinite(rate)
    low = np.where(ratio.is_bounded, ratio.low, np.where(ratio.is_two_rays, ratio.high, -np.inf))
    high = np.where(ratio.is_bounded, ratio.high, np.inf)
    falling = rate > 0.0
    parts = np.broadcast_arrays(
        np.where(falling, middle + ratio.value, np.nan),
        np.where(known_rate, middle + low, np.nan),
        np.where(known_rate, middle + high, np.nan),
        rate,
        np.sqrt(variance / spread),
    )
    return LineReaches(*parts)
