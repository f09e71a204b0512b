"""Numbers with their errors, as this answer combines them: independent, first order (JCGM 100)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from service.computations.answers import LEVEL
from service.science.fieller import ratio_interval

Z = 1.959964


@dataclass(frozen=True)
class Number:
    """A value and its standard deviation."""

    value: float
    sd: float

    def times(self, factor: float) -> Number:
        """In another unit."""
        return Number(self.value * factor, self.sd * abs(factor))

    def __add__(self, other: Number) -> Number:
        return Number(self.value + other.value, math.hypot(self.sd, other.sd))

    def __sub__(self, other: Number) -> Number:
        return Number(self.value - other.value, math.hypot(self.sd, other.sd))

    def __mul__(self, other: Number) -> Number:
        parts = (self.value * other.sd, other.value * self.sd, self.sd * other.sd)
        return Number(self.value * other.value, math.hypot(*parts))

    def bounds(self, unit: str) -> dict[str, Any]:
        """As it leaves, with its 95 % interval."""
        half = Z * self.sd
        return interval(self.value, self.value - half, self.value + half, unit)


@dataclass(frozen=True)
class Ratio:
    """A ratio with its 95 % interval; None: not bounded on that side."""

    value: float
    low: float | None
    high: float | None


def ratio(over: Number, under: Number, *, covariance: float = 0.0) -> Ratio | None:
    """The ratio of two numbers by Fieller's theorem; None where the lower one is not above zero."""
    if under.value <= 0:
        return None
    found = ratio_interval(
        numerator_mean=over.value,
        numerator_variance=over.sd**2,
        denominator_mean=under.value,
        denominator_variance=under.sd**2,
        covariance=covariance,
        score=Z,
    )
    value = over.value / under.value
    if not bool(found.is_bounded):
        return Ratio(value, None, None)
    return Ratio(value, float(found.low), float(found.high))


def bounds(number: Number | None, unit: str) -> dict[str, Any] | None:
    """A number as it leaves, or None."""
    return None if number is None else number.bounds(unit)


def interval(value: float, low: float | None, high: float | None, unit: str) -> dict[str, Any]:
    """A value with its ends as it leaves; an end that is not finite is unbounded."""
    ends = [None if end is None or not math.isfinite(end) else float(end) for end in (low, high)]
    return {"value": float(value), "low": ends[0], "high": ends[1], "level": LEVEL, "unit": unit}
