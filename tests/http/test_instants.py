"""Columns of times are read as Python's own `datetime` reads them one by one (RFC 3339)."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.http.instants import BadInstant, instants_of
from service.http.shapes import RFC3339
from service.storage.types import microseconds

OFFSETS = st.integers(-23 * 60 - 59, 23 * 60 + 59).map(lambda minutes: timezone(timedelta(minutes=minutes)))
MOMENTS = st.datetimes(min_value=datetime(1900, 1, 2), max_value=datetime(2200, 12, 30), timezones=OFFSETS)  # noqa: DTZ001
PRECISION = st.sampled_from(["seconds", "milliseconds", "microseconds"])
SPELLING = st.sampled_from([("T", "+00:00"), ("t", "z"), (" ", "Z")])


@given(st.lists(st.tuples(MOMENTS, PRECISION, SPELLING), min_size=1, max_size=30))
def test_times_are_read_as_the_standard_library_reads_them(parts: list[tuple[datetime, str, tuple[str, str]]]) -> None:
    texts = [at.isoformat(timespec=precision).replace("T", letter) for at, precision, (letter, _) in parts]
    texts = [
        text.removesuffix("+00:00") + zulu if text.endswith("+00:00") else text
        for text, (_, _, (_, zulu)) in zip(texts, parts, strict=True)
    ]
    assert instants_of(texts).tolist() == [microseconds(datetime.fromisoformat(text.upper())) for text in texts]


def test_examples_of_the_standard() -> None:
    """RFC 3339, section 5.8; its leap seconds are refused, as Python has none."""
    texts = ["1985-04-12T23:20:50.52Z", "1996-12-19T16:39:57-08:00", "1937-01-01T12:00:27.87+00:20"]
    expected = [
        datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC),
        datetime(1996, 12, 20, 0, 39, 57, 0, UTC),
        datetime(1937, 1, 1, 11, 40, 27, 870_000, UTC),
    ]
    assert instants_of(texts).tolist() == [microseconds(at) for at in expected]
    assert instants_of(["2026-01-01T00:00:00.123456789Z"]) == microseconds(datetime(2026, 1, 1, 0, 0, 0, 123456, UTC))


BAD = [
    "",
    "Z",
    "2026-03-02",
    "2026-03-02T11:00:00",
    "2026-03-02T11:00Z",
    "2026-03-02T11:00:00.Z",
    "2026-03-02T11:00:00.1234567891Z",
    "2026-03-02T11:00:00,5Z",
    "2026-03-02T11:00:00+0100",
    "2026-03-02T11:00:00+01",
    "2026-03-02T11:00:00*01:00",
    "2026-03-02T24:00:00Z",
    "2026-03-02T11:60:00Z",
    "2026-03-02T11:00:60Z",
    "2026-02-29T11:00:00Z",
    "2026-13-02T11:00:00Z",
    "2026-00-02T11:00:00Z",
    "2026-03-00T11:00:00Z",
    "2026/03/02T11:00:00Z",
    "2026-03-02x11:00:00Z",
    "2026-03-02T11:00:00+24:00",
    "2026-03-02T11:00:00+01:60",
    "२०२६-03-02T11:00:00Z",
    "2026-03-02T11:00:0\u0665Z",
    "\U0001f41f" * 20,
    "1899-12-31T23:59:59Z",
    "2201-01-01T00:00:00Z",
    "9999-12-31T23:59:59Z",
    " 2026-03-02T11:00:00Z",
    "2026-03-02T11:00:00Z\n",
    "x" * 10_000,
]


@pytest.mark.parametrize("text", BAD)
def test_what_is_no_time_is_named_by_its_place(text: str) -> None:
    good = "2026-03-02T11:00:00Z"
    for index, texts in ((0, [text]), (2, [good, good[:-1] + ".5Z", text, good]), (1, [good, text, text])):
        with pytest.raises(BadInstant) as refused:
            instants_of(texts)
        assert refused.value.index == index


@given(st.from_regex(RFC3339, fullmatch=True))
def test_no_text_of_the_right_form_breaks_it(text: str) -> None:
    try:
        expected = datetime.fromisoformat(re.sub(r"(\.\d{6})\d+", r"\1", text.upper()))
        in_range = 1900 <= expected.astimezone(UTC).year <= 2200
    except (ValueError, OverflowError):
        in_range = False
    if in_range:
        assert instants_of([text]) == np.array([microseconds(expected)])
    else:
        with pytest.raises(BadInstant):
            instants_of([text])
