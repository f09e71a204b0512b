"""Does a reagent lot read true? Check standards and the step in the water's own readings, taken together.

    standard read with lot l:  d = s + b_l + noise          s: what the standard itself is off
    step from lot k to l:      w = b_l - b_k + m + noise    b: what a lot is off; m: what the water itself did then

Every lot is a little off; what is asked is whether this one is off by more than lots usually are. A step may also be
the water's: something was added, or much was changed, just when the lot was opened. So four explanations are weighed by
how probable they make what was read: the lot is usual or off, the water moved or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Values

Flags = NDArray[np.bool_]

MOVED = 0.03
"""How often the water itself moves between the two readings around a step: a judgement."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardRead:
    """One check standard, replicates averaged: its lot, what was read less what it holds, and the sd of that."""

    lot: int
    off: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """How far a lot reads from the one before in the same water, and its sd."""

    old_lot: int
    new_lot: int
    size: float
    sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Spreads:
    """Standard deviations of what is not known beforehand, in the unit of the readings.

    usual: of lots among one another; off: of a lot that is off; standard: of the standard itself, which all its
    readings share; moved: of what the water does of itself between two readings in the part MOVED of all cases.
    """

    usual: float
    off: float
    standard: float
    moved: float


@dataclass(frozen=True, slots=True)
class LotBias:
    """What a lot is off, with its sd, as the likeliest explanation has it where the lot is off.

    log_factor: logarithm of how many times as probable a lot that is off makes what was read as a usual one does. NaN
    where nothing was read with it.
    """

    value: float
    sd: float
    log_factor: float


def lot_bias(*, lot: int, standards: Sequence[StandardRead], steps: Sequence[Step], spreads: Spreads) -> LotBias:
    """How far a lot reads off, by generalised least squares, and how much speaks for it: all of one unit.

    At most one of the waters is taken to have moved: that several did at once is rarer than a lot that is off.

    Source: AITKEN35, DERIVED.
    Check value: none, tested by test_by_hand_one_standard_and_one_step.
    Shapes: one lot at a time.
    """
    seen = {*(each.lot for each in standards), *(number for each in steps for number in (each.old_lot, each.new_lot))}
    if lot not in seen:
        return LotBias(float("nan"), float("nan"), float("nan"))
    read = np.array([*(each.off for each in standards), *(each.size for each in steps)])
    noise = np.array([*(each.sd**2 for each in standards), *(each.sd**2 for each in steps)])
    design, own = _design(lot, standards, steps)
    is_step = np.arange(len(read)) >= len(standards)
    variance = np.full(design.shape[1], spreads.usual**2)
    variance[0] = spreads.standard**2
    usual = _log_densities(read, _covariance(design, variance, noise), is_step, spreads.moved)
    variance[own] = spreads.off**2
    off = _log_densities(read, _covariance(design, variance, noise), is_step, spreads.moved)
    moved = int(off.argmax())  # 0: none; else the number of the step
    if moved:
        noise[len(standards) + moved - 1] += spreads.moved**2
    variance[own] = np.inf  # the one that is judged may be anything
    value, sd = _least_squares(read, design, variance, noise, own)
    return LotBias(value, sd, float(np.logaddexp.reduce(off) - np.logaddexp.reduce(usual)))


def _design(lot: int, standards: Sequence[StandardRead], steps: Sequence[Step]) -> tuple[Values, int]:
    """What each observation sees of the standard's error (column 0) and of each lot's; the column of `lot`."""
    lots = sorted({*(each.lot for each in standards), *(k for each in steps for k in (each.old_lot, each.new_lot))})
    place = {number: 1 + index for index, number in enumerate(lots)}
    design = np.zeros((len(standards) + len(steps), 1 + len(lots)))
    for row, standard in enumerate(standards):
        design[row, 0] = design[row, place[standard.lot]] = 1.0
    for row, step in enumerate(steps, start=len(standards)):
        design[row, place[step.new_lot]] += 1.0
        design[row, place[step.old_lot]] -= 1.0
    return design, place[lot]


def _covariance(design: Values, variance: Values, noise: Values) -> Values:
    return np.asarray((design * variance) @ design.T + np.diag(noise))


def _log_densities(read: Values, covariance: Values, is_step: Flags, moved_sd: float) -> Values:
    """Logarithms of how probable what was read is: no water moved, then that of each step did, with its prior.

    A variance t^2 more of one observation takes the density from C to C + t^2 e e' (Sherman & Morrison).
    """
    inverse = np.linalg.inv(covariance)
    weighed, own = inverse @ read, np.diag(inverse)
    still = -0.5 * float(read @ weighed) - 0.5 * float(np.linalg.slogdet(covariance)[1])
    more = 1.0 + moved_sd**2 * own
    moved = still + 0.5 * moved_sd**2 * weighed**2 / more - 0.5 * np.log(more) + np.log(MOVED)
    return np.concatenate([[still], moved[is_step]])


def _least_squares(read: Values, design: Values, variance: Values, noise: Values, own: int) -> tuple[float, float]:
    """Value and sd of one unknown, all having a mean of zero and their variance beforehand."""
    information = design.T @ (design / noise[:, None]) + np.diag(1.0 / variance)
    covariance = np.linalg.inv(information)
    return float((covariance @ design.T @ (read / noise))[own]), float(np.sqrt(covariance[own, own]))
