"""The consumption filter: what moves the state [A, d, wandering error of the supply].

A lasting error of the inputs is no state: by how much a pump or a watch is wrong for good can be told from the demand
only as far as the supply varies, and then any other thing that varies with the supply is taken for it. It is added to
the variance of the demand afterwards, one for one (`lasting_variance`).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science.demand_prior import Grid, Start
from service.science.smoother import ForwardPass, Mixing, Rule, Step, filter_forward
from service.science.timeline import Timeline

Values = NDArray[np.float64]
Whole = NDArray[np.int64]

LEVEL, DEMAND, WANDER = range(3)
"""Entries of the state."""
MEMORY_DAYS = 21.0
STEP_COLUMNS = (
    *("push", "demand_11", "demand_12", "demand_22", "wander_noise", "reading", "variance", "has_reading"),
    *("fraction", "fraction_variance", "new_value", "new_variance"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """What depends on the unit: defaults for alkalinity in meq/L.

    level_noise: s_a, concentration per sqrt(day). lot_step_sd: how far a new reagent lot may read from the old,
    concentration. narrow_enough: no estimate when its half-width exceeds this (concentration a day) and half its size.
    sudden: sd of what somebody adds without a note, and of a gross mistake, concentration.
    """

    level_noise: float = 0.01
    lot_step_sd: float = 0.07
    narrow_enough: float = 0.1
    sudden: float = 0.5


ALKALINITY = Scale()
CALCIUM = Scale(level_noise=0.5, lot_step_sd=10.0, narrow_enough=2.0, sudden=50.0)
MAGNESIUM = Scale(level_noise=1.0, lot_step_sd=20.0, narrow_enough=2.0, sudden=100.0)
"""Calcium and magnesium in mg/L. Judgements, as the defaults are."""


def run_filter(
    *,
    timeline: Timeline,
    start: Start,
    grid: Grid,
    rule: Rule | None,
    scale: Scale,
    keep: bool,
) -> ForwardPass:
    """The filter over a timeline in every setting of the grid.

    Source: KALMAN60. Check value: none, tested by test_a_constant_demand_is_found.
    """
    shape = grid.drift.shape
    size = 3 if np.any(timeline.wander_start > 0) or np.any(timeline.wander_noise > 0) else 2
    mean, covariance = np.zeros((size, *shape)), np.zeros((size, size, *shape))
    mean[LEVEL], mean[DEMAND] = start.level[:, None], start.demand[:, None]
    covariance[LEVEL, LEVEL], covariance[DEMAND, DEMAND] = start.level_sd[:, None] ** 2, start.demand_sd[:, None] ** 2
    # The start of the demand comes from the inputs: what they bring too little or too much, it is too low or too high.
    if size > WANDER:
        wander = timeline.wander_start[:, None]
        covariance[WANDER, WANDER] = covariance[DEMAND, WANDER] = covariance[WANDER, DEMAND] = wander
        covariance[DEMAND, DEMAND] += wander
    return filter_forward(
        start_mean=mean,
        start_covariance=covariance,
        steps=_steps(timeline, grid, size, scale),
        node_count=len(timeline.at_days),
        rule=rule,
        keep=keep,
    )


def lasting_variance(*, timeline: Timeline, at_days: Values, lanes: Whole | None = None) -> Values:
    """Variance of the demand that no reading can take away: the square of the mean rate of lasting errors.

    at_days: an instant of each system (systems); or any instants, each of the system in its lane, both (instants). The
    mean is over the three weeks before, about what the filter remembers (at the beginning of a record: its first three
    weeks).
    Source: DERIVED, PRACTICE. Check value: none, tested by test_uncertain_inputs_widen_the_interval_by_their_share.
    """
    columns = (timeline.at_days, timeline.lasting_push, timeline.response)
    days, lasting_push, response = columns if lanes is None else (each[:, lanes] for each in columns)
    before = np.concatenate([days[:1], days[:-1]])
    since = np.clip(at_days - MEMORY_DAYS, days[0], np.maximum(days[-1] - MEMORY_DAYS, days[0]))
    within = np.minimum(days, since + MEMORY_DAYS) - np.maximum(before, since)
    share = np.clip(within / np.maximum(days - before, 1e-9), 0.0, 1.0)
    brought, reach = (share * lasting_push).sum(axis=0), (share * response).sum(axis=0)
    return np.asarray((brought / np.maximum(reach, 1e-9)) ** 2)


def _steps(timeline: Timeline, grid: Grid, size: int, scale: Scale) -> Callable[[int], Step]:
    """The step to each node, made when it is asked for."""
    drift, noise_factor = grid.drift**2, grid.noise_factor**2
    level = scale.level_noise**2 * timeline.level_11 + scale.lot_step_sd**2 * timeline.lot_changed
    half = 0.5 * timeline.response
    level = level + timeline.jump_variance + half**2 * timeline.wander_noise
    one, zero = np.ones_like(level), np.zeros_like(level)
    rows = [timeline.decay, -timeline.response, half * (1.0 + timeline.wander_keep)]
    first_row = np.stack(rows[:size], axis=1)[..., None]
    carry = np.stack([zero, one, timeline.wander_keep][:size], axis=1)[..., None]
    has_change = np.asarray(timeline.fraction.max(axis=1) > 0.0)
    has_reading = timeline.has_reading.sum(axis=1) > 0
    columns = {name: getattr(timeline, name)[..., None] for name in STEP_COLUMNS}
    level, half = level[..., None], half[..., None]
    noise = np.zeros((size, size, *drift.shape))

    def step(node: int) -> Step:
        np.multiply(columns["demand_11"][node], drift, out=noise[LEVEL, LEVEL])
        noise[LEVEL, LEVEL] += level[node]
        np.multiply(columns["demand_12"][node], drift, out=noise[LEVEL, DEMAND])
        noise[DEMAND, LEVEL] = noise[LEVEL, DEMAND]
        np.multiply(columns["demand_22"][node], drift, out=noise[DEMAND, DEMAND])
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
