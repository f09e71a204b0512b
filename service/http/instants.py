"""Columns of RFC 3339 times: thousands read at once into whole microseconds, and the first bad one named."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]

LONGEST = 35  # 2026-11-20T08:00:00.123456789+01:00
SHORTEST = 20  # 2026-11-20T08:00:00Z
SECOND = 1_000_000
EXPECTED = "an RFC 3339 time with its offset is expected, such as 2026-11-20T08:00:00+01:00"
IN_RANGE = "a time between the years 1900 and 2200 is expected"


class BadInstant(ValueError):
    """One text of a column is no time that this service takes; `index` says which."""

    def __init__(self, index: int, message: str) -> None:
        super().__init__(message)
        self.index = index


def instants_of(texts: Sequence[str]) -> Whole:
    """Whole microseconds since 1970 UTC of RFC 3339 times, shape (texts); digits beyond the microsecond are dropped.

    Raises BadInstant for the first that has no offset, is not a time, or lies outside the years 1900 to 2200.
    Source: RFC 3339, section 5.6. Seconds of 60 are refused, as in every other time sent.
    """
    lengths = np.fromiter(map(len, texts), dtype=np.int64, count=len(texts))
    _refuse((lengths < SHORTEST) | (lengths > LONGEST), EXPECTED)
    letters = np.array(texts, dtype=f"U{LONGEST}").view(np.uint32).reshape(len(texts), LONGEST)
    ends_in_z = np.isin(letters[np.arange(len(texts)), lengths - 1], (ord("Z"), ord("z")))
    found, good = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=np.bool_)
    for length, in_utc in {*zip(lengths.tolist(), ends_in_z.tolist(), strict=True)}:
        rows = np.flatnonzero((lengths == length) & (ends_in_z == in_utc))
        found[rows], good[rows] = _alike(letters[rows, :length], offset_at=length - (1 if in_utc else 6))
    _refuse(~good, EXPECTED)
    year = found.astype("M8[us]").astype("M8[Y]").astype(np.int64) + 1970
    _refuse((year < 1900) | (year > 2200), IN_RANGE)
    return found


def _refuse(bad: NDArray[np.bool_], message: str) -> None:
    if bad.any():
        raise BadInstant(int(np.argmax(bad)), message)


def _alike(letters: NDArray[np.uint32], *, offset_at: int) -> tuple[Whole, NDArray[np.bool_]]:
    """The instants of texts with the same layout, and which of them are times at all."""
    text = _Text(letters)
    year, month, day = text.number(0, 4), text.number(5, 7), text.number(8, 10)
    hour, minute, second = text.number(11, 13), text.number(14, 16), text.number(17, 19)
    text.expect(4, "-")
    text.expect(7, "-")
    text.expect(10, "Tt ")
    text.expect(13, ":")
    text.expect(16, ":")
    fraction = _fraction(text, offset_at)
    east = _offset_minutes(text, offset_at)
    months = (year - 1970) * 12 + month - 1
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    in_month = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64) - first
    text.good &= (month >= 1) & (month <= 12) & (day >= 1) & (day <= in_month)
    text.good &= (hour <= 23) & (minute <= 59) & (second <= 59)
    seconds = ((first + day - 1) * 24 + hour) * 3600 + (minute - east) * 60 + second
    return seconds * SECOND + fraction, text.good


def _fraction(text: _Text, offset_at: int) -> Whole | int:
    if offset_at == 19:
        return 0
    text.expect(19, ".")
    if not 21 <= offset_at <= 29:  # a point, and one to nine digits
        text.good[:] = False
        return 0
    digits = min(offset_at - 20, 6)
    text.number(20, offset_at)
    scale: int = 10 ** (6 - digits)
    return text.number(20, 20 + digits) * scale


def _offset_minutes(text: _Text, offset_at: int) -> Whole | int:
    """Minutes east of UTC."""
    if text.width - offset_at == 1:
        return 0
    text.expect(offset_at, "+-")
    text.expect(offset_at + 3, ":")
    hours, minutes = text.number(offset_at + 1, offset_at + 3), text.number(offset_at + 4, offset_at + 6)
    text.good &= (hours <= 23) & (minutes <= 59)
    sign = np.where(text.letters[:, offset_at] == ord("-"), -1, 1)
    return np.asarray(sign * (hours * 60 + minutes), dtype=np.int64)


class _Text:
    """Texts of one width as code points, (texts, width), and which of them were as expected so far."""

    def __init__(self, letters: NDArray[np.uint32]) -> None:
        self.letters = letters
        self.width = letters.shape[1]
        self.good = np.ones(len(letters), dtype=np.bool_)

    def expect(self, place: int, one_of: str) -> None:
        """Only these letters stand at a place."""
        self.good &= np.isin(self.letters[:, place], [ord(letter) for letter in one_of])

    def number(self, start: int, end: int) -> Whole:
        """The digits from start to before end, as a number."""
        digits = self.letters[:, start:end].astype(np.int64) - ord("0")
        self.good &= ((digits >= 0) & (digits <= 9)).all(axis=1)
        return np.asarray(digits @ 10 ** np.arange(end - start - 1, -1, -1), dtype=np.int64)
