"""Columns of RFC 3339 times: thousands read at once into whole microseconds, and the first bad one named."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]

LONGEST = 35  # 2026-11-20T08:00:00.123456789+01:00
SHORTEST = 20  # 2026-11-20T08:00:00Z
SECOND = 1_000_000
EARLIEST, LATEST = (int(np.datetime64(year, "us").astype(np.int64)) for year in ("1900", "2201"))
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
    found, good = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=np.bool_)
    for length in range(SHORTEST, LONGEST + 1):
        places = np.flatnonzero(lengths == length)
        if len(places):
            alike = texts if len(places) == len(texts) else [texts[place] for place in places.tolist()]
            found[places], good[places] = _of_one_length(alike, length)
    _refuse(~good, EXPECTED)
    _refuse((found < EARLIEST) | (found >= LATEST), IN_RANGE)
    return found


def _refuse(bad: NDArray[np.bool_], message: str) -> None:
    if bad.any():
        raise BadInstant(int(np.argmax(bad)), message)


def _of_one_length(texts: Sequence[str], length: int) -> tuple[Whole, NDArray[np.bool_]]:
    """The instants of texts of one length, and which of them are times at all."""
    joined = "".join(texts).encode("latin-1", "replace")  # one byte a letter; what is not Latin is no time
    letters = np.frombuffer(joined, dtype=np.uint8).reshape(-1, length).T.copy()
    found, good = np.zeros(len(texts), dtype=np.int64), np.zeros(len(texts), dtype=np.bool_)
    in_utc = (letters[-1] == ord("Z")) | (letters[-1] == ord("z"))
    for places, offset_at in ((np.flatnonzero(in_utc), length - 1), (np.flatnonzero(~in_utc), length - 6)):
        if len(places) == len(texts):
            return _alike(letters, offset_at)
        if len(places):
            found[places], good[places] = _alike(letters[:, places], offset_at)
    return found, good


def _alike(letters: NDArray[np.uint8], offset_at: int) -> tuple[Whole, NDArray[np.bool_]]:
    """The instants of texts with the same layout, and which of them are times at all."""
    text = _Text(letters)
    year, month, day = text.number(0, 4), text.number(5, 7), text.number(8, 10)
    hour, minute, second = text.number(11, 13), text.number(14, 16), text.number(17, 19)
    for place, one_of in ((4, "-"), (7, "-"), (10, "Tt "), (13, ":"), (16, ":")):
        text.expect(place, one_of)
    fraction = _fraction(text, offset_at)
    east = _offset_minutes(text, offset_at)
    months = np.asarray((year - 1970) * 12 + month - 1, dtype=np.int64)
    first = months.astype("M8[M]").astype("M8[D]").astype(np.int64)
    after = (months + 1).astype("M8[M]").astype("M8[D]").astype(np.int64)
    text.good &= (month >= 1) & (month <= 12) & (day >= 1) & (day <= after - first)
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
    if text.length - offset_at == 1:
        return 0
    text.expect(offset_at, "+-")
    text.expect(offset_at + 3, ":")
    hours, minutes = text.number(offset_at + 1, offset_at + 3), text.number(offset_at + 4, offset_at + 6)
    text.good &= (hours <= 23) & (minutes <= 59)
    east: Whole = np.where(text.letters[offset_at] == ord("-"), -1, 1) * (hours * 60 + minutes)
    return east


class _Text:
    """Texts of one length, letter by letter: (length, texts), and which of them were as expected so far."""

    def __init__(self, letters: NDArray[np.uint8]) -> None:
        self.letters = letters
        self.length = len(letters)
        self._digits = letters - np.uint8(ord("0"))
        self.good = np.ones(letters.shape[1], dtype=np.bool_)

    def expect(self, place: int, one_of: str) -> None:
        """Only these letters stand at a place."""
        letter = self.letters[place]
        fits = letter == ord(one_of[0])
        for other in one_of[1:]:
            fits |= letter == ord(other)
        self.good &= fits

    def number(self, start: int, end: int) -> Whole:
        """The digits from start to before end, as a number."""
        value = np.zeros(len(self.good), dtype=np.int64)
        for digit in self._digits[start:end]:
            self.good &= digit <= 9
            value *= 10
            value += digit
        return value
