"""Whether the last readings of a record say that something was added just before them.

A jump is found sooner by weighing what could have happened than by a threshold for each reading. The last three
readings may be as the course before them says, or lie above it by the same from the second last or from the third last
on (a rise), or leave it at another slope, because supply or demand was turned (gas, a pump, media that go); any of them
may be a mistake besides. Each explanation gives the readings a probability, averaged over its unknown sizes and over
all settings of drift and kit noise: a jump explained by a fast drift is so weighed too. Only rises are named: a fall
this sudden is a change of water, and what else looks like one is common.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from service.science.demand_prior import Start, settings_grid
from service.science.filtering import DEMAND, LEVEL, Scale, run_filter
from service.science.second_look import ANY_JUMP_SDS, SecondLook, last_readings
from service.science.smoother import ForwardPass
from service.science.timeline import Timeline

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

LOOKED_AT = 3
"""Readings from the last back. A rise needs two of them; one alone is a mistake."""
MISTAKES = 0.03
"""The part of all readings that is grossly wrong: a judgement."""
TURNED, TURNED_SHARE = 0.1, 0.3
"""How often the slope turns between two readings, and by what part of the demand, one sd: a keeper turns gas or pump by
up to a fifth every week or two, and media or a line go within days (judgements)."""
TIMES_AS_LIKELY = 12.0
"""So many times as probable as all else together a rise must make the readings to be named. Tuned on simulated runs: 8
and 12 name 87 and 86 % of additions of 0.5 meq/L within six days; at 3, systems kept by pumps or limewater with nothing
wrong were named 1.2 times a year."""
LEAST_RISE = 0.56
"""Of what is added at once without a note (`Scale.sudden`): 0.28 meq/L, 0.8 dKH. A smaller one is within what a day may
bring (a judgement), and most of what was named without a cause was smaller."""
WORTH_WEIGHING = 1.5
"""The score of a jump before the last readings from which on the explanations are weighed at all."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """What may have happened to the last three readings: numbers of them, 0 the first.

    rise: before which one something was added (None: nothing was); wrong: the mistakes; turned: since which one the
    slope is another (-1: since the reading before them all; None: it is not).
    """

    rise: int | None = None
    wrong: tuple[int, ...] = ()
    turned: int | None = None

    @property
    def after(self) -> range:
        """The readings after the rise."""
        return range(LOOKED_AT if self.rise is None else self.rise, LOOKED_AT)

    @property
    def log_prior(self) -> float:
        """Logarithm of how often this happens; of a rise it is left to the factor that is asked for."""
        turned = 0.0 if self.turned is None else np.log(TURNED)
        return float(len(self.wrong) * np.log(MISTAKES) + turned)


NONE_OR_ONE = ((), *((number,) for number in range(LOOKED_AT)))
WITHOUT_A_RISE = (
    *(Explanation(wrong=wrong) for count in range(LOOKED_AT + 1) for wrong in combinations(range(LOOKED_AT), count)),
    *(Explanation(wrong=wrong, turned=turned) for turned in range(-1, LOOKED_AT - 2) for wrong in NONE_OR_ONE),
)
WITH_A_RISE = tuple(
    Explanation(rise, wrong)
    for rise in range(LOOKED_AT - 1)
    for wrong in NONE_OR_ONE
    if rise not in wrong and sum(number not in wrong for number in range(rise, LOOKED_AT)) > 1
)
"""Two readings at least must show it, the first after it among them."""


@dataclass(frozen=True, slots=True)
class Rises:
    """What is to be said of a rise in each record, (systems).

    log_factor: logarithm of how many times as probable a rise makes the readings as all else together; likeliest: the
    index of the one that does most of it (WITH_A_RISE), with its size and sd.
    """

    log_factor: Values
    likeliest: Whole
    size: Values
    size_sd: Values


@dataclass(frozen=True, slots=True)
class Innovations:
    """What the filter did not foresee of the last three readings, (3, systems, settings), and what would have moved it.

    precision: one over the variance of each. by_rise, by_mistake, by_turn: by how much a rise before the reading of the
    first index, a mistake in it or a turn of the slope since the one before moves that of the second, each of one sd.
    """

    value: Values
    precision: Values
    by_rise: Values
    by_mistake: Values
    by_turn: Values

    def directions(self, explanation: Explanation) -> list[Values]:
        """What each unknown size of an explanation moves, the rise last."""
        turns = [] if explanation.turned is None else [self.by_turn[explanation.turned + 1]]
        rises = [] if explanation.rise is None else [self.by_rise[explanation.rise]]
        return [*(self.by_mistake[number] for number in explanation.wrong), *turns, *rises]


@dataclass(frozen=True, slots=True)
class Weighed:
    """Gain of log-likelihood with its prior; size of the rise in sds beforehand, its variance; (systems, settings)."""

    log_gain: Values
    size: Values
    variance: Values


def with_sudden_rises(*, look: SecondLook, timeline: Timeline, start: Start, scale: Scale) -> SecondLook:
    """The second look with every rise before the last readings that it did not see itself.

    timeline: as laid out, before the look took readings away. The rule is the service's own.
    Source: DERIVED. Check value: none, tested by test_two_readings_in_a_row_name_an_addition.
    """
    before, last = np.split(last_readings(timeline, 1 + LOOKED_AT), [1])
    systems = np.arange(last.shape[1])
    is_new = (before[0] >= 0) & ~look.jump[last, systems].any(axis=0)
    lanes = np.flatnonzero(is_new & (look.last_jump > WORTH_WEIGHING))
    if not len(lanes):
        return look
    cleaned = _with_all(look.timeline.take(lanes), last[:, lanes])
    found = explain_last(timeline=cleaned, start=start.take(lanes), scale=scale)
    rose = np.flatnonzero((found.log_factor > np.log(TIMES_AS_LIKELY)) & (found.size > LEAST_RISE * scale.sudden))
    has_reading, jump_variance = look.timeline.has_reading.copy(), look.timeline.jump_variance.copy()
    for here in rose:
        lane, rise = lanes[here], WITH_A_RISE[found.likeliest[here]]
        believed = last[[number for number in rise.after if number not in rise.wrong], lane]
        look.mistake[believed, lane], has_reading[believed, lane] = 0.0, True
        node = believed[0]
        look.jump[node, lane] = found.size[here] / found.size_sd[here]
        look.size[node, lane], look.size_sd[node, lane] = found.size[here], found.size_sd[here]
        jump_variance[node, lane] = ANY_JUMP_SDS**2 * timeline.variance[node, lane]
    return replace(look, timeline=replace(look.timeline, has_reading=has_reading, jump_variance=jump_variance))


def explain_last(*, timeline: Timeline, start: Start, scale: Scale) -> Rises:
    """How probable rises make a record, its last three readings in it and none believed or doubted beforehand.

    Source: DERIVED. Check value: none, tested by test_each_explanation_is_the_density_of_the_readings.
    """
    grid = settings_grid(start=start)
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=None, scale=scale, keep=True)
    last = last_readings(timeline, 1 + LOOKED_AT)
    seen = innovations(forward=forward, last=last, sudden=scale.sudden, turned=TURNED_SHARE * start.demand_size)
    prior = grid.log_prior + forward.log_likelihood
    others = [prior + weigh(seen, each).log_gain for each in WITHOUT_A_RISE]
    weighed = [weigh(seen, each) for each in WITH_A_RISE]
    rises = np.stack([prior + each.log_gain for each in weighed])
    likeliest = np.logaddexp.reduce(rises, axis=2).argmax(axis=0)
    chosen = likeliest, np.arange(len(likeliest))
    size = scale.sudden * np.stack([each.size for each in weighed])[chosen]
    variance = scale.sudden**2 * np.stack([each.variance for each in weighed])[chosen]
    weight = np.exp(rises[chosen] - rises[chosen].max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    middle = (weight * size).sum(axis=1)
    return Rises(
        log_factor=np.logaddexp.reduce(rises, axis=(0, 2)) - np.logaddexp.reduce(np.stack(others), axis=(0, 2)),
        likeliest=likeliest,
        size=middle,
        size_sd=np.sqrt((weight * (variance + (size - middle[:, None]) ** 2)).sum(axis=1)),
    )


def innovations(*, forward: ForwardPass, last: Whole, sudden: float, turned: Values) -> Innovations:
    """What the filter did not foresee at the last three nodes of `last` (4, systems), and what moves it.

    sudden: sd of rises and mistakes; turned: of a turn of the slope, concentration a day, (systems). A displacement of
    the state that the filter knows nothing of is carried by the transitions; each reading shows its first entry, and
    the gain takes that part of it away. A mistake is shown by its own reading alone, and the filter, believing it, is
    displaced by it the other way.
    Source: KALMAN60, DERIVED. Check value: none, tested by test_each_explanation_is_the_density_of_the_readings.
    """
    _, size, *lanes = forward.mean.shape
    count, here = LOOKED_AT, np.arange(lanes[0])
    displaced = np.zeros((3, count, size, *lanes))  # by a rise, a mistake, a turn; before or in each reading
    moved = np.zeros((3, count, count, *lanes))
    for node in range(int(last[0].min()), len(forward.mean)):
        row, kept = forward.first_row[node], forward.carry[node]
        level = (row * displaced).sum(axis=2, keepdims=True)
        displaced = np.concatenate([level, kept[1:] * displaced[:, :, 1:]], axis=2)
        shows = np.zeros((3, count, *lanes))
        for number in range(count):
            is_before, is_here = last[number] == node, last[1 + number] == node
            displaced[0, number, LEVEL, is_here] += sudden
            shows[1, number, is_here] += sudden
            displaced[2, number, DEMAND, is_before] -= turned[is_before, None]
        shows += displaced[:, :, LEVEL]
        displaced -= forward.gain[node] * shows[:, :, None]
        for number in range(count):
            is_here = last[1 + number] == node
            moved[:, :, number, is_here] = shows[:, :, is_here]
    precision = forward.information[last[1:], here]
    return Innovations(forward.scaled_residual[last[1:], here] / precision, precision, *moved)


def weigh(seen: Innovations, explanation: Explanation) -> Weighed:
    """What an explanation adds to the log-likelihood, and the size of what it explains the readings by.

    Each unknown size adds its direction g, that of one sd, to the covariance C: C + g g'. With q = g' C^-1 e, h = g'
    C^-1 g the log-likelihood rises by q^2 / 2 (1 + h) - ln(1 + h) / 2, one direction after the other (Sherman &
    Morrison), the rise last; by least squares its size is q / h, the variance 1 / h.
    Source: DERIVED. Check value: none, tested by test_each_explanation_is_the_density_of_the_readings.
    """
    log_gain = np.full(seen.value.shape[1:], explanation.log_prior)
    weighed, directions = seen.precision * seen.value, seen.directions(explanation)  # C^-1 e, g
    across = [seen.precision * each for each in directions]  # C^-1 g
    for index, (direction, scaled) in enumerate(zip(directions, across, strict=True)):
        shown, known = (direction * weighed).sum(axis=0), (direction * scaled).sum(axis=0)
        log_gain += 0.5 * shown**2 / (1.0 + known) - 0.5 * np.log1p(known)
        weighed = weighed - shown / (1.0 + known) * scaled
        for later in range(index + 1, len(directions)):
            across[later] = across[later] - (directions[later] * scaled).sum(axis=0) / (1.0 + known) * scaled
    if explanation.rise is None:  # a turn may move nothing: between two readings of one moment
        return Weighed(log_gain, np.zeros_like(log_gain), np.ones_like(log_gain))
    return Weighed(log_gain, shown / known, 1.0 / known)


def _with_all(timeline: Timeline, last: Whole) -> Timeline:
    """The last readings back in, none free of the course before it."""
    has_reading, jump_variance = timeline.has_reading.copy(), timeline.jump_variance.copy()
    systems = np.arange(last.shape[1])
    has_reading[last, systems], jump_variance[last, systems] = True, 0.0
    return replace(timeline, has_reading=has_reading, jump_variance=jump_variance)
