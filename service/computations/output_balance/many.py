"""Many at once: what is known of each as columns of numbers, one call for all, and each one's row of the answer."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

import numpy as np

from service.science import Values

Asked = TypeVar("Asked")
Found = TypeVar("Found")
Kind = TypeVar("Kind", bound=Hashable)


def column(values: Iterable[float]) -> Values:
    """One number of each, in an array."""
    return np.array(list(values), dtype=np.float64)


def rows(found: Found) -> list[Found]:
    """An answer whose fields are arrays, and answers of arrays, by the last axis: one answer for each entry."""
    return list(_rows(found))


def _rows(found: Any) -> list[Any]:
    if isinstance(found, np.ndarray):
        return list(np.moveaxis(found, -1, 0))
    names = [each.name for each in fields(found)] if is_dataclass(found) else list(found._fields)
    parts = [_rows(getattr(found, name)) for name in names]
    return [type(found)(**dict(zip(names, each, strict=True))) for each in zip(*parts, strict=True)]


def of_known(
    asked: Iterable[Asked | None], answer: Callable[[list[Asked]], Sequence[Found | None]]
) -> list[Found | None]:
    """One answer for all that are known, in their order; None for those that are not. Not asked where none is."""
    every = list(asked)
    known = [each for each in every if each is not None]
    found = iter(answer(known) if known else ())
    return [None if each is None else next(found) for each in every]


def by_kind(
    asked: Sequence[Asked], kind: Callable[[Asked], Kind], answer: Callable[[Kind, list[Asked]], Sequence[Found]]
) -> list[Found]:
    """One answer for each kind there is among what is asked, in the order of the asking."""
    places: dict[Kind, list[int]] = {}
    for place, each in enumerate(asked):
        places.setdefault(kind(each), []).append(place)
    found: dict[int, Found] = {}
    for name, own in places.items():
        found.update(zip(own, answer(name, [asked[place] for place in own]), strict=True))
    return [found[place] for place in range(len(asked))]
