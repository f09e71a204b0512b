"""Points as they are stored: fixed little-endian records, so that blocks laid end to end are one array.

A block holds the points of one batch within one day of UTC, in order of time. Where it is dense it also holds its
hours: how many points, their total, the lowest and the highest. Plots and computations read hours, not points.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.void]
"""Records of POINT, shape (points): `at` in microseconds since 1970 UTC, `value` in the canonical unit."""
Sums = NDArray[np.void]
"""Records of SUM, shape (spans): the start of each span, and what its points come to."""
Whole = NDArray[np.int64]

POINT = np.dtype([("at", "<i8"), ("value", "<f8")])
SUM = np.dtype([("at", "<i8"), ("count", "<i4"), ("total", "<f8"), ("low", "<f8"), ("high", "<f8")])
HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
DENSE = 8  # points an hour from which hours are kept: they cost 36 bytes, eight points 128


def points_of(at_us: Whole, value: NDArray[np.float64]) -> Points:
    """Times and values as one array of records, in the order given."""
    points = np.empty(len(at_us), dtype=POINT)
    points["at"], points["value"] = at_us, value
    return points


def unpacked(blobs: Iterable[bytes], layout: np.dtype[np.void] = POINT) -> NDArray[np.void]:
    """The records of blocks laid end to end."""
    return np.frombuffer(b"".join(blobs), dtype=layout)


def in_order(points: Points) -> Points:
    """The points by time. Blocks of one batch already are; late batches lie between others."""
    at = points["at"]
    return points if np.all(at[1:] >= at[:-1]) else points[np.argsort(at, kind="stable")]


def days_of(points: Points) -> Iterator[Points]:
    """Points in order of time, cut at the midnights of UTC."""
    return iter(np.split(points, np.flatnonzero(np.diff(points["at"] // DAY_US)) + 1))


def sums_of(points: Points, starts: Whole) -> Sums:
    """What points come to, span by span; `starts` is the start of each point's span, never falling."""
    sums = np.empty(len(points), dtype=SUM)
    sums["at"], sums["count"] = starts, 1
    sums["total"] = sums["low"] = sums["high"] = points["value"]
    return merged(sums)


def hours_of(points: Points) -> Sums:
    """What points come to in each whole hour of UTC."""
    return sums_of(points, points["at"] // HOUR_US * HOUR_US)


def merged(sums: Sums) -> Sums:
    """Sums of the same span put together, in order of time."""
    if len(sums) and np.any(sums["at"][1:] < sums["at"][:-1]):
        sums = sums[np.argsort(sums["at"], kind="stable")]
    first = np.flatnonzero(np.diff(sums["at"], prepend=sums["at"][0] - 1)) if len(sums) else np.empty(0, dtype=np.intp)
    if len(first) == len(sums):
        return sums
    together = np.empty(len(first), dtype=SUM)
    together["at"] = sums["at"][first]
    for name, gather in (("count", np.add), ("total", np.add), ("low", np.minimum), ("high", np.maximum)):
        together[name] = gather.reduceat(sums[name], first)
    return together


def kept_hours(points: Points) -> bytes | None:
    """The hours of a block as stored; None where its points are so few that reading them is as quick."""
    hours = hours_of(points)
    return hours.tobytes() if len(points) >= DENSE * len(hours) else None


def digest_of(points: Points) -> bytes:
    """SHA-256 over the records of points in order of time, 32 bytes."""
    return hashlib.sha256(points.tobytes()).digest()
