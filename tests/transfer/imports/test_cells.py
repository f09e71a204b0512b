# ruff: noqa: DTZ001 - cells of a spreadsheet are wall-clock times
"""Cells: what people write for numbers, dates and times, and what is refused with a reason."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from service.transfer.imports.cells import (
    CellError,
    DateOrder,
    Decimal,
    date_and_time,
    day,
    localised,
    number,
    orders_of,
    text_of,
    time_of_day,
)


@pytest.mark.parametrize(
    ("cell", "decimal", "value"),
    [
        ("8.2", "point", 8.2),
        ("8,2", "comma", 8.2),
        (" 8 ", "comma", 8.0),
        (8.2, "comma", 8.2),
        (12, "point", 12.0),
        ("-0.5", "point", -0.5),
        ("−0.5", "point", -0.5),
        (".5", "point", 0.5),
        ("1e3", "point", 1000.0),
        ("'-5", "point", -5.0),
    ],
)
def test_numbers(cell: Any, decimal: Decimal, value: float) -> None:
    assert number(cell, decimal) == value


@pytest.mark.parametrize(
    ("cell", "decimal", "words"),
    [
        ("8,2", "point", "decimal point"),
        ("8.2", "comma", "decimal comma"),
        ("1.234,5", "comma", "separators"),
        ("1 234", "point", "separators"),
        ("<0.02", "point", "limit"),
        ("8.2 dKH", "point", "unit"),
        ("about eight", "point", "number"),
        (True, "point", "yes or no"),
        ("8.2.1", "point", "number"),
        ("nan", "point", "number"),
        ("inf", "point", "number"),
        ("#DIV/0!", "point", "number"),
        ("", "point", "number"),
    ],
)
def test_what_is_no_number_says_why(cell: Any, decimal: Decimal, words: str) -> None:
    with pytest.raises(CellError, match=words):
        number(cell, decimal)


@pytest.mark.parametrize(
    ("cell", "order", "expected"),
    [
        ("2023-06-05", "day_month_year", date(2023, 6, 5)),
        ("5/6/2023", "day_month_year", date(2023, 6, 5)),
        ("5/6/2023", "month_day_year", date(2023, 5, 6)),
        ("05.06.23", "day_month_year", date(2023, 6, 5)),
        ("23-06-05", "year_month_day", date(2023, 6, 5)),
        ("5 Jun 2023", "month_day_year", date(2023, 6, 5)),
        ("June 5, 2023", "day_month_year", date(2023, 6, 5)),
        (datetime(2023, 6, 5, 9, 30), "day_month_year", date(2023, 6, 5)),
    ],
)
def test_dates(cell: Any, order: DateOrder, expected: date) -> None:
    assert day(cell, order) == expected


@pytest.mark.parametrize("cell", ["31/02/2023", "2023-13-01", "yesterday", "5/6", 45082, "05/06-2023", "00/01/2023"])
def test_what_is_no_date_says_so(cell: Any) -> None:
    with pytest.raises(CellError, match=r"day|date"):
        day(cell, "day_month_year")


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("8:51AM", time(8, 51)),
        ("9:15:00AM", time(9, 15)),
        ("12:05 am", time(0, 5)),
        ("12:05 p.m.", time(12, 5)),
        ("14:00", time(14, 0)),
        ("14:00:07.25", time(14, 0, 7, 250_000)),
        ("9 PM", time(21, 0)),
        (time(9, 2), time(9, 2)),
        (timedelta(hours=9, minutes=2), time(9, 2)),
    ],
)
def test_times(cell: Any, expected: time) -> None:
    assert time_of_day(cell) == expected


@pytest.mark.parametrize("cell", ["very low flow to start", "25:00", "9:61", "13:00 PM", "", "9", timedelta(days=2)])
def test_what_is_no_time_says_so(cell: Any) -> None:
    with pytest.raises(CellError, match="time of day"):
        time_of_day(cell)


@pytest.mark.parametrize(
    ("cell", "on", "at", "shift"),
    [
        ("2023-05-26 17:30:00", date(2023, 5, 26), time(17, 30), None),
        ("5/29/2023 0:05", date(2023, 5, 29), time(0, 5), None),
        ("2023-08-08T00:05:00Z", date(2023, 8, 8), time(0, 5), timedelta(0)),
        ("2026-11-20T08:00:00+05:45", date(2026, 11, 20), time(8, 0), timedelta(hours=5, minutes=45)),
        ("2026-11-20T08:00-03:30", date(2026, 11, 20), time(8, 0), -timedelta(hours=3, minutes=30)),
        ("2026-11-20", date(2026, 11, 20), None, None),
        ("20 Nov 2026 8:00 pm", date(2026, 11, 20), time(20, 0), None),
    ],
)
def test_dates_with_times(cell: str, on: date, at: time | None, shift: timedelta | None) -> None:
    assert date_and_time(cell, "month_day_year") == (on, at, shift)


def test_the_order_of_a_date_shows_only_beyond_the_twelfth() -> None:
    assert orders_of("13/02/2026") == {"day_month_year"}
    assert orders_of("02/13/2026") == {"month_day_year"}
    assert orders_of("02/03/2026") == {"day_month_year", "month_day_year"}
    assert orders_of("2026-03-02") == {"year_month_day", "day_month_year", "month_day_year"}
    assert orders_of("very low flow") == set()


def test_a_wall_clock_in_the_hours_that_clocks_change() -> None:
    """IANA: Europe/Oslo went forward on 2026-03-29 at 02:00 and back on 2026-10-25 at 03:00."""
    oslo = ZoneInfo("Europe/Oslo")
    with pytest.raises(CellError, match="jumped"):
        localised(datetime(2026, 3, 29, 2, 30), oslo)
    instant, twice = localised(datetime(2026, 10, 25, 2, 30), oslo)
    assert (instant.utcoffset(), twice) == (timedelta(hours=2), True)
    instant, twice = localised(datetime(2026, 10, 25, 3, 30), oslo)
    assert (instant.utcoffset(), twice) == (timedelta(hours=1), False)


def test_a_guard_of_a_spreadsheet_export_is_taken_off_once() -> None:
    assert text_of("'=1+1") == "=1+1"
    assert text_of("'tis calm") == "'tis calm"
    assert text_of("''=1") == "''=1"
    assert text_of("one\r\ntwo\rthree") == "one\ntwo\nthree"
