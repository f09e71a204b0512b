"""Whether the last two readings of a record say that something was added just before them.

A jump is found sooner by weighing what could have happened than by a threshold for each reading. The last two readings
may be as the course before them says (as expected), or both lie above it by the same (a rise), or one of them, or each
for itself, may be a mistake. Each explanation gives the readings a probability, averaged over its unknown size and over
all settings of drift and kit noise: a jump explained by a fast drift is so weighed too. Only rises are named: a fall
this sudden is a change of water, and what else looks like one is common.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.science.demand_prior import Start, settings_grid
from service.science.filtering import LEVEL, Scale, run_filter
from service.science.second_look import ANY_JUMP_SDS, SecondLook, last_two
from service.science.smoother import smooth_backward
from service.science.timeline import Timeline

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

MISTAKES = 0.03
"""The part of all readings that is grossly wrong: a judgement."""
TIMES_AS_LIKELY = 16.6
"""So many times as probable as all else together a rise must make the readings to be named. Tuned on simulated runs."""
WORTH_WEIGHING = 1.5
"""The score of a jump before the last two readings from which on the explanations are weighed at all."""


@dataclass(frozen=True, slots=True)
class Explained:
    """Logarithms of how probable each explanation makes the readings, (systems); the size of the rise and its sd."""

    expected: Values
    rise: Values
    first_wrong: Values
    second_wrong: Values
    both_wrong: Values
    size: Values
    size_sd: Values

    def log_factor(self) -> Values:
        """Logarithm of how many times as probable a rise makes the readings as all else together, (systems)."""
        wrong = np.log(MISTAKES)
        others = (self.expected, self.first_wrong + wrong, self.second_wrong + wrong, self.both_wrong + 2.0 * wrong)
        return np.asarray(self.rise - np.logaddexp.reduce(others))


def with_sudden_rises(*, look: SecondLook, timeline: Timeline, start: Start, scale: Scale) -> SecondLook:
    """The second look with every rise before the last two readings that it did not see itself.

    timeline: as laid out, before the look took readings away. The rule is the service's own.
    Source: RAUCH65, DERIVED.
    Check value: none, tested by test_two_readings_in_a_row_name_an_addition.
    """
    first, second = last_two(timeline)
    systems = np.arange(len(first))
    is_new = (first >= 0) & (look.jump[first, systems] == 0.0)
    lanes = np.flatnonzero(is_new & (look.last_jump > WORTH_WEIGHING))
    if not len(lanes):
        return look
    cleaned = _with_both(look.timeline.take(lanes), first[lanes], second[lanes])
    found = explain_last_two(timeline=cleaned, start=start.take(lanes), scale=scale)
    rose = (found.log_factor() > np.log(TIMES_AS_LIKELY)) & (found.size > 0.0)
    where = (first[lanes[rose]], lanes[rose])
    look.mistake[where] = look.mistake[second[lanes[rose]], lanes[rose]] = 0.0
    look.jump[where] = (found.size / found.size_sd)[rose]
    look.size[where], look.size_sd[where] = found.size[rose], found.size_sd[rose]
    has_reading, jump_variance = look.timeline.has_reading.copy(), look.timeline.jump_variance.copy()
    has_reading[where] = has_reading[second[lanes[rose]], lanes[rose]] = True
    jump_variance[where] = ANY_JUMP_SDS**2 * timeline.variance[where]
    return replace(look, timeline=replace(look.timeline, has_reading=has_reading, jump_variance=jump_variance))


def explain_last_two(*, timeline: Timeline, start: Start, scale: Scale) -> Explained:
    """How probable each explanation makes a record, its last two readings in it and neither believed nor doubted.

    What an unknown shift of sd t (`scale.sudden`) adds to the log-likelihood, where the readings put it at x with
    variance v: x^2 / 2 (1/v - 1/(v + t^2)) - ln((v + t^2) / v) / 2. A rise shifts all from the first on, a mistake one
    reading; x and v are by-products of the smoother (de Jong & Penzer 1998). Two mistakes are given the density of
    sd t in its middle, the most they can have.
    Source: DEJONG98, DERIVED. Check value: none, tested by test_each_explanation_is_the_density_of_the_readings.
    """
    grid = settings_grid(start=start)
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=None, scale=scale, keep=True)
    smoothed = smooth_backward(forward=forward)
    systems, (first, second) = np.arange(len(start.level)), last_two(timeline)
    prior = grid.log_prior + forward.log_likelihood

    information = smoothed.adjoint_information[first, LEVEL, LEVEL, systems]
    size, variance = smoothed.adjoint[first, LEVEL, systems] / information, 1.0 / information
    rise = prior + _gain(size, variance, scale.sudden)

    def wrong(node: Whole) -> Values:
        noise = timeline.variance[node, systems, None] * grid.noise_factor**2
        apart = timeline.reading[node, systems, None] - smoothed.mean[node, LEVEL, systems]
        part = np.maximum(1.0 - smoothed.covariance[node, LEVEL, LEVEL, systems] / noise, 1e-6)
        return prior + _gain(apart / part, noise / part, scale.sudden)

    both = prior.copy()
    for node in (first, second):  # out goes what the filter made of it, in comes the most a mistake can make it
        seen = forward.information[node, systems]
        both += 0.5 * forward.scaled_residual[node, systems] ** 2 / seen - 0.5 * np.log(scale.sudden**2 * seen)
    weight = np.exp(rise - rise.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    middle = (weight * size).sum(axis=1)
    spread = (weight * (variance + (size - middle[:, None]) ** 2)).sum(axis=1)
    return Explained(
        expected=_whole(prior),
        rise=_whole(rise),
        first_wrong=_whole(wrong(first)),
        second_wrong=_whole(wrong(second)),
        both_wrong=_whole(both),
        size=middle,
        size_sd=np.sqrt(spread),
    )


def _gain(size: Values, variance: Values, sudden: float) -> Values:
    """What a shift of unknown size, sd `sudden`, adds to the log-likelihood."""
    total = variance + sudden**2
    return np.asarray(0.5 * size**2 * (1.0 / variance - 1.0 / total) - 0.5 * np.log(total / variance))


def _whole(by_setting: Values) -> Values:
    return np.asarray(np.logaddexp.reduce(by_setting, axis=1))


def _with_both(timeline: Timeline, first: Whole, second: Whole) -> Timeline:
    """Both last readings back in, neither free of the course before it."""
    has_reading, jump_variance = timeline.has_reading.copy(), timeline.jump_variance.copy()
    systems = np.arange(len(first))
    for node in (first, second):
        has_reading[node, systems], jump_variance[node, systems] = True, 0.0
    return replace(timeline, has_reading=has_reading, jump_variance=jump_variance)
