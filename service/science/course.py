"""Consumption between the nodes of a smoothed record."""

import numpy as np
from numpy.typing import NDArray

from service.science.smoother import ForwardPass, Smoothed, look_back, pull_back
from service.science.timeline import Timeline
from service.science.transition import transition

Values = NDArray[np.float64]


def demand_between(
    *,
    timeline: Timeline,
    lane: int,
    forward: ForwardPass,
    smoothed: Smoothed,
    drift: Values,
    level_noise: float,
    at_days: Values,
) -> tuple[Values, Values]:
    """Mean and variance of the demand of one system at any instants, each (instants, settings).

    From the filtered state at the node before an instant forward to it, then back from the adjoint of the node after:
    no further pass. Within a step the exchange is taken as constant. Before the first node the demand of that node
    with the variance it would have gained; after the last likewise.

    Source: RAUCH65, DEJONG89. Check value: none, tested by test_the_course_between_nodes_is_that_of_a_node_put_there.
    """
    nodes = int(timeline.nodes_used[lane])
    days = timeline.at_days[:nodes, lane]
    before = np.clip(np.searchsorted(days, at_days, side="right") - 1, 0, nodes - 1)
    after = np.minimum(before + 1, nodes - 1)
    inside = (before < nodes - 1) & (at_days >= days[0])
    step = np.where(inside, days[after] - days[before], 1.0)
    elapsed = np.where(inside, at_days - days[before], 0.0)
    exchange = np.where(inside, -np.log(timeline.decay[after, lane]) / np.maximum(step, 1e-12), 0.0)
    first = transition(exchange_per_day=exchange, dt_days=elapsed)
    second = transition(exchange_per_day=exchange, dt_days=np.where(inside, step - elapsed, 0.0))

    size = forward.mean.shape[1]
    mean = np.moveaxis(forward.mean[before][:, :, lane], 0, 1)
    covariance = np.moveaxis(forward.covariance[before][:, :, :, lane], 0, 2)
    share = elapsed / step
    own_inputs = timeline.response[None, after, lane][: size - 2]
    row = _row(first.decay, first.response_days, own_inputs * share)
    carry = _persisting(size, len(at_days))
    mean = carry * mean
    mean[0] += 0.0  # the level is not asked for: what inputs bring it need not be known
    rows = carry[:, None] * covariance
    rows[0] += (row[:, None] * covariance).sum(axis=0)
    moved = rows * carry[None]
    moved[:, 0] += (rows * row[None]).sum(axis=1)
    spread = drift[None] ** 2
    moved[0, 0] += first.demand_11_days3[:, None] * spread + level_noise**2 * first.level_11_days[:, None]
    moved[0, 1] += first.demand_12_days2[:, None] * spread
    moved[1, 0] += first.demand_12_days2[:, None] * spread
    outside = np.where(inside, 0.0, np.where(at_days < days[0], days[0] - at_days, at_days - days[-1]))
    moved[1, 1] += (first.dt_days)[:, None] * spread

    left = (1.0 - timeline.fraction[after, lane])[:, None]
    back = _row(second.decay, second.response_days, own_inputs * (1.0 - share)) * left
    adjoint = np.moveaxis(smoothed.adjoint[after][:, :, lane], 0, 1) * inside[:, None]
    information = np.moveaxis(smoothed.adjoint_information[after][:, :, :, lane], 0, 2) * inside[:, None]
    adjoint, information = pull_back(adjoint, information, back, carry)
    seen, variance = look_back(mean, moved, adjoint, information)
    early = (at_days < days[0])[:, None]
    value = np.where(early, smoothed.mean[0, 1, lane][None], seen[1])
    known = np.where(early, smoothed.covariance[0, 1, 1, lane][None], variance[1, 1])
    return value, known + outside[:, None] * spread


def _row(decay: Values, response: Values, inputs: Values) -> Values:
    """First row of a transition, (n, instants, 1)."""
    return np.concatenate([decay[None], -response[None], inputs])[..., None]


def _persisting(size: int, instants: int) -> Values:
    carry = np.ones((size, instants, 1))
    carry[0] = 0.0
    return carry
