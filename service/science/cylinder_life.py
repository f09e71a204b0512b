"""When a gas line's cylinder has no liquid left and when it is empty, from its weighings.

A filter on [mass, rate of use] runs through all cylinders of the line, because the rate belongs to the line and lives
through a swap. The rate wanders; how fast is averaged over a grid, weighted by how well each setting explains the
weighings. What all weighings of a cylinder are off together (its tare) is added to the answer. The day a level is
reached is read from the distribution of the mass on every coming day; where the records allow every day after one,
there is no last day.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from service.science import Values
from service.science.gas_line import (
    ANY_MASS_VARIANCE,
    GasLineHistory,
    Nodes,
    first_guess,
    lay_out,
    steps,
)
from service.science.mixture import NormalMixture
from service.science.robust import Gate
from service.science.smoother import filter_forward
from service.science.transition import demand_variance_days3

DRIFT_SHARE = 0.005
"""Median of the prior for how fast the rate wanders: part of the rate a square root of a day."""
DRIFT_LOG_SD = 0.8
DRIFT_SCORES = np.linspace(-2.0, 2.0, 7)
HORIZON_DAYS = 3652.5
"""Ten years: a day later than this is called no day at all."""
SEARCH_POINTS, SEARCH_HALVINGS = 72, 20
PROBABILITIES = (0.025, 0.5, 0.975)

Missing: TypeAlias = Literal["a_second_weighing", "a_weighing_of_this_cylinder"]
RATE: Missing = "a_second_weighing"
MASS: Missing = "a_weighing_of_this_cylinder"

_erf = np.frompyfunc(math.erf, 1, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Masses of interest in the cylinder now on the line, kg, with the sd of how well each is known.

    liquid_gone_kg: None when there may be no liquid to go (at or above 31 C). empty_kg: what is left at the lowest
    pressure that still feeds the line.
    """

    liquid_gone_kg: float | None = None
    liquid_gone_sd_kg: float = 0.0
    empty_kg: float = 0.0
    empty_sd_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> "Estimate":
        """The same in another unit."""
        return Estimate(self.value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True, slots=True)
class Instant:
    """When a level is reached, days on the axis of the records, with its 95 % interval.

    None for value or high: these records give no such day, nor an upper bound. has_passed: it is probably behind us;
    value, low or high are then the instant asked.
    """

    value: float | None
    low: float | None
    high: float | None
    has_passed: bool


@dataclass(frozen=True, slots=True)
class ScaleJump:
    """Two weighings in a row off by the same: between the two instants, by how much. What hung on the scale changed?"""

    after_days: float
    at_days: float
    size_kg: float


@dataclass(frozen=True, slots=True)
class CylinderForecast:
    """The gas line's cylinder at the instant asked; None where it cannot be told, `missing` then says what would.

    liquid_gone is also None when no such level was given. set_aside: indices of weighings that were not used. drift:
    how fast the rate wanders, part of it a square root of a day.
    """

    remaining_kg: Estimate | None
    use_g_d: Estimate | None
    liquid_gone: Instant | None
    empty: Instant | None
    missing: Missing | None
    set_aside: tuple[int, ...]
    scale_jumps: tuple[ScaleJump, ...]
    drift: float | None


def forecast_cylinder_life(
    *, histories: Sequence[GasLineHistory], at_days: Sequence[float], levels: Sequence[Levels]
) -> list[CylinderForecast]:
    """A forecast for every gas line at its own instant, all lines in one pass. ValueError for a record that cannot be.

    Source: KALMAN60, HUBER64.
    Check value: none, tested by test_a_constant_rate_is_found.
    """
    if not histories:
        return []
    nodes = lay_out(histories=histories, at_days=at_days)
    guess = first_guess(nodes=nodes)
    told = np.isfinite(guess.rate_kg_d)
    rate, rate_sd, size = (np.where(told, x, 1.0) for x in (guess.rate_kg_d, guess.rate_sd_kg_d, guess.rate_size_kg_d))
    shares = DRIFT_SHARE * np.exp(DRIFT_LOG_SD * DRIFT_SCORES)
    drift = shares * size[:, None]
    shape = drift.shape
    mean, covariance = np.empty((2, *shape)), np.zeros((2, 2, *shape))
    mean[0], mean[1] = guess.mass_kg[:, None], rate[:, None]
    covariance[0, 0], covariance[1, 1] = ANY_MASS_VARIANCE, rate_sd[:, None] ** 2
    gate = Gate(len(nodes.at_days), shape)
    forward = filter_forward(
        start_mean=mean,
        start_covariance=covariance,
        steps=steps(nodes=nodes, drift=drift, rate_size_kg_d=size),
        node_count=len(nodes.at_days),
        rule=gate,
        keep=False,
    )
    log_weight = forward.log_likelihood - 0.5 * DRIFT_SCORES**2
    weight = np.exp(log_weight - log_weight.max(axis=1, keepdims=True))
    weight = weight / weight.sum(axis=1, keepdims=True)
    tare_sd = np.array([_tare_sd(history, at) for history, at in zip(histories, at_days, strict=True)])
    ahead = _Ahead(weight, forward.mean[-1], forward.covariance[-1], drift, tare_sd)
    mass, use = _estimates(ahead.mass(np.zeros(len(told)), 0.0)), _estimates(ahead.rate())
    gone, empty = _instants(
        ahead,
        at_days,
        np.array([[x.liquid_gone_kg or 0.0 for x in levels], [x.empty_kg for x in levels]]),
        np.array([[x.liquid_gone_sd_kg for x in levels], [x.empty_sd_kg for x in levels]]),
    )
    found = []
    for line in range(len(histories)):
        weighed = _is_weighed(nodes, line)
        both = bool(told[line] and weighed)
        missing = None if both else RATE if weighed else MASS
        found.append(
            CylinderForecast(
                remaining_kg=mass[line] if both else None,
                use_g_d=use[line].times(1000.0) if told[line] else None,
                liquid_gone=gone[line] if both and levels[line].liquid_gone_kg is not None else None,
                empty=empty[line] if both else None,
                missing=missing,
                set_aside=_set_aside(nodes, gate, weight, line),
                scale_jumps=_jumps(nodes, gate, weight, line),
                drift=float((weight[line] * shares).sum()) if told[line] else None,
            )
        )
    return found


@dataclass(frozen=True, slots=True)
class _Ahead:
    """The distribution of mass on coming days: a mixture over the settings."""

    weight: Values
    mean: Values
    covariance: Values
    drift: Values
    tare_sd: Values

    def mass(self, days: Values, extra_sd: Values | float) -> NormalMixture:
        """Mass of gas `days` (..., lines) from the instant asked."""
        t = days[..., None]
        wander = self.drift**2 * demand_variance_days3(exchange_per_day=np.zeros_like(t), dt_days=t)
        p = self.covariance
        lasting = (self.tare_sd**2 + np.asarray(extra_sd) ** 2)[..., None]
        variance = p[0, 0] - 2.0 * t * p[0, 1] + t**2 * p[1, 1] + wander + lasting
        return NormalMixture(self.weight, self.mean[0] - t * self.mean[1], variance)

    def rate(self) -> NormalMixture:
        return NormalMixture(self.weight, self.mean[1], self.covariance[1, 1])


def _instants(ahead: _Ahead, at_days: Sequence[float], level: Values, level_sd: Values) -> list[list[Instant]]:
    """Per level and line, the days by which the mass has fallen to it with each of the three probabilities."""
    days = np.moveaxis(_days_until(ahead, level, level_sd), 0, -1)
    return [[_instant(at, *three) for at, three in zip(at_days, of_level.tolist(), strict=True)] for of_level in days]


def _instant(at: float, low: float, middle: float, high: float) -> Instant:
    value, first, last = (at + x if np.isfinite(x) else None for x in (middle, low, high))
    return Instant(value, first, last, has_passed=middle == 0.0)


def _days_until(ahead: _Ahead, level: Values, level_sd: Values) -> Values:
    """First day on which the chance to be at a level or below reaches each probability; inf within ten years.

    Levels are (levels, lines), the result (probabilities, levels, lines): first among fixed days, then by halving
    between two of them.
    """

    def chance(days: Values) -> Values:
        mass = ahead.mass(days, level_sd)
        scores = (level[..., None] - mass.means) / np.sqrt(2.0 * mass.variances)
        return np.asarray((mass.weight * 0.5 * (1.0 + np.asarray(_erf(scores), dtype=np.float64))).sum(axis=-1))

    points = np.concatenate([[0.0], np.geomspace(0.05, HORIZON_DAYS, SEARCH_POINTS)])
    wanted = np.array(PROBABILITIES)[:, None, None]
    passed = chance(np.broadcast_to(points[:, None, None], (len(points), *level.shape)))[:, None] >= wanted
    first, found = passed.argmax(axis=0), passed.any(axis=0)
    left, right = points[np.maximum(first - 1, 0)], points[first]
    for _ in range(SEARCH_HALVINGS):
        middle = 0.5 * (left + right)
        is_reached = chance(middle) >= wanted
        left, right = np.where(is_reached, left, middle), np.where(is_reached, middle, right)
    return np.where(found, right, np.inf)


def _estimates(mixture: NormalMixture) -> list[Estimate]:
    low, high = mixture.interval()
    return [Estimate(float(v), float(a), float(b)) for v, a, b in zip(mixture.mean(), low, high, strict=True)]


def _tare_sd(history: GasLineHistory, at: float) -> float:
    return [each.tare_sd_kg for each in history.cylinders if each.from_days <= at][-1]


def _is_weighed(nodes: Nodes, line: int) -> bool:
    """Whether anything is known of the mass of the cylinder now on the line."""
    swaps = np.flatnonzero(nodes.is_swap[:, line])
    return bool(nodes.has_reading[swaps[-1] if len(swaps) else 0 :, line].any())


def _set_aside(nodes: Nodes, gate: Gate, weight: Values, line: int) -> tuple[int, ...]:
    share = (gate.is_aside[:, line] * weight[line]).sum(axis=-1)
    return tuple(sorted(int(nodes.source[node, line]) for node in np.flatnonzero(share > 0.5)))


def _jumps(nodes: Nodes, gate: Gate, weight: Values, line: int) -> tuple[ScaleJump, ...]:
    share = ((gate.jump_variance[:, line] > 0.0) * weight[line]).sum(axis=-1)
    read = np.flatnonzero(nodes.has_reading[:, line])
    found = []
    for node in np.flatnonzero(share > 0.5):
        before = read[read < node]
        after = float(nodes.at_days[before[-1] if len(before) else node, line])
        size = float((gate.jump[node, line] * weight[line]).sum())
        found.append(ScaleJump(after, float(nodes.at_days[node, line]), size))
    return tuple(found)
