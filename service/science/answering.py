"""How far a system's demand answers to its own level, told from its record.

Corals take more from more saturated water: U = U0 (1 + b (Omega - Omega0)). About the record's own middle level A_m
that is U = d + a U0 (A - A_m) with a = b dOmega/dA, the answer a unit of level: the level then moves as if a U0 volumes
a day of water of level A_m ran through. The filter is run with such a stream for a row of values of a; what the
readings say of each weighs it. How demand drifts of itself is in the filter, so a drift is not taken for an answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from service.science import Values
from service.science.demand_prior import robust_start, settings_grid
from service.science.filtering import ALKALINITY, run_filter
from service.science.history import SystemHistory
from service.science.second_look import second_look
from service.science.timeline import lay_out_pieces

TRIED = np.array([0.0, 0.1, 0.2, 0.3, 0.45, 0.6, 0.75, 0.95, 1.2, 1.5, 1.8])
"""The answers a tried, per meq/L."""
USUAL_MOST = 0.75
"""Up to here all are alike beforehand: b of 0.4 (reviews, from memory) times the 1.83 that Omega rises with a meq/L at
pH 8.0 (NBS; S 35, 25 C) where pH follows the air; where pH is held it is 1.06, at pH 8.1 2.16 and 1.28."""
BEYOND_SD = 0.3
"""Beyond it an answer is thought the less likely the farther it lies: a judgement."""
NARROWED = 0.75
"""The record has told something when its interval is so much of that from nothing, or less."""
LEVEL, Z = 0.95, 1.959964
USUAL_DEMAND_SD = 0.1
"""Relative, of the demand whose share the answer is: demand wandered while the record was kept (a judgement)."""
SYSTEMS_AT_ONCE = 64
FINE = np.linspace(TRIED[0], TRIED[-1], 361)


@dataclass(frozen=True, slots=True)
class Answer:
    """By what share of itself demand answers to a meq/L, the 95 % interval, and how likely each of `tried` is.

    The interval is the shortest: a record that shows no answer gives one that begins at 0.
    """

    value: float
    low: float
    high: float
    tried: Values
    weight: Values


def fit_answers(*, histories: Sequence[SystemHistory], at_days: Values) -> list[Answer | None]:
    """The answer of each system from its record until an instant (systems), a share of the record's usual demand.

    None where the record does not narrow what is thought beforehand: its level hardly moved, or was hardly read.
    Source: DERIVED, KALMAN60, PRACTICE. Check value: none, tested by test_an_answer_is_found_where_the_level_moved.
    Shapes: one entry for each system.
    """
    able = [index for index, history in enumerate(histories) if len(np.unique(history.readings.at_days)) > 1]
    found: list[Answer | None] = [None] * len(histories)
    instants = np.asarray(at_days, dtype=np.float64)
    for first in range(0, len(able), SYSTEMS_AT_ONCE):
        part = able[first : first + SYSTEMS_AT_ONCE]
        evidence = _evidence([histories[index] for index in part], instants[part])
        for index, each in zip(part, evidence, strict=True):
            found[index] = _judged(each)
    return found


def _evidence(histories: Sequence[SystemHistory], at_days: Values) -> Values:
    """Log-likelihood of the readings under each answer tried, (systems, answers).

    Which readings are mistakes and where the level jumped is judged once, without an answer, and held for all.
    """
    laid_out = lay_out_pieces(histories=histories, at_days=at_days)
    plain = laid_out.timeline
    start = robust_start(timeline=plain)
    grid = settings_grid(start=start)
    first = run_filter(timeline=plain, start=start, grid=grid, rule=None, scale=ALKALINITY, keep=False)
    likeliest = grid.likeliest(first.log_likelihood)
    sound = second_look(timeline=plain, start=start, grid=likeliest, scale=ALKALINITY).timeline
    middle = np.array([np.median(history.readings.value) for history in histories])
    lanes = np.repeat(np.arange(len(histories)), len(TRIED))
    answering = laid_out.with_streams(rate=start.demand_size[:, None] * TRIED, level=middle)
    seen = replace(answering, has_reading=sound.has_reading[:, lanes], jump_variance=sound.jump_variance[:, lanes])
    start, grid = start.take(lanes), grid.take(lanes)
    forward = run_filter(timeline=seen, start=start, grid=grid, rule=None, scale=ALKALINITY, keep=False)
    total = forward.log_likelihood + grid.log_prior
    most = total.max(axis=1)
    return np.asarray((most + np.log(np.exp(total - most[:, None]).sum(axis=1))).reshape(len(histories), len(TRIED)))


def _judged(evidence: Values) -> Answer | None:
    """The answer by the readings and by what was thought beforehand, where they say more than that alone."""
    value, low, high, weight = _told(evidence)
    least, most = BEFOREHAND
    if high - low > NARROWED * (most - least):
        return None
    kept, scatter = weight > 1e-3, Z * USUAL_DEMAND_SD * value
    low, high = value - math.hypot(value - low, scatter), value + math.hypot(high - value, scatter)
    return Answer(value, max(low, 0.0), high, TRIED[kept], weight[kept] / weight[kept].sum())


def _told(evidence: Values) -> tuple[float, float, float, Values]:
    """Mean and shortest interval of the answer, and the weight of each value tried."""
    logarithm = np.interp(FINE, TRIED, evidence) - 0.5 * (np.maximum(FINE - USUAL_MOST, 0.0) / BEYOND_SD) ** 2
    density = np.exp(logarithm - logarithm.max())
    density /= density.sum()
    order = np.argsort(-density)
    inside = FINE[order[: int(np.searchsorted(np.cumsum(density[order]), LEVEL)) + 1]]
    nearest = np.abs(FINE[:, None] - TRIED).argmin(axis=1)
    weight = np.bincount(nearest, weights=density, minlength=len(TRIED)).astype(np.float64)
    return float(density @ FINE), float(inside.min()), float(inside.max()), weight


BEFOREHAND = _told(np.zeros_like(TRIED))[1:3]
"""The interval from nothing."""
