"""A Kalman filter and fixed-interval smoother for many short records at once.

Lanes are (systems, settings): every system of the call times every setting tried for it. The state has n
entries, the concentration first. Its transition is F = e_0 f' + diag(carry): the first row f says how the
concentration comes about, everything else only persists (carry[0] = 0). Arrays are laid out state entries
first, lanes last, so that one numpy operation serves all lanes; a dimension of one broadcasts.

The backward pass gives what the smoother of Rauch, Tung & Striebel (1965) gives by the adjoint recursion that Bryson &
Ho (1969) and de Jong (1989) print: it needs no inverse, so an entry known without error costs nothing and breaks
nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Flags = NDArray[np.bool_]

READINGS_A_LOGARITHM = 8
"""Readings whose variances are multiplied before a logarithm is taken, the dearest step of all: variances between
1e-38 and 1e38, in whatever unit, stay within what a double holds."""


class Mixing(NamedTuple):
    """A water change at the end of a step: A <- (1 - f) A + f A_new, with the variances of f and of A_new.

    Each (systems, 1). Where nothing is changed f and both variances are 0.
    """

    fraction: Values
    fraction_variance: Values
    new_value: Values
    new_variance: Values


class Step(NamedTuple):
    """From one node to the next: x <- F x + e_0 push + w, then the water change, then the reading if there is one.

    first_row and carry are (n, systems, 1), push (systems, 1), noise (n, n, lanes); reading and its variance
    (systems, 1) or lanes, has_reading (systems, 1). Where has_reading is false the reading is not looked at.
    """

    first_row: Values
    carry: Values
    push: Values
    noise: Values
    mixing: Mixing | None
    reading: Values
    reading_variance: Values
    has_reading: Flags | None


class Verdict(NamedTuple):
    """How one reading is taken, per lane: its variance, whether it is used, how far the level may just have jumped.

    loss: what the residual takes from the log-likelihood; half its square over its variance where it counts in full.
    """

    variance: Values
    is_used: Flags
    jump_variance: Values | None
    loss: Values


class Rule(Protocol):
    """Judges a reading before it is used; sees the residual and its two variances."""

    def judge(
        self, node: int, residual: Values, predicted_variance: Values, reading_variance: Values, has_reading: Flags
    ) -> Verdict:
        """The verdict on the reading at this node; called once a node that has one in any lane, in order."""


@dataclass(frozen=True)
class ForwardPass:
    """What the filter leaves: per node the state after its reading, and what the backward pass reads.

    mean (nodes, n, lanes), covariance (nodes, n, n, lanes), first_row and carry as used (water change
    included), gain (nodes, n, lanes), residual over its variance and one over that variance (nodes, lanes;
    both 0 where no reading was used), log_likelihood (lanes).
    """

    mean: Values
    covariance: Values
    first_row: list[Values]
    carry: list[Values]
    gain: Values
    scaled_residual: Values
    information: Values
    log_likelihood: Values


@dataclass(frozen=True)
class Smoothed:
    """States given all readings, and the adjoint just before each node's reading (from it anything between follows).

    mean (nodes, n, lanes), covariance (nodes, n, n, lanes), adjoint (nodes, n, lanes), adjoint_information
    (nodes, n, n, lanes).
    """

    mean: Values
    covariance: Values
    adjoint: Values
    adjoint_information: Values


def filter_forward(
    *,
    start_mean: Values,
    start_covariance: Values,
    steps: Sequence[Step] | Callable[[int], Step],
    node_count: int,
    rule: Rule | None = None,
    keep: bool = True,
) -> ForwardPass:
    """States after each reading, from a start mean (n, lanes) and covariance (n, n, lanes) before the first step.

    With keep false only the last state and the log-likelihood are kept (nodes = 1): enough for the present.
    Without a rule every reading is used as it is and the log-likelihood is the exact Gaussian one.

    Source: KALMAN60.
    Check value: none, arrays; compared with statsmodels in the tests.
    """
    step_at = steps if callable(steps) else steps.__getitem__
    mean, covariance = np.array(start_mean, dtype=np.float64), np.array(start_covariance, dtype=np.float64)
    size, lanes = mean.shape[0], mean.shape[1:]
    kept = node_count if keep else 1
    means, covariances = np.empty((kept, size, *lanes)), np.empty((kept, size, size, *lanes))
    gains = np.zeros((kept, size, *lanes))
    scaled_residuals, informations = np.zeros((kept, *lanes)), np.zeros((kept, *lanes))
    density = _LogDensity(lanes)
    judge = rule.judge if rule else _as_it_is
    first_rows: list[Values] = []
    carries: list[Values] = []
    for node in range(node_count):
        step = step_at(node)
        _predict(mean, covariance, step)
        first_row = step.first_row
        if step.mixing is not None:
            first_row = _mix(mean, covariance, first_row, step.mixing)
        slot = node if keep else 0
        if step.has_reading is not None:
            residual = np.where(step.has_reading, step.reading - mean[0], 0.0)
            verdict = judge(node, residual, covariance[0, 0], step.reading_variance, step.has_reading)
            density.take(covariance[0, 0] + step.reading_variance, verdict.loss, step.has_reading)
            if verdict.jump_variance is not None:
                covariance[0, 0] += verdict.jump_variance
            information = np.where(verdict.is_used, 1.0 / (covariance[0, 0] + verdict.variance), 0.0)
            gain = covariance[:, 0] * information
            mean += gain * residual
            left = np.where(verdict.is_used, verdict.variance * information, 1.0)
            _take_away(covariance, gain, left)
            if keep:
                gains[slot], scaled_residuals[slot], informations[slot] = gain, residual * information, information
        if keep or node == node_count - 1:
            means[slot], covariances[slot] = mean, covariance
        if keep:
            first_rows.append(first_row)
            carries.append(step.carry)
    return ForwardPass(
        means, covariances, first_rows, carries, gains, scaled_residuals, informations, density.logarithm()
    )


def smooth_backward(*, forward: ForwardPass) -> Smoothed:
    """States given all readings, from the transitions the forward pass stored.

    By the adjoint: r and N of Bryson & Ho (1969) and de Jong (1989). Source: RAUCH65, BRYSON69, DEJONG89.
    Check value: none, arrays; compared with statsmodels and dense conditioning in the tests.
    """
    nodes, size, *lanes = forward.mean.shape
    means, covariances = np.empty_like(forward.mean), np.empty_like(forward.covariance)
    adjoints, informations = np.empty_like(forward.mean), np.empty_like(forward.covariance)
    adjoint, information = np.zeros((size, *lanes)), np.zeros((size, size, *lanes))
    for node in range(nodes - 1, -1, -1):
        means[node], covariances[node] = look_back(forward.mean[node], forward.covariance[node], adjoint, information)
        gain = forward.gain[node]
        # Across the reading: r <- H' v / S + (I - K H)' r, N <- H' H / S + (I - K H)' N (I - K H).
        adjoint = adjoint.copy()
        adjoint[0] += forward.scaled_residual[node] - (gain * adjoint).sum(axis=0)
        information = information.copy()
        information[:, 0] -= (information * gain[None]).sum(axis=1)
        information[0, :] -= (gain[:, None] * information).sum(axis=0)
        information[0, 0] += forward.information[node]
        adjoints[node], informations[node] = adjoint, information
        adjoint, information = pull_back(adjoint, information, forward.first_row[node], forward.carry[node])
    return Smoothed(means, covariances, adjoints, informations)


def pull_back(adjoint: Values, information: Values, first_row: Values, carry: Values) -> tuple[Values, Values]:
    """The adjoint at the start of a transition from that at its end: F' r and F' N F.

    Source: BRYSON69, DEJONG89. Check value: none, compared with statsmodels in the tests.
    """
    right = first_row * adjoint[:1] + carry * adjoint
    rows = first_row[:, None] * information[:1] + carry[:, None] * information
    return right, rows[:, :1] * first_row[None] + rows * carry[None]


def look_back(mean: Values, covariance: Values, adjoint: Values, information: Values) -> tuple[Values, Values]:
    """State given what comes after it as well: x + P r, P - P N P.

    A variance that the difference leaves without digits (a level free to jump, then read sharply) is held at 1e-10 of
    what it was before.

    Source: BRYSON69, DEJONG89. Check value: none, compared with statsmodels in the tests.
    """
    smoothed = mean + (covariance * adjoint[None]).sum(axis=1)
    seen = (covariance[:, :, None] * information[None]).sum(axis=1)
    left = covariance - (seen[:, :, None] * covariance[None]).sum(axis=1)
    entry = np.arange(len(mean))
    left[entry, entry] = np.maximum(left[entry, entry], 1e-10 * covariance[entry, entry])
    return smoothed, left


def _weighed(weights: Values, values: Values) -> Values:
    """The sum of the values down the first axis, each times its weight."""
    total = weights[0] * values[0]
    for weight, value in zip(weights[1:], values[1:], strict=True):
        total += weight * value
    return np.asarray(total)


def _predict(mean: Values, covariance: Values, step: Step) -> None:
    """F x + b and F P F' + Q in place for F = e_0 f' + diag(carry), of which only the first row and column are sums."""
    row, kept = np.empty_like(mean), step.carry[1:]
    row[...] = step.first_row  # once for all lanes: it is used n + 2 times, and to broadcast costs as much as to fill
    across = _weighed(row, covariance)
    mean[0] = _weighed(row, mean) + step.push
    mean[1:] *= kept
    covariance[0, 0] = _weighed(row, across)
    covariance[0, 1:] = covariance[1:, 0] = kept * across[1:]
    covariance[1:, 1:] *= kept[:, None] * kept
    covariance += step.noise


def _mix(mean: Values, covariance: Values, first_row: Values, mixing: Mixing) -> Values:
    """Apply a water change to mean and covariance in place; gives the first row that contains it."""
    left = 1.0 - mixing.fraction
    apart = (mixing.new_value - mean[0]) ** 2
    mean[0] = left * mean[0] + mixing.fraction * mixing.new_value
    covariance[0, :] *= left
    covariance[:, 0] *= left
    covariance[0, 0] += mixing.fraction**2 * mixing.new_variance + apart * mixing.fraction_variance
    return first_row * left


def _take_away(covariance: Values, gain: Values, left: Values) -> None:
    """P - K H P in place with H the first entry; left: the part R / S of the first row that stays, 1 without a reading.

    That row by a product, not a difference: a level free to jump, then read sharply, would keep no digits.
    """
    covariance[1:, 1:] -= gain[1:, None] * covariance[0, 1:]
    covariance[0] *= left
    covariance[1:, 0] = covariance[0, 1:]


def _as_it_is(
    node: int, residual: Values, predicted_variance: Values, reading_variance: Values, has_reading: Flags
) -> Verdict:
    loss = 0.5 * residual**2 / (predicted_variance + reading_variance)
    return Verdict(reading_variance, has_reading, None, loss)


class _LogDensity:
    """The log-likelihood of the readings so far: less their losses, and half the logarithm of 2 pi S of each."""

    def __init__(self, lanes: Sequence[int]) -> None:
        self._sum, self._product = np.zeros(lanes), np.ones(lanes)
        self._waiting = 0

    def take(self, variance: Values, loss: Values, has_reading: Flags) -> None:
        """One more reading where there is one, with the variance it was expected to have."""
        self._sum -= np.where(has_reading, loss, 0.0)
        self._product *= np.where(has_reading, 2.0 * np.pi * variance, 1.0)
        self._waiting += 1
        if self._waiting == READINGS_A_LOGARITHM:
            self.logarithm()

    def logarithm(self) -> Values:
        """Its value, the product of what came since the last logarithm taken in."""
        self._sum -= 0.5 * np.log(self._product)
        self._product[...] = 1.0
        self._waiting = 0
        return self._sum
