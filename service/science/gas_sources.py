"""How fast gas is used, from several witnesses: weighing, bubbles or a flow meter made absolute by weighing, chemistry.

They are joined by inverse variance, each named; where they disagree more than their errors allow, the join is widened
(Birge 1932). Weighing against chemistry is also the check for gas that leaves without reaching the water.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values

Flags = NDArray[np.bool_]
Z_95 = 1.959964

UNCALIBRATED_BUBBLE_MG = (0.06, 0.19)
"""A bubble of 0.03-0.1 mL at about 1 bar: a factor of three from the tip alone. From memory of tip sizes."""
CHEMISTRY_RELATIVE_SD = 0.11
"""Gas by chemistry: a chamber pH of sd 0.1 (10 %) and a timed drip of 5 %. Common practice; the pH part lasts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedPeriods:
    """Periods with a weighing at either end (last axis): grams lost with their sd, and what was indicated meanwhile.

    indicated is a count of bubbles or a meter's total in its own unit; relative_sd its error, which lasts through all.
    """

    lost_g: Values
    lost_sd_g: Values
    indicated: Values
    relative_sd: Numbers = 0.0


@dataclass(frozen=True, slots=True)
class Calibration:
    """What one unit of an indication (a bubble, a meter's mL) weighs, g, and its relative sd; one shape."""

    unit_g: Values
    relative_sd: Values


@dataclass(frozen=True, slots=True)
class FusedRate:
    """The rate all sources together give, g/d; NaN without any.

    sd_g_d is by inverse variance, times disagreement where that is above 1. weight is each source's share (last axis);
    disagreement is the Birge ratio: root of chi squared over its degrees of freedom, NaN with one source.
    """

    rate_g_d: Values
    sd_g_d: Values
    weight: Values
    disagreement: Values


@dataclass(frozen=True, slots=True)
class GasCheck:
    """Gas weighed out less gas found in the water; all fields one shape.

    missing_fraction is the part of the weighed gas that the chemistry does not show, with its 95 % interval; negative
    when chemistry shows more. is_significant: beyond the score asked, either way. A deficit means a leak, venting, or a
    pH read after the sample had lost gas.
    """

    missing_g_d: Values
    sd_g_d: Values
    missing_fraction: Values
    low_fraction: Values
    high_fraction: Values
    score: Values
    is_significant: Flags


def calibrate_by_weighing(*, periods: WeighedPeriods) -> Calibration:
    """Mass of one indicated unit from cylinder losses over periods with a known indication.

    Each period's ratio weighted by inverse variance. NaN periods are left out; NaN without any.

    Source: BIRGE32, JCGM08. Check value: none, tested by test_a_bubble_is_weighed.
    """
    lost, sd, count = np.broadcast_arrays(
        *(np.asarray(x, dtype=np.float64) for x in (periods.lost_g, periods.lost_sd_g, periods.indicated))
    )
    known = np.isfinite(lost) & (sd > 0.0) & (count > 0.0)
    counted = np.where(known, count, 1.0)
    weight = np.where(known, (counted / np.where(known, sd, 1.0)) ** 2, 0.0)
    total = weight.sum(axis=-1)
    total = np.where(total > 0.0, total, np.nan)
    unit = (weight * np.where(known, lost / counted, 0.0)).sum(axis=-1) / total
    of_weighing = total**-0.5 / np.where(unit > 0.0, unit, np.nan)
    return Calibration(unit, np.hypot(of_weighing, periods.relative_sd))


def bubble_rate_g_d(*, bubbles_per_day: Numbers, bubble_mg: Numbers) -> Values:
    """Gas in bubbles, g/d. Only relative until a bubble has been weighed: a factor of three from the tip alone.

    Source: DERIVED.
    Check value: 5.2 at bubbles_per_day=86400, bubble_mg=0.06 (+-0.05).
    Check value: 16.4 at bubbles_per_day=86400, bubble_mg=0.19 (+-0.05).
    """
    return np.asarray(bubbles_per_day, dtype=np.float64) * bubble_mg / 1000.0


def fuse_rates(*, rate_g_d: Values, rate_sd: Values) -> FusedRate:
    """One rate from several independent sources (last axis), by inverse variance. NaN sources are absent.

    A bubble or meter calibrated by the same weighings is not independent of them: calibrate on earlier periods.

    Source: BIRGE32.
    Check value: none, tested by test_sources_are_joined_by_inverse_variance.
    Shapes: the last axis is the sources.
    """
    rate, sd = np.broadcast_arrays(np.asarray(rate_g_d, dtype=np.float64), np.asarray(rate_sd, dtype=np.float64))
    known = np.isfinite(rate) & (sd > 0.0)
    precision = np.where(known, 1.0 / np.where(known, sd, 1.0) ** 2, 0.0)
    total = precision.sum(axis=-1)
    total = np.where(total > 0.0, total, np.nan)
    weight = precision / total[..., None]
    mean = (weight * np.where(known, rate, 0.0)).sum(axis=-1)
    chi2 = (precision * np.where(known, rate - mean[..., None], 0.0) ** 2).sum(axis=-1)
    freedom = known.sum(axis=-1) - 1
    ratio = np.sqrt(chi2 / np.where(freedom > 0, freedom, np.nan))
    widened = np.where(ratio > 1.0, ratio, 1.0)
    return FusedRate(mean, widened * total**-0.5, weight, ratio)


def gas_check(
    *,
    weighed_g_d: Numbers,
    weighed_sd: Numbers,
    chemistry_g_d: Numbers,
    chemistry_sd: Numbers,
    significant_score: Numbers = Z_95,
) -> GasCheck:
    """Gas weighed out of the cylinder against gas the chamber's chemistry shows: is the difference significant?

    Source: JCGM08.
    Check value: missing_g_d = 6 at weighed_g_d=20, weighed_sd=1, chemistry_g_d=14, chemistry_sd=1.4 (+-1e-12).
    Check value: score = 3.487 at weighed_g_d=20, weighed_sd=1, chemistry_g_d=14, chemistry_sd=1.4 (+-0.001).
    """
    weighed, chemistry = np.asarray(weighed_g_d, dtype=np.float64), np.asarray(chemistry_g_d, dtype=np.float64)
    missing, sd = weighed - chemistry, np.hypot(weighed_sd, chemistry_sd)
    used = np.where(weighed > 0.0, weighed, np.nan)
    # d(1 - C/W) = -dC/W + C dW/W^2
    fraction_sd = np.hypot(chemistry_sd / used, chemistry * weighed_sd / used**2)
    fraction = missing / used
    score = missing / np.where(sd > 0.0, sd, np.nan)
    low, high = fraction - Z_95 * fraction_sd, fraction + Z_95 * fraction_sd
    missing, sd, fraction, low, high, score = np.broadcast_arrays(missing, sd, fraction, low, high, score)
    return GasCheck(missing, sd, fraction, low, high, score, np.asarray(np.abs(score) > significant_score))


def weighed_rate_sd(*, weighing_sd_g: Numbers, over_days: Numbers, weighing_interval_days: Numbers) -> Values:
    """Sd of a constant rate by least squares through weighings at equal intervals over some days, g/d.

    s / sqrt(h^2 n (n^2 - 1)/12) for n = over_days/h + 1 weighings, taken as a smooth function of n.

    Source: DERIVED, JCGM08.
    Check value: 4.041 at weighing_sd_g=20, over_days=7, weighing_interval_days=7 (+-0.001).
    Check value: 0.904 at weighing_sd_g=20, over_days=28, weighing_interval_days=7 (+-0.001).
    """
    n = np.asarray(over_days, dtype=np.float64) / weighing_interval_days + 1.0
    return weighing_sd_g / (np.asarray(weighing_interval_days) * np.sqrt(n * (n * n - 1.0) / 12.0))


def smallest_visible_leak(
    *,
    use_g_d: Numbers,
    weighing_sd_g: Numbers,
    over_days: Numbers,
    weighing_interval_days: Numbers = 7.0,
    chemistry_relative_sd: Numbers = CHEMISTRY_RELATIVE_SD,
    significant_score: Numbers = Z_95,
) -> Values:
    """The smallest part of the gas whose loss would be significant, 0 to above 1 (nothing is visible).

    z times the relative sd of weighing and chemistry together. Time narrows the weighing, not the pH: it never falls
    below z times the chemistry's.

    Source: DERIVED, JCGM08.
    Check value: 0.45 at use_g_d=20, weighing_sd_g=20, over_days=7 (+-0.01).
    Check value: 0.23 at use_g_d=20, weighing_sd_g=20, over_days=28 (+-0.01).
    """
    sd = weighed_rate_sd(
        weighing_sd_g=weighing_sd_g, over_days=over_days, weighing_interval_days=weighing_interval_days
    )
    return np.asarray(significant_score * np.hypot(sd / use_g_d, chemistry_relative_sd))
