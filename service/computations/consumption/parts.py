"""What all parts of a system's inputs share."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

USUAL_C = 25.0


def column(values: Iterable[float]) -> Values:
    """The values as an array."""
    return np.array(list(values), dtype=np.float64)


def say(assumptions: list[str], sentence: str) -> None:
    """Add a sentence to what was assumed, once."""
    if sentence not in assumptions:
        assumptions.append(sentence)
