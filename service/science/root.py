"""Where a function that falls crosses zero, for many at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from service.science import Values

MOST_STEPS = 100
NEAR_ENOUGH = 1e-12
"""Steps end when none moves by more: a search for pH then knows it far beyond its constants."""


def falling_root(of: Callable[[Values], Values], *, low: float, high: float) -> Values:
    """Where the function of an array is zero between two ends; the end itself where it is zero beyond it.

    Regula falsi: the chord of a bracket cuts zero nearer its root. An end that stays twice running counts half, so that
    the other end is drawn in as well. NaN where the function is.

    Source: PRACTICE. Check value: none, tested by test_the_root_is_that_of_halving.
    """
    of_left, of_right = of(np.asarray(low)), of(np.asarray(high))
    left, right = np.full(of_left.shape, low), np.full(of_left.shape, high)
    below, beyond = of_left <= 0.0, of_right > 0.0
    came_from_left, x = np.zeros(of_left.shape), 0.5 * (left + right)
    for _ in range(MOST_STEPS):
        before, fall = x, of_left - of_right
        x = np.clip(left + (right - left) * of_left / np.where(fall > 0.0, fall, np.nan), left, right)
        if not np.any(np.abs(x - before)[~(below | beyond)] > NEAR_ENOUGH):
            break
        value = of(x)
        is_left = value > 0.0
        stays_right, stays_left = is_left & (came_from_left > 0.0), ~is_left & (came_from_left < 0.0)
        left, right = np.where(is_left, x, left), np.where(is_left, right, x)
        of_left = np.where(is_left, value, np.where(stays_left, 0.5 * of_left, of_left))
        of_right = np.where(is_left, np.where(stays_right, 0.5 * of_right, of_right), value)
        came_from_left = np.where(is_left, 1.0, -1.0)
    return np.asarray(np.where(below, low, np.where(beyond, high, x)))
