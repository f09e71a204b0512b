"""Numbers with their errors, as this answer combines them: independent, first order (JCGM 100)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from service.computations.answers import LEVEL
from service.computations.output_balance.many import column, of_known
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


@dataclass(frozen=True)
class Divided:
    """What a ratio is asked of: one number over another, and how far their errors go together."""

    over: Number
    under: Number
    covariance: float = 0.0


def ratios(asked: Iterable[Divided | None]) -> list[Ratio | None]:
    """Each ratio by Fieller's theorem; None where the lower number is not above zero."""
    return of_known((None if each is None or each.under.value <= 0 else each for each in asked), _ratios)


def _ratios(asked: Sequence[Divided]) -> list[Ratio]:
    over, under = column(each.over.value for each in asked), column(each.under.value for each in asked)
    found = ratio_interval(
        numerator_mean=over,
        numerator_variance=column(each.over.sd**2 for each in asked),
        denominator_mean=under,
        denominator_variance=column(each.under.sd**2 for each in asked),
        covariance=column(each.covariance for each in asked),
        score=Z,
    )
    return [
        Ratio(value, low, high) if is_bounded else Ratio(value, None, None)
        for value, low, high, is_bounded in zip(
            (over / under).tolist(), found.low.tolist(), found.high.tolist(), found.is_bounded.tolist(), strict=True
        )
    ]


def bounds(number: Number | None, unit: str) -> dict[str, Any] | None:
    """A number as it leaves, or None."""
    return None if number is None else number.bounds(unit)


def interval(value: float, low: float | None, high: float | None, unit: str) -> dict[str, Any]:
    """A value with its ends as it leaves; an end that is not finite is unbounded."""
    ends = [None if end is None or not math.isfinite(end) else float(end) for end in (low, high)]
    return {"value": float(value), "low": ends[0], "high": ends[1], "level": LEVEL, "unit": unit}
