"""One number or a list of them: the same question asked many times in one call."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

import numpy as np
from pydantic import Field

from service.errors import Fault, Unacceptable
from service.http.shapes import Number, Shape, UnitName
from service.science import Values

LONGEST = 10_000
Numbers = Number | Annotated[list[Number], Field(min_length=1, max_length=LONGEST)]


class Amounts(Shape):
    """A number or a list of numbers, and their unit."""

    value: Numbers
    unit: UnitName


def same_length(given: Mapping[str, Numbers | None]) -> int | None:
    """The one length of all lists given (None: no list). Raises Unacceptable naming the list that differs."""
    length: int | None = None
    for pointer, value in given.items():
        if isinstance(value, list):
            if length is not None and len(value) != length:
                detail = f"Lists must be equally long: this one has {len(value)} values where another has {length}."
                raise Unacceptable(f"{pointer}: {detail}", (Fault(pointer, detail, len(value)),))
            length = len(value)
    return length


def spread(values: Values, length: int | None) -> float | list[float | None] | None:
    """Computed values as they leave: a number, or a list of the length asked for; null where there is no solution."""
    plain = [None if not np.isfinite(value) else float(value) for value in np.broadcast_to(values, (length or 1,))]
    return plain if length is not None else plain[0]
