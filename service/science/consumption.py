"""Consumption of alkalinity, calcium or magnesium by a body of water, now and in the past, with honest intervals.

`timeline` lays the records out, `filtering` says what moves the state, `second_look`, `sudden_rise` and `robust` which
readings to believe, `smoother` does the arithmetic. The answer is averaged over how fast the demand may drift and how
noisy the kit may be, each setting by the weight the readings give it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.answer import ConsumptionEstimate, Course, Expected, LevelShift, LotStep, Missing, SetAside, Used
from service.science.course import demand_between
from service.science.demand_prior import DRIFT_SCORES, NOISE_FACTORS, Grid, Start, robust_start, settings_grid
from service.science.filtering import (
    ALKALINITY,
    CALCIUM,
    DEMAND,
    LEVEL,
    MAGNESIUM,
    WANDER,
    Scale,
    lasting_variance,
    run_filter,
)
from service.science.history import SystemHistory
from service.science.mixture import NormalMixture
from service.science.ragged import end_to_end, stretches
from service.science.robust import Gate
from service.science.second_look import SecondLook, second_look
from service.science.smoother import ForwardPass, Smoothed, smooth_backward
from service.science.sudden_rise import WORTH_WEIGHING, with_sudden_rises
from service.science.timeline import Timeline, lay_out

__all__ = ["ALKALINITY", "CALCIUM", "MAGNESIUM", "Scale", "estimate_consumption"]

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]

LANES_AT_ONCE = 24576
"""Systems times settings filtered together: so many that numpy's calls cost less than its sums, and few enough for the
processor's cache."""
KEPT_COUNTS = 8
"""A lane of which the whole pass is kept counts for so many: some 40 MB are kept then."""
SYSTEMS_AT_ONCE = 512
"""Systems laid out and looked at together, in few settings: so many that numpy's calls cost less than its sums."""
INSTANTS_AT_ONCE = 1024
"""Of a course, whatever the systems: some 20 MB in all settings."""
SHARE_THAT_DECIDES = 0.5
"""A reading is called set aside, a jump accepted, when settings of more than this weight did so."""


@dataclass(frozen=True, slots=True)
class Filtered:
    """One chunk of systems after the filter: what went in, what came out, the weight of each setting.

    is_doubted (systems): whether the gate or the second look set a reading aside or saw a jump.
    """

    timeline: Timeline
    grid: Grid
    forward: ForwardPass
    gate: Gate
    weight: Values
    look: SecondLook
    is_doubted: Flags


def estimate_consumption(
    *,
    histories: Sequence[SystemHistory],
    at_days: Sequence[float] | Values,
    course_at_days: Sequence[Values | None] | None = None,
    scale: Scale = ALKALINITY,
) -> list[ConsumptionEstimate]:
    """Consumption of every system at its instant, unit of its history a day, with a course where one is asked for.

    All readings of a history are used, later ones too; at an instant after the last reading the answer is that of the
    filter, before it that of the smoother. A history that cannot answer gives None and says what is missing.

    Source: KALMAN60, RAUCH65, HUBER64, DEJONG98.
    Check value: none, tested by test_a_constant_demand_is_found.
    """
    instants = np.asarray(at_days, dtype=np.float64)
    courses = list(course_at_days) if course_at_days is not None else [None] * len(histories)
    if not len(histories) == len(instants) == len(courses):
        raise ValueError("histories, at_days and course_at_days: give one entry for each system")
    answers: dict[int, ConsumptionEstimate] = {}
    able: list[int] = []
    for index, history in enumerate(histories):
        lacking = _lacking(history)
        if lacking:
            answers[index] = _nothing(history, lacking)
        else:
            able.append(index)
    for part in _alike(histories, able):
        found = _estimates([histories[i] for i in part], instants[part], [courses[i] for i in part], scale)
        answers.update(zip(part, found, strict=True))
    return [answers[index] for index in range(len(histories))]


def _alike(histories: Sequence[SystemHistory], able: list[int]) -> list[list[int]]:
    """Systems to be laid out together: a short record is padded to the longest, and feeds add an entry to the state."""
    parts = []
    for is_fed in (False, True):
        group = [index for index in able if bool(histories[index].feeds) is is_fed]
        group.sort(key=lambda index: len(histories[index].readings.at_days))
        parts += [group[first : first + SYSTEMS_AT_ONCE] for first in range(0, len(group), SYSTEMS_AT_ONCE)]
    return parts


def _setting_weights(log_likelihood: Values, log_prior: Values) -> Values:
    """Posterior weight of every setting (systems, settings), summing to 1."""
    total = log_likelihood + log_prior
    weight = np.exp(total - total.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _estimates(
    histories: list[SystemHistory], instants: Values, courses: list[Values | None], scale: Scale
) -> Iterator[ConsumptionEstimate]:
    """Looked at all together, in few settings; averaged over all settings a part of them after another."""
    laid_out = lay_out(histories=histories, at_days=instants)
    start = robust_start(timeline=laid_out)
    coarse = settings_grid(start=start, coarse=True)
    impression = run_filter(
        timeline=laid_out,
        start=start,
        grid=coarse,
        rule=Gate(laid_out.at_days.shape[0], coarse.drift.shape),
        scale=scale,
        keep=False,
    )
    look = second_look(timeline=laid_out, start=start, grid=coarse.likeliest(impression.log_likelihood), scale=scale)
    for lanes in _parts(laid_out, instants, courses, look):
        nodes = int(laid_out.nodes_used[lanes].max())
        own, timeline = start.take(lanes), laid_out.take(lanes, nodes)
        seen = with_sudden_rises(look=look.take(lanes, nodes), timeline=timeline, start=own, scale=scale)
        part = slice(lanes[0], lanes[-1] + 1)
        yield from _averaged(histories[part], instants[part], courses[part], own, seen, scale)


def _parts(timeline: Timeline, instants: Values, courses: list[Values | None], look: SecondLook) -> Iterator[Whole]:
    """Neighbouring systems to be filtered together in all settings, by how much of their passes must be kept."""
    is_kept = np.array([course is not None for course in courses]) | (instants < timeline.at_days[-1])
    once, kept = 1 + KEPT_COUNTS * is_kept.any(), KEPT_COUNTS * (look.last_jump > WORTH_WEIGHING)
    lanes = len(DRIFT_SCORES) * len(NOISE_FACTORS) * (once + kept)
    number = np.cumsum(lanes) // LANES_AT_ONCE
    yield from (np.flatnonzero(number == each) for each in np.unique(number))


def _averaged(
    histories: list[SystemHistory],
    instants: Values,
    courses: list[Values | None],
    start: Start,
    look: SecondLook,
    scale: Scale,
) -> list[ConsumptionEstimate]:
    """The estimates after the second look, by the filter in all settings."""
    timeline, grid = look.timeline, settings_grid(start=start)
    gate = Gate(len(timeline.at_days), grid.drift.shape)
    last = timeline.at_days[timeline.nodes_used - 1, np.arange(len(histories))]
    keep = any(course is not None for course in courses) or bool(np.any(instants < last))
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=gate, scale=scale, keep=keep)
    weight = _setting_weights(forward.log_likelihood, grid.log_prior)
    is_doubted = gate.has_notes.any(axis=1) | (look.jump != 0.0).any(axis=0) | (look.mistake != 0.0).any(axis=0)
    filtered = Filtered(timeline, grid, forward, gate, weight, look, is_doubted)
    mean, variance = forward.mean[-1], forward.covariance[-1]
    lasting = lasting_variance(timeline=timeline, at_days=last)
    demand = NormalMixture(weight, mean[DEMAND], variance[DEMAND, DEMAND] + lasting[:, None])
    now = (demand.mean(), *demand.interval())
    concentration = NormalMixture(weight, mean[LEVEL], variance[LEVEL, LEVEL])
    level, level_sd = concentration.mean(), concentration.sd()
    past = _past(filtered, instants, last, courses, scale) if keep else [(None, None, None)] * len(histories)
    answers = []
    for lane, history in enumerate(histories):
        at_instant, course, levels = past[lane]
        best = at_instant or (now[0][lane], now[1][lane], now[2][lane])
        expected = Expected(float(last[lane]), float(level[lane]), float(level_sd[lane]))
        here = expected if at_instant is None else None
        answers.append(_answer(history, lane, best, here, course, levels, filtered, scale))
    return answers


def _past(
    filtered: Filtered, instants: Values, last: Values, courses: list[Values | None], scale: Scale
) -> list[tuple[tuple[float, float, float] | None, Course | None, Course | None]]:
    """For every system the estimate at its instant when that lies in the past, and its courses where asked for."""
    smoothed = smooth_backward(forward=filtered.forward)
    nothing = np.empty(0)
    wanted = [nothing if days is None else days for days in courses]
    asked = [
        np.append(days, instant) if is_past else days
        for days, instant, is_past in zip(wanted, instants, instants < last, strict=True)
    ]
    demands = _demands(filtered, smoothed, asked, scale)
    has_course = np.array([days is not None and len(each) > 0 for days, each in zip(courses, asked, strict=True)])
    levels = _levels(filtered, smoothed, np.flatnonzero(has_course))
    found: list[tuple[tuple[float, float, float] | None, Course | None, Course | None]] = []
    for days, (value, low, high), has in zip(wanted, demands, has_course, strict=True):
        known = len(days)
        at_instant = (float(value[-1]), float(low[-1]), float(high[-1])) if len(value) > known else None
        course = Course(days, value[:known], low[:known], high[:known]) if has else None
        found.append((at_instant, course, next(levels) if has else None))
    return found


def _demands(
    filtered: Filtered, smoothed: Smoothed, asked: list[Values], scale: Scale
) -> Iterator[tuple[Values, Values, Values]]:
    """The demand of every system at the instants asked for, with its interval."""
    at_days, lanes = end_to_end(asked)
    columns: tuple[Values, Values, Values] = (np.empty_like(at_days), np.empty_like(at_days), np.empty_like(at_days))
    for first in range(0, len(lanes), INSTANTS_AT_ONCE):
        part = slice(first, first + INSTANTS_AT_ONCE)
        mean, variance = demand_between(
            timeline=filtered.timeline, lanes=lanes[part], forward=filtered.forward, smoothed=smoothed,
            drift=filtered.grid.drift, level_noise=scale.level_noise, at_days=at_days[part],
        )  # fmt: skip
        lasting = lasting_variance(timeline=filtered.timeline, at_days=at_days[part], lanes=lanes[part])
        demand = NormalMixture(filtered.weight[lanes[part]], mean, variance + lasting[:, None])
        for column, values in zip(columns, (demand.mean(), *demand.interval()), strict=True):
            column[part] = values
    ends = np.cumsum([len(each) for each in asked])[:-1]
    return zip(*(np.split(column, ends) for column in columns), strict=True)


def _levels(filtered: Filtered, smoothed: Smoothed, lanes: Whole) -> Iterator[Course]:
    """The concentration of some of the systems at their nodes, given all readings."""
    used = filtered.timeline.nodes_used[lanes]
    node, which = stretches(np.zeros_like(used), used)
    lane = lanes[which]
    mean, variance = smoothed.mean[node, LEVEL, lane], smoothed.covariance[node, LEVEL, LEVEL, lane]
    level = NormalMixture(filtered.weight[lane], mean, variance)
    columns = (filtered.timeline.at_days[node, lane], level.mean(), *level.interval())
    return (Course(*each) for each in zip(*(np.split(column, np.cumsum(used)[:-1]) for column in columns), strict=True))


def _answer(
    history: SystemHistory,
    lane: int,
    best: tuple[float, float, float],
    expected: Expected | None,
    course: Course | None,
    levels: Course | None,
    filtered: Filtered,
    scale: Scale,
) -> ConsumptionEstimate:
    value, low, high = (float(each) for each in best)
    set_aside, shifts = _verdicts(filtered, lane)
    too_wide = 0.5 * (high - low) > max(0.5 * abs(value), scale.narrow_enough)
    weight = filtered.weight[lane]
    return ConsumptionEstimate(
        value=None if too_wide else value,
        low=None if too_wide else low,
        high=None if too_wide else high,
        best=value,
        best_low=low,
        best_high=high,
        expected=expected,
        course=course,
        levels=levels,
        set_aside=set_aside,
        level_shifts=shifts,
        missing=_would_settle(history, filtered, lane) if too_wide else (),
        used=_used(history, len(set_aside)),
        drift=float(weight @ filtered.grid.drift[lane]),
        noise_factor=float(weight @ filtered.grid.noise_factor[lane]),
        lot_steps=_lot_steps(history, filtered, lane),
    )


def _lot_steps(history: SystemHistory, filtered: Filtered, lane: int) -> tuple[LotStep, ...]:
    """What each new lot changed, where the readings on either side tell."""
    look, timeline, lots = filtered.look, filtered.timeline, history.readings.lot
    if lots is None:
        return ()
    steps = []
    for node in np.flatnonzero(look.lot_step_sd[:, lane]):
        index = int(timeline.source[node, lane])
        read_before = np.flatnonzero(timeline.has_reading[:node, lane])
        if not len(read_before):  # all of the old lot were set aside
            continue
        old = int(lots[timeline.source[read_before[-1], lane]])
        size, sd = float(look.lot_step[node, lane]), float(look.lot_step_sd[node, lane])
        steps.append(LotStep(index, float(timeline.at_days[node, lane]), old, int(lots[index]), size, sd))
    return tuple(steps)


def _verdicts(filtered: Filtered, lane: int) -> tuple[tuple[SetAside, ...], tuple[LevelShift, ...]]:
    """Readings set aside and jumps accepted, by the second look or by settings of more than half the weight."""
    gate, look, timeline, weight = filtered.gate, filtered.look, filtered.timeline, filtered.weight[lane]
    if not filtered.is_doubted[lane]:
        return (), ()
    by_gate = gate.is_aside[:, lane] @ weight > SHARE_THAT_DECIDES
    score = np.where(by_gate, gate.score[:, lane] @ weight, look.mistake[:, lane])
    set_aside = tuple(
        SetAside(
            index=int(timeline.source[node, lane]),
            score=float(score[node]),
            reason=f"{abs(score[node]):.1f} standard deviations from what the other readings say",
        )
        for node in np.flatnonzero(by_gate | (look.mistake[:, lane] != 0.0))
    )
    has_jumped = gate.jump_variance[:, lane] > 0.0
    jumps = {node: (look.size[node, lane], look.size_sd[node, lane]) for node in np.flatnonzero(look.jump[:, lane])}
    for node in np.flatnonzero(has_jumped @ weight > SHARE_THAT_DECIDES):
        share = np.where(has_jumped[node], weight, 0.0)
        share /= share.sum()
        jumps[node] = (share @ gate.jump[node, lane], np.sqrt(share @ gate.jump_variance[node, lane]))
    return set_aside, tuple(_level_shift(timeline, lane, int(node), *jumps[node]) for node in sorted(jumps))


def _level_shift(timeline: Timeline, lane: int, node: int, size: float, sd: float) -> LevelShift:
    readings = np.flatnonzero(timeline.has_reading[:node, lane])
    before = timeline.at_days[readings[-1] if len(readings) else 0, lane]
    half = 1.959964 * float(sd)
    return LevelShift(
        float(before), float(timeline.at_days[node, lane]), float(size), float(size) - half, float(size) + half
    )


def _would_settle(history: SystemHistory, filtered: Filtered, lane: int) -> tuple[Missing, ...]:
    """What the width comes from: readings, unless knowing the inputs exactly would halve the variance."""
    weight = filtered.weight[lane]
    covariance = filtered.forward.covariance[-1][..., lane, :]
    last = filtered.timeline.at_days[-1:, lane]
    lasting = lasting_variance(timeline=filtered.timeline, at_days=last, lanes=np.array([lane])).item()
    total = weight @ covariance[DEMAND, DEMAND] + lasting
    found = []
    if lasting > 0.5 * total:
        found.append(Missing("calibration"))
    if len(covariance) > WANDER:
        own = np.maximum(covariance[WANDER, WANDER], 1e-300)
        if weight @ (covariance[DEMAND, WANDER] ** 2 / own) > 0.5 * total:
            found += [Missing("flow", feed.name) for feed in history.feeds]
            found += [Missing("inflow", feed.name) for feed in history.feeds]
    return tuple(found) or (Missing("readings"),)


def _lacking(history: SystemHistory) -> tuple[Missing, ...]:
    """What must be on record before anything can be said at all."""
    days = history.readings.at_days
    lacking = [] if np.any(days != days[:1]) else [Missing("readings")]
    for feed in history.feeds:
        if not len(feed.flow.value) and not len(feed.flow.set_value):
            lacking.append(Missing("flow", feed.name))
        if not len(feed.inflow.value) and not len(feed.inflow.set_value):
            lacking.append(Missing("inflow", feed.name))
    return tuple(lacking)


def _nothing(history: SystemHistory, lacking: tuple[Missing, ...]) -> ConsumptionEstimate:
    return ConsumptionEstimate(
        None, None, None, None, None, None, None, None, None, (), (), lacking, _used(history, 0), None, None
    )


def _used(history: SystemHistory, set_aside: int) -> Used:
    days = history.readings.at_days
    return Used(
        readings=len(days) - set_aside,
        set_aside=set_aside,
        doses=len(history.doses.amount),
        water_changes=len(history.water_changes.at_days),
        checks=sum(len(feed.flow.value) + len(feed.inflow.value) for feed in history.feeds),
        from_days=float(days.min()) if len(days) else None,
        to_days=float(days.max()) if len(days) else None,
    )
