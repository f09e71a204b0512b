"""Columns of unequal length, one a record, laid end to end: what a loop over the records does, done once for all.

A place is a record and an instant in it, kept as one complex number (record + i day) because numpy sorts and searches
those by the real part, then by the imaginary: one sorted array serves every record, and no digit of an instant is lost.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Whole = NDArray[np.int64]
Places = NDArray[np.complex128]


def end_to_end(columns: Iterable[Values]) -> tuple[Values, Whole]:
    """All values of some columns, and the number of the column each is from. Check value: none, definition."""
    each = list(columns)
    lengths = np.array([len(column) for column in each], dtype=np.int64)
    joined = np.concatenate(each) if each else np.empty(0)
    return joined, np.repeat(np.arange(len(each)), lengths)


def places(record: Whole, at_days: Values) -> Places:
    """Record and instant as one number. Check value: none, definition."""
    found = np.empty(len(record), dtype=np.complex128)
    found.real, found.imag = record, at_days
    return found


def records(of: Places) -> Whole:
    """The record of each place. Check value: none, definition."""
    return of.real.astype(np.int64)


def distinct(of: Places) -> Places:
    """Places in order, each once. Check value: none, definition."""
    ordered = np.sort(of, kind="stable")  # merges what already is in order
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if len(ordered) else ordered


def first_entries(record: Whole, count: int) -> Whole:
    """Where each of `count` records begins, for entries in order of record; and where the last ends, (count + 1)."""
    return np.searchsorted(record, np.arange(count + 1)).astype(np.int64)


def stretches(first: Whole, length: Whole) -> tuple[Whole, Whole]:
    """The entries first, first + 1, ... of stretches of some lengths, end to end; and the stretch each belongs to."""
    stretch = np.repeat(np.arange(len(length)), length)
    return np.arange(len(stretch)) + (first - (np.cumsum(length) - length))[stretch], stretch


def medians(values: Values, record: Whole, count: int) -> Values:
    """The median of each of `count` records, NaN where it has no value. Check value: none, definition."""
    ordered = np.sort(places(record, values))
    first = first_entries(records(ordered), count)
    length = np.diff(first)
    middle = np.append(ordered.imag, np.nan)
    low, high = (np.where(length > 0, first[:-1] + each, len(ordered)) for each in ((length - 1) // 2, length // 2))
    return np.asarray(0.5 * (middle[low] + middle[high]))


def straight_between(wanted: Places, known: Places, values: Values) -> Values:
    """Values at wanted places, straight between the known ones of the same record and constant beyond them.

    `known` is in order, with at least one place in each record asked for. Check value: none, definition.
    """
    record = records(wanted)
    first = first_entries(records(known), int(record.max(initial=-1)) + 1)
    last = first[record + 1] - 1
    before = np.clip(np.searchsorted(known, wanted, side="right") - 1, first[record], last)
    after = np.minimum(before + 1, last)
    at, days = known.imag, wanted.imag
    step = at[after] - at[before]
    slope = (values[after] - values[before]) / np.where(step > 0.0, step, 1.0)
    return np.asarray(values[before] + slope * np.maximum(days - at[before], 0.0))
