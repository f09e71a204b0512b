"""Quantiles of Student's distribution, for intervals from a handful of readings."""

import math


def t_quantile(*, level: float, degrees_of_freedom: int) -> float:
    """The t within which a share `level` lies, both signs together: 12.71 at 0.95 and one degree of freedom.

    P(|T| <= t) as a finite sum in the angle arctan(t/sqrt(n)) (26.7.3 and 26.7.4), inverted by bisection on the angle.
    ValueError without a degree of freedom or for a level outside 0 to 1.

    Source: ABRAMOWITZ64. Check value: none, tested by test_quantiles_are_those_of_the_printed_table.
    """
    if degrees_of_freedom < 1:
        raise ValueError("degrees_of_freedom must be at least 1: give more readings")
    if not 0.0 < level < 1.0:
        raise ValueError("level must lie between 0 and 1")
    low, high = 0.0, 0.5 * math.pi
    for _ in range(80):
        angle = 0.5 * (low + high)
        if _within(angle, degrees_of_freedom) < level:
            low = angle
        else:
            high = angle
    return math.sqrt(degrees_of_freedom) * math.tan(0.5 * (low + high))


def _within(angle: float, n: int) -> float:
    """P(|T| <= sqrt(n) tan(angle))."""
    sine, cosine = math.sin(angle), math.cos(angle)
    odd = n % 2 == 1
    term = cosine if odd else 1.0
    total = term if n >= (3 if odd else 2) else 0.0
    for k in range(3 if odd else 2, n - 1, 2):
        term *= (k - 1) / k * cosine**2
        total += term
    return 2.0 / math.pi * (angle + sine * total) if odd else sine * total
