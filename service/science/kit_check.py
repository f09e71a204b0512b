"""Does a reagent lot read true? Check standards and the step in the water's own readings, taken together.

    standard read with lot l:  d = s + b_l + noise      s: what the standard itself is off
    step from lot k to l:      w = b_l - b_k + noise    b: what a lot is off, usually a little

Every lot is a little off; what is asked is whether this one is off by more than lots usually are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.science import Values


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


@dataclass(frozen=True, slots=True)
class LotBias:
    """What a lot is off, with its sd; score: in the standard deviations of what lots usually are and what was read.

    NaN value where nothing was read with it.
    """

    value: float
    sd: float
    score: float


def lot_bias(
    *, lot: int, standards: Sequence[StandardRead], steps: Sequence[Step], usual_sd: float, standard_sd: float
) -> LotBias:
    """How far a lot reads off: generalised least squares, the other lots usual, the standard as good as stated.

    usual_sd: of lots among one another; standard_sd: of the standard itself, which all its readings share. One unit
    throughout.

    Source: AITKEN35.
    Check value: none, tested by test_by_hand_one_standard_and_one_step.
    Shapes: one lot at a time.
    """
    lots = sorted(
        {lot, *(each.lot for each in standards), *(k for each in steps for k in (each.old_lot, each.new_lot))}
    )
    place = {number: 1 + index for index, number in enumerate(lots)}
    size = 1 + len(lots)
    information, weighted = np.zeros((size, size)), np.zeros(size)
    information[0, 0] = standard_sd**-2
    for number, index in place.items():
        if number != lot:  # the one that is judged may be anything
            information[index, index] += usual_sd**-2
    for standard in standards:
        _add(information, weighted, {0: 1.0, place[standard.lot]: 1.0}, standard.off, standard.sd)
    for step in steps:
        _add(information, weighted, {place[step.new_lot]: 1.0, place[step.old_lot]: -1.0}, step.size, step.sd)
    own = place[lot]
    if information[own, own] <= 0.0:
        return LotBias(float("nan"), float("nan"), float("nan"))
    covariance = np.linalg.inv(information)
    value, sd = float((covariance @ weighted)[own]), float(np.sqrt(covariance[own, own]))
    return LotBias(value, sd, value / float(np.hypot(sd, usual_sd)))


def _add(information: Values, weighted: Values, row: dict[int, float], value: float, sd: float) -> None:
    """One observation: a row of coefficients, its value and sd."""
    for i, first in row.items():
        weighted[i] += first * value / sd**2
        for j, second in row.items():
            information[i, j] += first * second / sd**2
