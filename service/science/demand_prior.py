"""Where the consumption estimate starts, and the settings it is averaged over.

A robust slope of the readings, corrected for everything known to have been added, says how large the demand is. From
it come the start of the filter and the middle of the log-normal prior for how fast the demand drifts.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.timeline import Timeline

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

DRIFT_SHARE = 0.04
"""Median of the prior for the drift: part of the demand a square root of a day. A judgement, as the others here are."""
DRIFT_LOG_SD = 0.8
DRIFT_SCORES = np.linspace(-2.4, 2.4, 7)
NOISE_FACTORS = np.exp(0.35 * np.arange(-1, 4))
NOISE_LOG_SD = 0.4
"""The noise of the kit is averaged over from the first reading on; this prior keeps it near what is stated until some
thirty readings say otherwise, so that no threshold is needed at which the answer would jump."""
EARLY_READINGS = 12


@dataclass(frozen=True, slots=True)
class Start:
    """Per system (systems): level and demand at the first node with their sds, and the size of the demand.

    The demand is that which known inputs, taken as exact, leave to be explained; demand_sd is beside their errors.
    """

    level: Values
    level_sd: Values
    demand: Values
    demand_sd: Values
    demand_size: Values

    def take(self, lanes: Whole) -> "Start":
        """The start of some of the systems."""
        return Start(*(getattr(self, name)[lanes] for name in self.__dataclass_fields__))


@dataclass(frozen=True, slots=True)
class Grid:
    """The settings tried, (systems, settings): s_d, kit noise over stated noise, logarithm of the prior weight."""

    drift: Values
    noise_factor: Values
    log_prior: Values

    def take(self, lanes: Whole) -> "Grid":
        """The settings of some of the systems."""
        return Grid(self.drift[lanes], self.noise_factor[lanes], self.log_prior[lanes])

    def likeliest(self, log_likelihood: Values) -> "Grid":
        """The one setting of each system with the largest posterior weight, (systems, 1)."""
        best = (log_likelihood + self.log_prior).argmax(axis=1)[:, None]
        each = (np.take_along_axis(values, best, axis=1) for values in (self.drift, self.noise_factor, self.log_prior))
        return Grid(*each)


def robust_start(*, timeline: Timeline) -> Start:
    """Level and demand by the median of slopes between readings half a record apart (first twelve, and all).

    Theil's incomplete method: pairs half a record apart, not all of them; twelve is a judgement.

    Source: THEIL50. Check value: none, tested by test_the_start_is_not_moved_by_one_gross_reading.
    """
    corrected, reach, sd, count = corrected_readings(timeline)
    early = np.minimum(count, EARLY_READINGS)
    slope, baseline = _median_slope(corrected, reach, early)
    whole, _ = _median_slope(corrected, reach, count)
    within = np.arange(len(corrected))[:, None] < early
    level = _masked_median(corrected + slope * reach, within)
    noise = _masked_median(sd, within)
    size = np.maximum(np.abs(whole), np.maximum(0.1 * np.abs(timeline.supply), noise / 20.0))
    return Start(
        level=level,
        level_sd=4.0 * noise,
        demand=slope,
        demand_sd=np.maximum(0.6 * size, 4.0 * noise / baseline),
        demand_size=size,
    )


def settings_grid(*, start: Start, coarse: bool = False) -> Grid:
    """Drift by kit noise around the prior: what the answer is averaged over, or coarse for a first impression.

    Source: PRACTICE. Check value: none, definition.
    """
    which = slice(1, None, 2) if coarse else slice(None)
    pairs = np.meshgrid(DRIFT_SCORES[which], NOISE_FACTORS[which], indexing="ij")
    score, factor = (each.ravel() for each in pairs)
    drift = DRIFT_SHARE * start.demand_size[:, None] * np.exp(DRIFT_LOG_SD * score)
    noise_score = np.log(factor) / NOISE_LOG_SD
    log_prior = np.broadcast_to(-0.5 * (score**2 + noise_score**2), drift.shape)
    return Grid(drift, np.broadcast_to(factor, drift.shape), log_prior)


def corrected_readings(timeline: Timeline) -> tuple[Values, Values, Values, Whole]:
    """Readings less what known inputs made of them, the days of demand since the first, sds, (readings, systems).

    The feedback of the level on exchange and water changes is taken from the readings themselves, straight in between.

    Source: DERIVED. Check value: none, tested by test_the_start_is_not_moved_by_one_gross_reading.
    """
    nodes, systems = timeline.reading.shape
    level = np.empty((nodes, systems))
    for lane in range(systems):
        has = timeline.has_reading[:, lane]
        level[:, lane] = np.interp(timeline.at_days[:, lane], timeline.at_days[has, lane], timeline.reading[has, lane])
    before = np.concatenate([level[:1], level[:-1]])
    left = 1.0 - timeline.fraction
    brought = left * (timeline.decay * before + timeline.push) + timeline.fraction * timeline.new_value - before
    brought[0], reach = 0.0, np.cumsum(left * timeline.response, axis=0)
    order = np.argsort(~timeline.has_reading, axis=0, kind="stable")
    corrected, reach, sd = (
        np.take_along_axis(values, order, axis=0)
        for values in (timeline.reading - np.cumsum(brought, axis=0), reach, np.sqrt(timeline.variance))
    )
    return corrected, reach, sd, timeline.has_reading.sum(axis=0)


def _median_slope(corrected: Values, reach: Values, count: Whole) -> tuple[Values, Values]:
    """Median over pairs half of `count` readings apart of the fall a day of demand, and the median baseline."""
    half = np.maximum(count // 2, 1)
    row = np.arange(len(corrected))[:, None]
    partner = np.minimum(row + half, len(corrected) - 1)
    baseline = np.take_along_axis(reach, partner, axis=0) - reach
    fall = corrected - np.take_along_axis(corrected, partner, axis=0)
    valid = (row + half < count) & (baseline > 1e-3)
    slope = _masked_median(fall / np.where(valid, baseline, 1.0), valid)
    return slope, np.maximum(_masked_median(baseline, valid), 1e-3)


def _masked_median(values: Values, valid: Flags) -> Values:
    """Median down the columns where valid; 0 where nothing is."""
    ordered = np.sort(np.where(valid, values, np.inf), axis=0)
    count = valid.sum(axis=0)
    low, high = np.maximum((count - 1) // 2, 0), count // 2
    pair = [np.take_along_axis(ordered, np.minimum(each, len(ordered) - 1)[None], axis=0)[0] for each in (low, high)]
    return np.where(count > 0, 0.5 * (np.where(count > 0, pair[0], 0.0) + np.where(count > 0, pair[1], 0.0)), 0.0)
