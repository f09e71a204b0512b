"""One cell as somebody wrote it, as a number, a date or a time of day; or why it is none."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

Cell = str | int | float | bool | datetime | date | time | timedelta | None
DateOrder = Literal["year_month_day", "day_month_year", "month_day_year"]
Decimal = Literal["point", "comma"]
DATE_ORDERS: tuple[DateOrder, ...] = ("year_month_day", "day_month_year", "month_day_year")
MISSING = ("NA", "N/A", "n/a", "#N/A", "NaN", "nan", "-", "--", "---")

_PLACES: dict[DateOrder, tuple[int, int, int]] = {
    "year_month_day": (0, 1, 2),
    "day_month_year": (2, 1, 0),
    "month_day_year": (2, 0, 1),
}
_NUMBER = {
    "point": re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?"),
    "comma": re.compile(r"[+-]?(\d+(,\d*)?|,\d+)([eE][+-]?\d{1,3})?"),
}
_NUMERIC_DATE = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})")
_NAMED_DATE = re.compile(
    r"(\d{1,2})[-. ]?\s?([A-Za-z]{3,9})[-., ]{0,2}(\d{2,4})|([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4})"
)
_TIME = re.compile(
    r"(\d{1,2})[:.h](\d{2})(?:[:.](\d{2})(\.\d{1,6})?)?\s?([AaPp]\.?[Mm]\.?)?|(\d{1,2})\s?([AaPp]\.?[Mm]\.?)"
)
_OFFSET = re.compile(r"\s?(Z|UTC|[+-]\d{2}:?\d{2})$", re.IGNORECASE)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_GUARDED = re.compile(r"\A'(?=[=+\-@\t\r])")


class CellError(ValueError):
    """A cell that is not what its column holds; the text says what was expected."""


def text_of(cell: Cell) -> str:
    """A cell as text without the blanks around it and the guard of a spreadsheet export; lines end in a line feed."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ")
    return _GUARDED.sub("", str(cell).strip(), count=1).replace("\r\n", "\n").replace("\r", "\n")


def is_missing(cell: Cell, words: Sequence[str]) -> bool:
    """Whether a cell says that there is nothing: blank, or one of these words."""
    text = text_of(cell)
    return not text or text in words


def number(cell: Cell, decimal: Decimal) -> float:
    """The number in a cell. Raises CellError; grouped digits are refused, as 1,234 may be 1.234."""
    if isinstance(cell, bool):
        raise CellError("a number is expected, not yes or no")
    if isinstance(cell, int | float):
        return float(cell)
    text = text_of(cell).replace("−", "-")
    if _NUMBER[decimal].fullmatch(text):
        return float(text.replace(",", "."))
    other: Decimal = "comma" if decimal == "point" else "point"
    if _NUMBER[other].fullmatch(text):
        raise CellError(f"a number with a decimal {decimal} is expected")
    if re.fullmatch(r"[<>≤≥~]\s*[\d.,]+", text):
        raise CellError("a number is expected; a limit is none. Write what was measured, or leave the cell empty")
    if re.fullmatch(r"[+-]?\d{1,3}([., ' ]\d{3})+([.,]\d+)?", text):
        raise CellError("a number without separators between thousands is expected, such as 1234.5")
    if re.match(r"[+-]?[\d.,]+\s*[A-Za-z%°µ/]", text):
        raise CellError("a number alone is expected; its unit belongs to the column")
    raise CellError("a number is expected")


def day(cell: Cell, order: DateOrder) -> date:
    """The date in a cell. Raises CellError. A date that begins with its year is read as such in any order."""
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    if not isinstance(cell, str):
        raise CellError("a date is expected")
    return _day(text_of(cell), order)


def time_of_day(cell: Cell) -> time:
    """The time of day in a cell, to the second. Raises CellError."""
    if isinstance(cell, datetime):
        return cell.time()
    if isinstance(cell, time):
        return cell
    if isinstance(cell, timedelta):
        if timedelta(0) <= cell < timedelta(days=1):
            return (datetime.combine(date(2000, 1, 1), time()) + cell).time()
        raise CellError("a time of day is expected, such as 08:51")
    return _time(text_of(cell))


def date_and_time(cell: Cell, order: DateOrder) -> tuple[date, time | None, timedelta | None]:
    """The date, the time of day if there is one, and the offset from UTC if there is one. Raises CellError."""
    if isinstance(cell, datetime):
        return cell.date(), cell.time(), cell.utcoffset()
    if isinstance(cell, date):
        return cell, None, None
    text = text_of(cell)
    offset = _OFFSET.search(text)
    shift = _shift(offset[1]) if offset and ":" in text[: offset.start()] else None
    if offset and shift is not None:
        text = text[: offset.start()]
    head, separator, tail = text.partition("T") if re.match(r"\d{4}-\d{2}-\d{2}T", text) else _split(text)
    return _day(head, order), (_time(tail) if separator else None), shift


def orders_of(cell: Cell) -> set[DateOrder]:
    """The orders in which a cell reads as a date; all of them where its own form settles it; none for another thing."""
    if isinstance(cell, date):
        return set(DATE_ORDERS)
    found: set[DateOrder] = set()
    for order in DATE_ORDERS:
        try:
            date_and_time(cell, order)
        except CellError:
            continue
        found.add(order)
    return found


def says_order(cell: Cell) -> bool:
    """Whether a cell is a date in numbers that does not begin with its year: its order has to be known."""
    found = _NUMERIC_DATE.match(text_of(cell)) if isinstance(cell, str) else None
    return found is not None and len(found[1]) < 4


def localised(at: datetime, zone: ZoneInfo) -> tuple[datetime, bool]:
    """A time of a wall clock as an instant, and whether the clock showed it twice (then the earlier is taken).

    Raises CellError for a time that the clock jumped over.
    """
    early = at.replace(tzinfo=zone, fold=0)
    if early.astimezone(UTC).astimezone(zone).replace(tzinfo=None) != at:
        raise CellError(f"the clocks of {zone.key} jumped over this time: it was never shown there")
    late = at.replace(tzinfo=zone, fold=1)
    return early, early.utcoffset() != late.utcoffset()


def _split(text: str) -> tuple[str, str, str]:
    """A date and a time behind it, by the last blank before a time; without one all is the date."""
    found = re.search(r"[\sT,]+(?=\d{1,2}[:h]\d{2})", text)
    return (text, "", "") if found is None else (text[: found.start()], " ", text[found.end() :])


def _shift(text: str) -> timedelta:
    if text.upper() in ("Z", "UTC"):
        return timedelta(0)
    hours, minutes = int(text[1:3]), int(text[-2:])
    if hours > 14 or minutes > 59:
        raise CellError("an offset from UTC such as +01:00 is expected")
    return (1 if text[0] == "+" else -1) * timedelta(hours=hours, minutes=minutes)


def _day(text: str, order: DateOrder) -> date:
    numeric = _NUMERIC_DATE.fullmatch(text)
    if numeric:
        parts = [numeric[1], numeric[3], numeric[4]]
        places = _PLACES["year_month_day" if len(parts[0]) == 4 else order]
        year, month, day_ = (parts[place] for place in places)
        if len(year) not in (2, 4):
            raise CellError(f"a date in the order {order.replace('_', ' ')} is expected")
        return _date(int(year), int(month), int(day_), order)
    named = _NAMED_DATE.fullmatch(text)
    if named:
        day_text, month_text, year_text = (named[1], named[2], named[3]) if named[1] else (named[5], named[4], named[6])
        if month_text[:3].lower() in _MONTHS:
            return _date(int(year_text), _MONTHS.index(month_text[:3].lower()) + 1, int(day_text), order)
    raise CellError("a date is expected, such as 2026-11-20")


def _date(year: int, month: int, day_: int, order: DateOrder) -> date:
    try:
        return date(year + 2000 if year < 100 else year, month, day_)
    except ValueError as error:
        raise CellError(f"there is no such day, read as {order.replace('_', ' ')}") from error


def _time(text: str) -> time:
    found = _TIME.fullmatch(text)
    if found is None:
        raise CellError("a time of day is expected, such as 08:51")
    half = (found[5] or found[7] or "").replace(".", "").lower()
    hour = int(found[1] or found[6])
    if half:
        if not 1 <= hour <= 12:
            raise CellError("a time of day is expected, such as 08:51")
        hour = hour % 12 + (12 if half == "pm" else 0)
    micro = round(float(found[4] or 0) * 1_000_000)
    try:
        return time(hour, int(found[2] or 0), int(found[3] or 0), micro)
    except ValueError as error:
        raise CellError("a time of day is expected, such as 08:51") from error
