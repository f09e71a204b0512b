"""Consumption of alkalinity, calcium or magnesium by a body of water, now and in the past, with honest intervals.

The state is [A, d, lasting unknown of the inputs, wandering supply error]; `transition` says how it moves, `timeline`
what drives it, `robust` which readings to believe, `smoother` does the arithmetic. The answer is averaged over how
fast the demand may drift and how noisy the kit may be, each setting by the weight the readings give it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.answer import ConsumptionEstimate, Course, Expected, LevelShift, Missing, SetAside, Used
from service.science.course import demand_between
from service.science.demand_prior import Grid, Start, robust_start, settings_grid
from service.science.history import SystemHistory
from service.science.mixture import NormalMixture
from service.science.robust import Gate
from service.science.smoother import ForwardPass, Mixing, Rule, Step, filter_forward, smooth_backward
from service.science.timeline import Timeline, lay_out

Values = NDArray[np.float64]

LEVEL, DEMAND, LASTING, WANDER = range(4)
"""Entries of the state."""
LANES_AT_ONCE = 4096
"""Systems times settings filtered together: their arrays stay in the processor's cache."""
STEP_COLUMNS = (
    *("push", "demand_11", "demand_12", "demand_22", "wander_noise", "reading", "variance", "has_reading"),
    *("fraction", "fraction_variance", "new_value", "new_variance"),
)
SHARE_THAT_DECIDES = 0.5
"""A reading is called set aside, a jump accepted, when settings of more than this weight did so."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What depends on the unit: defaults for alkalinity in meq/L.

    level_noise: s_a, concentration per sqrt(day). lot_step_sd: how far a new reagent lot may read from the old,
    concentration. narrow_enough: no estimate when its half-width exceeds this (concentration a day) and half its size.
    """

    level_noise: float = 0.01
    lot_step_sd: float = 0.07
    narrow_enough: float = 0.1


ALKALINITY = Scale()
CALCIUM = Scale(level_noise=0.5, lot_step_sd=10.0, narrow_enough=2.0)
MAGNESIUM = Scale(level_noise=1.0, lot_step_sd=20.0, narrow_enough=2.0)


@dataclass(frozen=True, slots=True)
class Filtered:
    """One chunk of systems after the filter: what went in, what came out, the weight of each setting."""

    timeline: Timeline
    grid: Grid
    forward: ForwardPass
    gate: Gate | None
    weight: Values


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

    Source: KALMAN60, RAUCH65.
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
    # Records of like length together: a short one is padded to the longest of its chunk.
    able.sort(key=lambda index: (bool(histories[index].feeds), len(histories[index].readings.at_days)))
    settings = len(settings_grid(start=_no_start(), reading_count=np.zeros(1, dtype=np.int64)).drift[0])
    chunk = max(LANES_AT_ONCE // settings, 1)
    for first in range(0, len(able), chunk):
        part = able[first : first + chunk]
        found = _estimate_chunk([histories[i] for i in part], instants[part], [courses[i] for i in part], scale)
        answers.update(zip(part, found, strict=True))
    return [answers[index] for index in range(len(histories))]


def run_filter(
    *,
    timeline: Timeline,
    start: Start,
    grid: Grid,
    rule: Rule | None,
    scale: Scale,
    keep: bool,
    jumps: Values | None = None,
) -> ForwardPass:
    """The filter over a timeline in every setting; jumps (nodes, systems): variance by which a level is known to jump.

    Source: KALMAN60. Check value: none, tested by test_a_constant_demand_is_found.
    """
    shape = grid.drift.shape
    size = 4 if np.any(timeline.wander_start > 0) or np.any(timeline.wander_noise > 0) else 3
    mean, covariance = np.zeros((size, *shape)), np.zeros((size, size, *shape))
    mean[LEVEL], mean[DEMAND] = start.level[:, None], start.demand[:, None]
    covariance[LEVEL, LEVEL], covariance[DEMAND, DEMAND] = start.level_sd[:, None] ** 2, start.demand_sd[:, None] ** 2
    # The start of the demand comes from the inputs: what they bring too little or too much, it is too low or too high.
    rate = start.lasting_rate[:, None]
    covariance[LASTING, LASTING] = 1.0
    covariance[DEMAND, LASTING] = covariance[LASTING, DEMAND] = rate
    covariance[DEMAND, DEMAND] += rate**2
    if size > WANDER:
        wander = timeline.wander_start[:, None]
        covariance[WANDER, WANDER] = covariance[DEMAND, WANDER] = covariance[WANDER, DEMAND] = wander
        covariance[DEMAND, DEMAND] += wander
    return filter_forward(
        start_mean=mean,
        start_covariance=covariance,
        steps=_steps(timeline, grid, size, scale, jumps),
        node_count=len(timeline.at_days),
        rule=rule,
        keep=keep,
    )


def _steps(timeline: Timeline, grid: Grid, size: int, scale: Scale, jumps: Values | None) -> Callable[[int], Step]:
    """The step to each node, made when it is asked for."""
    drift, noise_factor = grid.drift**2, grid.noise_factor**2
    level = scale.level_noise**2 * timeline.level_11 + scale.lot_step_sd**2 * timeline.lot_changed
    if jumps is not None:
        level = level + jumps
    half = 0.5 * timeline.response
    level = level + half**2 * timeline.wander_noise
    one, zero = np.ones_like(level), np.zeros_like(level)
    rows = [timeline.decay, -timeline.response, timeline.lasting_push, half * (1.0 + timeline.wander_keep)]
    first_row = np.stack(rows[:size], axis=1)[..., None]
    carry = np.stack([zero, one, one, timeline.wander_keep][:size], axis=1)[..., None]
    has_change = np.asarray(timeline.fraction.max(axis=1) > 0.0)
    has_reading = timeline.has_reading.sum(axis=1) > 0
    columns = {name: getattr(timeline, name)[..., None] for name in STEP_COLUMNS}
    level, half = level[..., None], half[..., None]
    noise = np.zeros((size, size, *drift.shape))

    def step(node: int) -> Step:
        noise[LEVEL, LEVEL] = columns["demand_11"][node] * drift + level[node]
        noise[LEVEL, DEMAND] = noise[DEMAND, LEVEL] = columns["demand_12"][node] * drift
        noise[DEMAND, DEMAND] = columns["demand_22"][node] * drift
        if size > WANDER:
            noise[LEVEL, WANDER] = noise[WANDER, LEVEL] = half[node] * columns["wander_noise"][node]
            noise[WANDER, WANDER] = columns["wander_noise"][node]
        mixing = None
        if has_change[node]:
            mixing = Mixing(*(columns[n][node] for n in ("fraction", "fraction_variance", "new_value", "new_variance")))
        return Step(
            first_row=first_row[node],
            carry=carry[node],
            push=columns["push"][node],
            noise=noise,
            mixing=mixing,
            reading=columns["reading"][node],
            reading_variance=columns["variance"][node] * noise_factor,
            has_reading=columns["has_reading"][node] if has_reading[node] else None,
        )

    return step


def _setting_weights(log_likelihood: Values, log_prior: Values) -> Values:
    """Posterior weight of every setting (systems, settings), summing to 1."""
    total = log_likelihood + log_prior
    weight = np.exp(total - total.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _estimate_chunk(
    histories: list[SystemHistory], instants: Values, courses: list[Values | None], scale: Scale
) -> list[ConsumptionEstimate]:
    timeline = lay_out(histories=histories, at_days=instants)
    start = robust_start(timeline=timeline)
    grid = settings_grid(start=start, reading_count=timeline.has_reading.sum(axis=0))
    gate = Gate(len(timeline.at_days), grid.drift.shape)
    last = timeline.at_days[timeline.nodes_used - 1, np.arange(len(histories))]
    keep = any(course is not None for course in courses) or bool(np.any(instants < last))
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=gate, scale=scale, keep=keep)
    weight = _setting_weights(forward.log_likelihood, grid.log_prior)
    filtered = Filtered(timeline, grid, forward, gate, weight)
    mean, variance = forward.mean[-1], forward.covariance[-1]
    demand = NormalMixture(weight, mean[DEMAND], variance[DEMAND, DEMAND])
    now = (demand.mean(), *demand.interval())
    concentration = NormalMixture(weight, mean[LEVEL], variance[LEVEL, LEVEL])
    level, level_sd = concentration.mean(), concentration.sd()
    past = _past(filtered, instants, last, courses, scale) if keep else [(None, None)] * len(histories)
    answers = []
    for lane, history in enumerate(histories):
        at_instant, course = past[lane]
        best = at_instant or (now[0][lane], now[1][lane], now[2][lane])
        expected = Expected(float(last[lane]), float(level[lane]), float(level_sd[lane]))
        answers.append(_answer(history, lane, best, expected if at_instant is None else None, course, filtered, scale))
    return answers


def _past(
    filtered: Filtered, instants: Values, last: Values, courses: list[Values | None], scale: Scale
) -> list[tuple[tuple[float, float, float] | None, Course | None]]:
    """For every system the estimate at its instant when that lies in the past, and its course when one is asked for."""
    smoothed = smooth_backward(forward=filtered.forward)
    found: list[tuple[tuple[float, float, float] | None, Course | None]] = []
    for lane, days in enumerate(courses):
        wanted = np.empty(0) if days is None else days
        is_past = instants[lane] < last[lane]
        asked = np.append(wanted, instants[lane]) if is_past else wanted
        if not len(asked):
            found.append((None, None))
            continue
        mean, variance = demand_between(
            timeline=filtered.timeline, lane=lane, forward=filtered.forward, smoothed=smoothed,
            drift=filtered.grid.drift[lane], level_noise=scale.level_noise, at_days=asked,
        )  # fmt: skip
        demand = NormalMixture(filtered.weight[lane], mean, variance)
        value, (low, high) = demand.mean(), demand.interval()
        course = None if days is None else Course(wanted, value[: len(wanted)], low[: len(wanted)], high[: len(wanted)])
        at_instant = (float(value[-1]), float(low[-1]), float(high[-1])) if is_past else None
        found.append((at_instant, course))
    return found


def _answer(
    history: SystemHistory,
    lane: int,
    best: tuple[float, float, float],
    expected: Expected | None,
    course: Course | None,
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
        set_aside=set_aside,
        level_shifts=shifts,
        missing=_would_settle(history, filtered, lane) if too_wide else (),
        used=_used(history, len(set_aside)),
        drift=float(weight @ filtered.grid.drift[lane]),
        noise_factor=float(weight @ filtered.grid.noise_factor[lane]),
    )


def _verdicts(filtered: Filtered, lane: int) -> tuple[tuple[SetAside, ...], tuple[LevelShift, ...]]:
    """Readings set aside and jumps accepted by settings of more than half the weight."""
    gate, timeline, weight = filtered.gate, filtered.timeline, filtered.weight[lane]
    assert gate is not None
    aside = gate.is_aside[:, lane] @ weight
    score = gate.score[:, lane] @ weight
    set_aside = tuple(
        SetAside(
            index=int(timeline.source[node, lane]),
            score=float(score[node]),
            reason=f"{abs(score[node]):.1f} standard deviations from what was expected",
        )
        for node in np.flatnonzero(aside > SHARE_THAT_DECIDES)
    )
    jumped = gate.jump_variance[:, lane] > 0.0
    shifts = []
    for node in np.flatnonzero(jumped @ weight > SHARE_THAT_DECIDES):
        share = np.where(jumped[node], weight, 0.0)
        share /= share.sum()
        size = float(share @ gate.jump[node, lane])
        half = 1.959964 * float(np.sqrt(share @ gate.jump_variance[node, lane]))
        readings = np.flatnonzero(timeline.has_reading[:node, lane])
        before = timeline.at_days[readings[-1] if len(readings) else 0, lane]
        shifts.append(LevelShift(float(before), float(timeline.at_days[node, lane]), size, size - half, size + half))
    return set_aside, tuple(shifts)


def _would_settle(history: SystemHistory, filtered: Filtered, lane: int) -> tuple[Missing, ...]:
    """What the width comes from: readings, unless knowing the inputs exactly would halve the variance."""
    weight = filtered.weight[lane]
    covariance = filtered.forward.covariance[-1][..., lane, :]
    total = weight @ covariance[DEMAND, DEMAND]
    found = []
    lasting = weight @ (covariance[DEMAND, LASTING] ** 2 / covariance[LASTING, LASTING])
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
    lacking = [Missing("readings")] if len(np.unique(history.readings.at_days)) < 2 else []
    for feed in history.feeds:
        if not len(feed.flow.value) and not len(feed.flow.set_value):
            lacking.append(Missing("flow", feed.name))
        if not len(feed.inflow.value) and not len(feed.inflow.set_value):
            lacking.append(Missing("inflow", feed.name))
    return tuple(lacking)


def _nothing(history: SystemHistory, lacking: tuple[Missing, ...]) -> ConsumptionEstimate:
    return ConsumptionEstimate(
        None, None, None, None, None, None, None, None, (), (), lacking, _used(history, 0), None, None
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


def _no_start() -> Start:
    one = np.ones(1)
    return Start(one, one, one, one, one, one)
