"""Consumption between the nodes of a smoothed record."""

import numpy as np
from numpy.typing import NDArray

from service.science.smoother import ForwardPass, Smoothed, look_back, pull_back
from service.science.timeline import Timeline
from service.science.transition import transition

Values = NDArray[np.float64]
Whole = NDArray[np.int64]


def demand_between(
    *,
    timeline: Timeline,
    lanes: Whole,
    forward: ForwardPass,
    smoothed: Smoothed,
    drift: Values,
    level_noise: float,
    at_days: Values,
) -> tuple[Values, Values]:
    """Mean and variance of the demand at any instants, each of the system in its lane, (instants, settings).

    From the filtered state at the node before an instant forward to it, then back from the adjoint of the node after:
    no further pass. Within a step the exchange is taken as constant. Before the first node the demand of that node
    with the variance it would have gained; after the last likewise. drift: (systems, settings).

    Source: RAUCH65, DEJONG89. Check value: none, tested by test_the_course_between_nodes_is_that_of_a_node_put_there.
    """
    last = timeline.nodes_used[lanes] - 1
    start, end = timeline.at_days[0, lanes], timeline.at_days[last, lanes]
    before = np.clip((timeline.at_days[:, lanes] <= at_days).sum(axis=0) - 1, 0, last)
    after = np.minimum(before + 1, last)
    inside = (before < last) & (at_days >= start)
    node = timeline.at_days[before, lanes]
    step = np.where(inside, timeline.at_days[after, lanes] - node, 1.0)
    elapsed = np.where(inside, at_days - node, 0.0)
    exchange = np.where(inside, -np.log(timeline.decay[after, lanes]) / np.maximum(step, 1e-12), 0.0)
    first = transition(exchange_per_day=exchange, dt_days=elapsed)
    second = transition(exchange_per_day=exchange, dt_days=np.where(inside, step - elapsed, 0.0))

    size = forward.mean.shape[1]
    mean = np.moveaxis(forward.mean[before, :, lanes], 0, 1)
    covariance = np.moveaxis(forward.covariance[before, :, :, lanes], 0, 2)
    share = elapsed / step
    own_inputs = timeline.response[None, after, lanes][: size - 2]
    row = _row(first.decay, first.response_days, own_inputs * share)
    carry = _persisting(size, len(at_days))
    mean = carry * mean
    mean[0] += 0.0  # the level is not asked for: what inputs bring it need not be known
    rows = carry[:, None] * covariance
    rows[0] += (row[:, None] * covariance).sum(axis=0)
    moved = rows * carry[None]
    moved[:, 0] += (rows * row[None]).sum(axis=1)
    spread = drift[lanes] ** 2
    moved[0, 0] += first.demand_11_days3[:, None] * spread + level_noise**2 * first.level_11_days[:, None]
    moved[0, 1] += first.demand_12_days2[:, None] * spread
    moved[1, 0] += first.demand_12_days2[:, None] * spread
    outside = np.where(inside, 0.0, np.where(at_days < start, start - at_days, at_days - end))
    moved[1, 1] += (first.dt_days)[:, None] * spread

    left = (1.0 - timeline.fraction[after, lanes])[:, None]
    back = _row(second.decay, second.response_days, own_inputs * (1.0 - share)) * left
    adjoint = np.moveaxis(smoothed.adjoint[after, :, lanes], 0, 1) * inside[:, None]
    information = np.moveaxis(smoothed.adjoint_information[after, :, :, lanes], 0, 2) * inside[:, None]
    adjoint, information = pull_back(adjoint, information, back, carry)
    seen, variance = look_back(mean, moved, adjoint, information)
    early = (at_days < start)[:, None]
    value = np.where(early, smoothed.mean[0, 1, lanes], seen[1])
    known = np.where(early, smoothed.covariance[0, 1, 1, lanes], variance[1, 1])
    return value, known + outside[:, None] * spread


def _row(decay: Values, response: Values, inputs: Values) -> Values:
    """First row of a transition, (n, instants, 1)."""
    return np.concatenate([decay[None], -response[None], inputs])[..., None]


def _persisting(size: int, instants: int) -> Values:
    carry = np.ones((size, instants, 1))
    carry[0] = 0.0
    return carry
