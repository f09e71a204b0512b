"""Mistakes and jumps found by looking at a record as a whole.

A filter judges a reading by what came before; the readings after it know more. For every reading the smoother gives two
scores in standard deviations: how far it is from what all others say (a mistake), and how far the level would have to
have moved of itself just before it (a jump: an addition nobody recorded). The largest score of a record beyond 4 is
believed, the record smoothed again with it, until none is left. Scores after de Jong & Penzer (1998), the
search after Chen & Liu (1993).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.science.demand_prior import Grid, Start
from service.science.filtering import LEVEL, Scale, run_filter
from service.science.robust import SET_ASIDE_BEYOND_SD
from service.science.smoother import smooth_backward
from service.science.timeline import Timeline

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

ROUNDS = 12
"""More mistakes and jumps than this in one record are left to the gate."""
READINGS_AROUND_A_JUMP = 2
"""A jump needs so many readings on either side; one alone is a mistake."""
PRICE_OF_A_MISTAKE = 0.5 * SET_ASIDE_BEYOND_SD**2
PRICE_OF_A_JUMP = PRICE_OF_A_MISTAKE + 1.0
"""In log-likelihood: what an explanation must bring; a jump is the rarer thing."""
ANY_JUMP_SDS = 1e3
"""A jump accepted may be of any size: its sd is this many times the noise of the reading after it."""
NOTES = ("mistake", "jump", "size", "size_sd", "lot_step", "lot_step_sd")
"""What is found at the nodes."""


@dataclass(frozen=True, slots=True)
class SecondLook:
    """The timeline without the mistakes and free to jump where it did; what was found, all (nodes, systems).

    mistake and jump: the score with its sign, 0 where none was found; size and size_sd of each jump, concentration.
    lot_step, lot_step_sd: at the first reading of a new lot, by how much it reads from the old one as the record alone
    tells, and its sd; elsewhere 0. last_jump (systems): the largest score of a rise before the last two or three
    readings, all others believed.
    """

    timeline: Timeline
    mistake: Values
    jump: Values
    size: Values
    size_sd: Values
    lot_step: Values
    lot_step_sd: Values
    last_jump: Values

    def take(self, lanes: Whole, nodes: int) -> "SecondLook":
        """What was found of some of the systems, as far as the first so many nodes."""
        notes = {name: getattr(self, name)[:nodes, lanes] for name in NOTES}
        return SecondLook(timeline=self.timeline.take(lanes, nodes), last_jump=self.last_jump[lanes], **notes)

    def evidence(self) -> Values:
        """By how much the explanations raise the log-likelihood, less their price, (systems)."""
        gain = 0.5 * (self.mistake**2 + self.jump**2).sum(axis=0)
        price = PRICE_OF_A_MISTAKE * (self.mistake != 0.0) + PRICE_OF_A_JUMP * (self.jump != 0.0)
        return np.asarray(gain - price.sum(axis=0))


def second_look(*, timeline: Timeline, start: Start, grid: Grid, scale: Scale) -> SecondLook:
    """Mistakes and jumps of every system in its one most plausible setting (grid with one setting).

    Where jumps were found, mistakes alone are tried too - two in a row look like a jump up and a jump back - and kept
    when they explain more: half the summed squares of the scores, less the price of every explanation.
    Source: RAUCH65, DEJONG98, CHEN93. Check value: none, tested by test_a_gross_mistake_is_set_aside.
    """
    free = _search(timeline, start, grid, scale, with_jumps=True)
    lanes = np.flatnonzero(free.jump.any(axis=0))
    if not len(lanes):
        return free
    plain = _search(timeline.take(lanes), start.take(lanes), grid.take(lanes), scale, with_jumps=False)
    kept = plain.evidence() >= free.evidence()[lanes]
    replaced = lanes[kept]
    for name in NOTES:
        getattr(free, name)[:, replaced] = getattr(plain, name)[:, kept]
    for name in ("has_reading", "jump_variance"):
        getattr(free.timeline, name)[:, replaced] = getattr(plain.timeline, name)[:, kept]
    return free


def _search(timeline: Timeline, start: Start, grid: Grid, scale: Scale, *, with_jumps: bool) -> SecondLook:
    """Believe the largest score of each record beyond 4, and look again, until none is left."""
    shape = timeline.reading.shape
    found = SecondLook(timeline, *(np.zeros(each) for each in (*(6 * [shape]), shape[1:])))
    has_reading, jump_variance = timeline.has_reading.copy(), timeline.jump_variance.copy()
    lanes = np.arange(shape[1])
    for turn in range(ROUNDS):
        current = replace(timeline, has_reading=has_reading, jump_variance=jump_variance).take(lanes)
        mistake, jump, size, size_sd = _scores(current, start.take(lanes), grid.take(lanes), scale)
        if turn == 0:
            found.last_jump[:] = jump[last_readings(timeline, 3)[:2], lanes].max(axis=0)
        _note_lots(found, current, lanes, size, size_sd, scale)
        here = np.arange(len(lanes))
        worst_mistake, worst_jump = (np.abs(each).argmax(axis=0) for each in (mistake, jump))
        largest_mistake, largest_jump = np.abs(mistake)[worst_mistake, here], np.abs(jump)[worst_jump, here]
        is_jump = (largest_jump > SET_ASIDE_BEYOND_SD) & (largest_jump > largest_mistake) & with_jumps
        is_mistake = (largest_mistake > SET_ASIDE_BEYOND_SD) & ~is_jump
        at, lane = worst_mistake[is_mistake], lanes[is_mistake]
        found.mistake[at, lane] = mistake[at, here[is_mistake]]
        has_reading[at, lane] = False
        at, lane = worst_jump[is_jump], lanes[is_jump]
        for whole, part in ((found.jump, jump), (found.size, size), (found.size_sd, size_sd)):
            whole[at, lane] = part[at, here[is_jump]]
        jump_variance[at, lane] = ANY_JUMP_SDS**2 * timeline.variance[at, lane]
        lanes = lanes[is_jump | is_mistake]
        if not len(lanes):
            break
    return replace(found, timeline=replace(timeline, has_reading=has_reading, jump_variance=jump_variance))


def last_readings(timeline: Timeline, count: int) -> Whole:
    """The nodes of the last so many readings of each system, in order, (count, systems); -1 where there is none.

    Source: PRACTICE. Check value: none, definition.
    """
    left: Whole = np.where(timeline.has_reading, np.arange(len(timeline.reading))[:, None], -1)
    found = []
    for _ in range(count):
        latest = left.max(axis=0)
        found.append(latest)
        left = np.where(left == latest, -1, left)
    return np.stack(found[::-1])


def _note_lots(
    found: SecondLook, timeline: Timeline, lanes: Whole, size: Values, size_sd: Values, scale: Scale
) -> None:
    """The step at each new lot: what was reckoned with beforehand, sd lot_step_sd, is taken out of its variance."""
    node, here = np.nonzero(timeline.lot_changed & (size_sd > 0.0))
    own = size_sd[node, here] ** 2 - scale.lot_step_sd**2
    found.lot_step[node, lanes[here]] = size[node, here]
    found.lot_step_sd[node, lanes[here]] = np.sqrt(np.maximum(own, (0.1 * size_sd[node, here]) ** 2))


def _scores(timeline: Timeline, start: Start, grid: Grid, scale: Scale) -> tuple[Values, Values, Values, Values]:
    """Score of each reading as a mistake, of a jump just before it, and that jump's size and sd; (nodes, systems)."""
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=None, scale=scale, keep=True)
    smoothed = smooth_backward(forward=forward)
    has = timeline.has_reading
    noise = timeline.variance * grid.noise_factor[:, 0] ** 2
    apart = timeline.reading - smoothed.mean[:, LEVEL, :, 0]
    alone = noise - smoothed.covariance[:, LEVEL, LEVEL, :, 0]
    mistake = np.where(has, apart / np.sqrt(np.maximum(alone, 1e-6 * noise)), 0.0)
    information = smoothed.adjoint_information[:, LEVEL, LEVEL, :, 0]
    known = np.where(information > 0.0, information, 1.0)
    before: Whole = np.cumsum(has, axis=0, dtype=np.int64) - has
    after: Whole = np.cumsum(has[::-1], axis=0, dtype=np.int64)[::-1]
    can_jump = has & (before >= READINGS_AROUND_A_JUMP) & (after >= READINGS_AROUND_A_JUMP) & (information > 0.0)
    size = np.where(can_jump, smoothed.adjoint[:, LEVEL, :, 0] / known, 0.0)
    return mistake, size * np.sqrt(known), size, np.where(can_jump, 1.0 / np.sqrt(known), 0.0)
