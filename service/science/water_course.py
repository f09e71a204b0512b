"""The smoothed course of what moves slowly in a body of water: salinity, nitrate.

The level is a start, plus what is on record (water changes, exchanges, additions), plus a slope that drifts, plus a
little up and down:

    y(t) = L + known(t) + integral of s + w(t) + noise      s(t) = s0 + drifting error

All of it is Gaussian and a record is short, so that level and slope at any instant follow from one inverse of the
covariance of the readings: what the smoother gives of the same model, for many systems at once and without its loop.
Water changes are events of their own: the slope is of what nobody recorded.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Values
from service.science.history import SystemHistory
from service.science.nodes import Samples

Flags = NDArray[np.bool_]

FEWEST_READINGS = 4
"""Below that a slope is a guess (common practice, no source)."""
MOST_READINGS = 60
"""The last ones: what is older says nothing of the slope that a record of a few months does not."""
SYSTEMS_AT_ONCE = 100
NOISIER_BEYOND_SD, SET_ASIDE_BEYOND_SD, SET_ASIDE = 2.5, 4.0, 1e6
AS_STATED = 6.0
"""The noise of an instrument is taken as stated with the weight of so many readings, else as it scatters; a few
readings that agree by luck are not believed."""
NEVER_READ = 1e12


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How a quantity moves unprovoked, in its unit: judgements, common practice.

    level_noise: concentration a square root of a day, up and down; slope_sd: what slopes are like, a day; slope_drift:
    how fast a slope turns into another, a day a square root of a day; lot_step_sd: how far a new lot or probe may read
    from the old one.
    """

    level_noise: float
    slope_sd: float
    slope_drift: float
    lot_step_sd: float


SALINITY = Pace(level_noise=0.03, slope_sd=0.05, slope_drift=0.002, lot_step_sd=0.3)
NITRATE = Pace(level_noise=0.1, slope_sd=0.5, slope_drift=0.02, lot_step_sd=1.0)
"""Practical salinity, and mg/L of NO3."""


@dataclass(frozen=True, slots=True)
class WaterCourse:
    """Level and slope a day with their sds at the instants asked for, arrays (instants), given all readings.

    The slope is what raises the level beside recorded events. readings counts those used, from first_read to last_read
    (days).
    """

    at_days: Values
    level: Values
    level_sd: Values
    slope: Values
    slope_sd: Values
    readings: int
    first_read: float
    last_read: float


def water_courses(
    *, histories: Sequence[SystemHistory], at_days: Sequence[Values], pace: Pace
) -> list[WaterCourse | None]:
    """The course of each system at its own instants (as many for each), many at once; None below four readings.

    A reading beyond 2.5 sd of what the others say counts less, beyond 4 sd not at all.

    Source: KALMAN60, RAUCH65, HUBER64. Check value: none, tested by test_the_course_is_that_of_the_smoother.
    Shapes: histories are systems, the axis of at_days are instants.
    """
    records = [_Record.of(history, pace) for history in histories]
    able = [index for index, each in enumerate(records) if len(each.at_days) >= FEWEST_READINGS]
    found: list[WaterCourse | None] = [None] * len(histories)
    for first in range(0, len(able), SYSTEMS_AT_ONCE):
        part = able[first : first + SYSTEMS_AT_ONCE]
        courses = _courses([records[i] for i in part], np.array([at_days[i] for i in part], dtype=np.float64), pace)
        for index, course in zip(part, courses, strict=True):
            found[index] = course
    return found


@dataclass(frozen=True, slots=True)
class _Events:
    """What is on record of one system since its first reading: arrays (changes), and the additions and exchanges."""

    first: float
    when: Values
    size: Values
    variance: Values
    history: SystemHistory
    middle: float

    @classmethod
    def of(cls, history: SystemHistory, at: Values, value: Values) -> _Events:
        """The level at a water change is taken from the readings themselves, straight in between."""
        changes = history.water_changes
        inside = changes.at_days > at[0]
        when, fraction = changes.at_days[inside], changes.fraction[inside]
        apart = changes.new_value[inside] - np.interp(when, at, value)
        variance = (fraction * changes.new_value_sd[inside]) ** 2 + (changes.fraction_sd[inside] * apart) ** 2
        return cls(float(at[0]), when, fraction * apart, variance, history, float(np.median(value)))

    def brought(self, days: Values) -> Values:
        """By how much they had moved the level, at any days."""
        doses = self.history.doses
        lasted = np.maximum(doses.end_days - doses.start_days, 1.0 / 1440.0)
        given = np.clip((days[:, None] - np.maximum(doses.start_days, self.first)) / lasted, 0.0, 1.0) * doses.amount
        total = ((days[:, None] > self.when) * self.size).sum(axis=1) + given.sum(axis=1)
        for feed in self.history.feeds:
            if len(feed.flow.value) and len(feed.inflow.value):
                begun = max(self.first, -np.inf if feed.from_days is None else feed.from_days)
                ended = np.inf if feed.to_days is None else feed.to_days
                ran = np.maximum(np.minimum(days, ended) - begun, 0.0)
                total = total + ran * feed.flow.value[-1] * (feed.inflow.value[-1] - self.middle)
        return np.asarray(total)

    def spread(self, days: Values) -> Values:
        """The variance that they had left in the level."""
        return np.asarray(((days[:, None] > self.when) * self.variance).sum(axis=1))


@dataclass(frozen=True, slots=True)
class _Record:
    """The last readings of one system: when, what is on record taken off, noise, and variance of jumps by then."""

    at_days: Values
    value: Values
    noise: Values
    jumped: Values
    events: _Events | None

    @classmethod
    def of(cls, history: SystemHistory, pace: Pace) -> _Record:
        if not len(history.readings.at_days):
            return cls(np.empty(0), np.empty(0), np.empty(0), np.empty(0), None)
        tests, last = Samples.of([history]), slice(-MOST_READINGS, None)
        at, value = tests.at_days[last], tests.value[last]
        events = _Events.of(history, at, value)
        lots = np.concatenate([[0.0], np.cumsum(np.diff(tests.lot[last]) != 0)])
        jumped = events.spread(at) + pace.lot_step_sd**2 * lots
        return cls(at, value - events.brought(at), tests.variance[last], jumped, events)


@dataclass(frozen=True, slots=True)
class _Laid:
    """Records side by side, padded with readings that nobody took: arrays (systems, readings)."""

    time: Values
    value: Values
    noise: Values
    jumped: Values

    @classmethod
    def of(cls, records: Sequence[_Record]) -> _Laid:
        """Days since each record's first reading, and values less their median."""
        shape = (len(records), max(len(each.at_days) for each in records))
        laid = cls(np.zeros(shape), np.zeros(shape), np.full(shape, NEVER_READ), np.zeros(shape))
        for lane, each in enumerate(records):
            count = len(each.at_days)
            laid.time[lane, :count] = each.at_days - each.at_days[0]
            laid.value[lane, :count] = each.value - np.median(each.value)
            laid.noise[lane, :count], laid.jumped[lane, :count] = each.noise, each.jumped
        return laid


def _courses(records: list[_Record], instants: Values, pace: Pace) -> list[WaterCourse]:
    laid = _Laid.of(records)
    first = np.array([each.at_days[0] for each in records])
    asked = np.maximum(instants - first[:, None], 0.0)
    is_read = laid.noise < NEVER_READ
    start = 100.0 * np.where(is_read, laid.noise, 0.0).max(axis=1)[:, None, None]
    prior = start + _covariance(laid.time, laid.time, laid.jumped, laid.jumped, pace)
    precision, is_used = _believed(prior, laid, is_read)
    before = np.array(
        [np.searchsorted(each.at_days, days, side="right") for each, days in zip(records, instants, strict=True)]
    )
    jumped = np.take_along_axis(laid.jumped, np.clip(before - 1, 0, None), axis=1)
    with_level = start + _covariance(asked, laid.time, jumped, laid.jumped, pace)
    with_slope = _slope_covariance(asked, laid.time, pace)
    weighed = (precision @ laid.value[..., None])[..., 0]
    level, slope = ((each @ weighed[..., None])[..., 0] for each in (with_level, with_slope))
    known = start[..., 0] + pace.slope_sd**2 * asked**2 + pace.slope_drift**2 * asked**3 / 3.0
    known = known + pace.level_noise**2 * asked + jumped
    level_sd = _left(known, with_level, precision)
    slope_sd = _left(pace.slope_sd**2 + pace.slope_drift**2 * asked, with_slope, precision)
    return [
        WaterCourse(
            at_days=instants[lane],
            level=level[lane] + np.median(each.value) + each.events.brought(instants[lane]),
            level_sd=level_sd[lane],
            slope=slope[lane],
            slope_sd=slope_sd[lane],
            readings=int(is_used[lane].sum()),
            first_read=float(each.at_days[0]),
            last_read=float(each.at_days[-1]),
        )
        for lane, each in enumerate(records)
        if each.events is not None
    ]


def _believed(prior: Values, laid: _Laid, is_read: Flags) -> tuple[Values, Flags]:
    """The precision of the readings with the noise that their scatter shows, and which of them are used."""
    noise = laid.noise
    doubt = np.ones(noise.shape)
    for _ in range(2):
        precision = np.linalg.inv(prior + _diagonal(noise * doubt))
        own = np.maximum(np.diagonal(precision, axis1=1, axis2=2), 1e-300)
        # Of each reading from what the others say: (P y)_i / P_ii with variance 1 / P_ii, its noise undoubted.
        apart = (precision @ laid.value[..., None])[..., 0] / own
        variance = np.maximum(1.0 / own - noise * doubt, 0.0) + noise
        score = np.where(is_read, apart / np.sqrt(variance), 0.0)
        scatter = np.minimum(score**2, NOISIER_BEYOND_SD**2).sum(axis=1, keepdims=True)
        factor = (AS_STATED + scatter) / (AS_STATED + is_read.sum(axis=1, keepdims=True))
        noise = np.where(is_read, noise * np.clip(factor, 0.95, 4.0), noise)
        size = np.abs(score)
        doubt = np.where(size > SET_ASIDE_BEYOND_SD, SET_ASIDE, np.maximum(size / NOISIER_BEYOND_SD, 1.0))
    precision = np.linalg.inv(prior + _diagonal(noise * doubt))
    return np.asarray(precision, dtype=np.float64), is_read & (doubt < SET_ASIDE)


def _covariance(one: Values, other: Values, jumped: Values, other_jumped: Values, pace: Pace) -> Values:
    """Of levels at two sets of days since the start: slope, its drift, up and down, jumps; (systems, ones, others)."""
    s, t = one[:, :, None], other[:, None, :]
    near, far = np.minimum(s, t), np.maximum(s, t)
    drift = pace.slope_drift**2 * near**2 * (3.0 * far - near) / 6.0
    jumps = np.minimum(jumped[:, :, None], other_jumped[:, None, :])
    return np.asarray(pace.slope_sd**2 * s * t + drift + pace.level_noise**2 * near + jumps)


def _slope_covariance(one: Values, other: Values, pace: Pace) -> Values:
    """Of the slope at one set of days with the level at another."""
    s, t = one[:, :, None], other[:, None, :]
    near = np.minimum(s, t)
    return np.asarray(pace.slope_sd**2 * t + pace.slope_drift**2 * (0.5 * near**2 + s * (t - near)))


def _left(variance: Values, covariance: Values, precision: Values) -> Values:
    """Sd given the readings."""
    told = ((covariance @ precision) * covariance).sum(axis=-1)
    return np.asarray(np.sqrt(np.maximum(variance - told, 1e-12 * variance)))


def _diagonal(values: Values) -> Values:
    return np.asarray(values[..., None] * np.eye(values.shape[-1]))
