"""What a system's water does over the days to come: alkalinity under what runs in now, or under a plan.

From the filter at the last reading comes what is known now: the level A, the net rate n at which it moves (all that
runs in less all that is taken), and how they are known together. From there on

    dA/dt = n(t) - r (A - A_0) + u(t),      n a random walk with sd s_d a square root of a day,

r the share of a displacement that a day takes back (exchange, demand's answer to saturation, a drip whose effluent does
not follow the tank) and u(t) what a plan changes. Whatever the inputs' lasting errors are, they are in n already: level
and net rate were read off the water itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.science import Values
from service.science.mixture import NormalMixture
from service.science.transition import transition


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """A system now: level and net rate (a day) with their covariance, and how both wander.

    exchange_per_day: the restoring rate that the filter itself reckoned with when it looked ahead.
    """

    level: float
    level_sd: float
    net_rate: float
    net_rate_sd: float
    covariance: float
    drift: float
    level_noise: float
    exchange_per_day: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """From a day on so much more (less) runs in a day, in the level's unit, known to an sd that lasts.

    shares: which part of it runs on its first day, its second and so on; the last goes on. The sd is shared out alike.
    """

    from_days: float
    rate: float
    sd: float = 0.0
    shares: tuple[float, ...] = (1.0,)

    @property
    def days(self) -> Values:
        """The instants at which another share begins."""
        return self.from_days + np.arange(float(len(self.shares)))

    def share_at(self, day: float) -> float:
        """The part of it that runs from an instant on."""
        begun = int(np.searchsorted(self.days, day, side="right"))
        return self.shares[begun - 1] if begun else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A water change on a day: the new fraction and the level of the new water with their sds."""

    at_days: float
    fraction: float
    fraction_sd: float
    new_level: float
    new_level_sd: float


@dataclass(frozen=True, slots=True)
class Ahead:
    """The level over the days to come with its 95 % interval, arrays (days)."""

    at_days: Values
    value: Values
    low: Values
    high: Values


def start_of(
    *, level: Values, level_sd: Values, ahead_days: Values, drift: float, level_noise: float, exchange_per_day: float
) -> Start:
    """What is known now, from how the filter itself sees the level some days ahead with everything as it is.

    level, level_sd and ahead_days are three long: now, a short step, a longer one. Variance of A after t is
    P_AA e2 + 2 e g P_An + g2 P_nn + Q: two looks ahead give P_An and P_nn. ValueError for other lengths.

    Source: DERIVED, VANLOAN78, KALMAN60.
    Check value: none, tested by test_two_looks_ahead_tell_rate_and_covariance.
    Shapes: the axis is the looks.
    """
    if len(level) != 3 or len(level_sd) != 3 or len(ahead_days) != 3:
        raise ValueError("level, level_sd, ahead_days: give three looks, now and two ahead")
    k = max(exchange_per_day, 0.0)
    step = transition(exchange_per_day=np.asarray(k), dt_days=ahead_days[1:])
    noise = drift**2 * step.demand_11_days3 + level_noise**2 * step.level_11_days
    left = level_sd[1:] ** 2 - noise - (step.decay * level_sd[0]) ** 2
    design = np.column_stack([2.0 * step.decay * step.response_days, step.response_days**2])
    covariance, variance = np.linalg.solve(design, left)
    variance = max(float(variance), 0.0)
    most = float(level_sd[0] * np.sqrt(variance))
    return Start(
        level=float(level[0]),
        level_sd=float(level_sd[0]),
        net_rate=float((level[1] - level[0]) / step.response_days[0]),
        net_rate_sd=float(np.sqrt(variance)),
        covariance=float(np.clip(covariance, -most, most)),
        drift=drift,
        level_noise=level_noise,
        exchange_per_day=k,
    )


def project(
    *,
    start: Start,
    days: int,
    restoring_per_day: Values,
    weight: Values,
    turns: Sequence[Turn] = (),
    changes: Sequence[Change] = (),
) -> Ahead:
    """The level on each of the days to come, 0 to `days`, averaged over restoring rates by their weight.

    restoring_per_day and weight (rates): what is not known of how far demand answers, as a few rates. Each is followed
    exactly, day by day (and from turn to turn, change to change); lasting errors of turns add to the net rate they
    change. A level below zero is not clamped: it says that the plan starves the system.

    Source: DERIVED, VANLOAN78, KALMAN60.
    Check value: none, tested by test_an_undisturbed_system_is_projected_as_the_filter_does.
    Shapes: the axis of the result is the days.
    """
    instants = np.unique(
        np.concatenate([np.arange(days + 1.0), *(turn.days for turn in turns), [each.at_days for each in changes]])
    )
    instants = instants[(instants >= 0.0) & (instants <= days)]
    means, variances = [], []
    for rate in restoring_per_day:
        mean, variance = _followed(start, float(rate), instants, turns, changes)
        means.append(mean)
        variances.append(variance)
    whole = np.isin(instants, np.arange(days + 1.0))
    level = NormalMixture(weight, np.stack(means, axis=-1)[whole], np.stack(variances, axis=-1)[whole])
    low, high = level.interval()
    return Ahead(instants[whole], level.mean(), low, high)


def _followed(
    start: Start, rate: float, instants: Values, turns: Sequence[Turn], changes: Sequence[Change]
) -> tuple[Values, Values]:
    """Mean and variance of the level at each instant for one restoring rate. State: [A, n, one error a turn]."""
    size = 2 + len(turns)
    state = np.zeros(size)
    state[:2] = start.level, start.net_rate
    covariance = np.zeros((size, size))
    covariance[:2, :2] = [[start.level_sd**2, start.covariance], [start.covariance, start.net_rate_sd**2]]
    covariance[range(2, size), range(2, size)] = [turn.sd**2 for turn in turns]
    means, variances = [], []
    for index, now in enumerate(instants):
        if index:
            state, covariance = _step(start, rate, state, covariance, instants[index - 1], now, turns)
        for change in (each for each in changes if each.at_days == now):
            state, covariance = _changed(state, covariance, change)
        means.append(state[0])
        variances.append(covariance[0, 0])
    return np.array(means), np.array(variances)


def _step(
    start: Start, rate: float, state: Values, covariance: Values, before: float, now: float, turns: Sequence[Turn]
) -> tuple[Values, Values]:
    step = transition(exchange_per_day=np.asarray(rate), dt_days=np.asarray(now - before))
    decay, response = float(step.decay), float(step.response_days)
    shares = np.array([turn.share_at(float(before)) for turn in turns])
    matrix = np.eye(len(state))
    matrix[0, 0], matrix[0, 1] = decay, response
    matrix[0, 2:] = response * shares
    planned = math.fsum(turn.rate * share for turn, share in zip(turns, shares, strict=True))
    pulled = np.zeros(len(state))
    pulled[0] = response * (rate * start.level + planned)
    noise = np.zeros_like(covariance)
    noise[0, 0] = start.drift**2 * float(step.demand_11_days3) + start.level_noise**2 * float(step.level_11_days)
    # the net rate falls as demand grows: the sign of the covariance turns
    noise[0, 1] = noise[1, 0] = -(start.drift**2) * float(step.demand_12_days2)
    noise[1, 1] = start.drift**2 * (now - before)
    return matrix @ state + pulled, matrix @ covariance @ matrix.T + noise


def _changed(state: Values, covariance: Values, change: Change) -> tuple[Values, Values]:
    """A water change: A <- (1 - f) A + f A_new, the errors of f and A_new added."""
    matrix = np.eye(len(state))
    matrix[0, 0] = 1.0 - change.fraction
    after = matrix @ state
    after[0] += change.fraction * change.new_level
    spread = matrix @ covariance @ matrix.T
    spread[0, 0] += (change.fraction * change.new_level_sd) ** 2
    spread[0, 0] += ((change.new_level - state[0]) * change.fraction_sd) ** 2
    return after, spread
