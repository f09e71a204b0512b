"""When a row was written: its date, its time of day, and the clock they are of."""

from __future__ import annotations

from collections.abc import Mapping as Words
from collections.abc import Sequence
from datetime import datetime, time, timedelta, timezone
from typing import Any
from zoneinfo import ZoneInfo

from service.transfer.imports.cells import (
    Cell,
    CellError,
    date_and_time,
    day,
    is_missing,
    localised,
    text_of,
    time_of_day,
)
from service.transfer.imports.mapping import ColumnUse, Mapping
from service.transfer.imports.open_row import OpenRow


class InstantReader:
    """Reads the instant of each row, by the columns that hold dates and times."""

    def __init__(self, mapping: Mapping, by_use: Words[str, Sequence[ColumnUse]], zone: ZoneInfo) -> None:
        self._mapping = mapping
        self._by_use = by_use
        self._zone = zone
        self._usual_time = time.fromisoformat(mapping.time_of_day or "12:00")

    def read(self, this: OpenRow, inferred: set[str]) -> datetime | None:
        """When the row was written. What the row does not say of it is taken as usual, and marked."""
        try:
            column, (on, at, shift) = self._date_of(this)
        except _Refused as refused:
            this.refuse(refused.column, refused)
            return None
        if at is None:
            at = self._time_of(this)
        if at is None:
            at = self._usual_time
            inferred.add("time_of_day")
        wall = datetime.combine(on, at)
        if shift is not None:
            return wall.replace(tzinfo=timezone(shift))
        try:
            instant, was_twice = localised(wall, self._zone)
        except CellError as error:
            this.refuse(column, error)
            return None
        if was_twice:
            inferred.add("offset")
        return instant.replace(tzinfo=timezone(instant.utcoffset() or timedelta(0)))

    def _date_of(self, this: OpenRow) -> tuple[str, tuple[Any, time | None, timedelta | None]]:
        assert self._mapping.date_order is not None
        for use in (*self._by_use.get("date_and_time", []), *self._by_use.get("date", [])):
            cell = this.cells[use.column]
            if is_missing(cell, self._mapping.missing):
                raise _Refused(use.column, "the date is empty; name this column in fill_down if it means the one above")
            try:
                if use.use == "date":
                    return use.column, (day(_date_part(cell), self._mapping.date_order), None, None)
                return use.column, date_and_time(cell, self._mapping.date_order)
            except CellError as error:
                raise _Refused(use.column, str(error)) from error
        raise _Refused(None, "the row has no date")

    def _time_of(self, this: OpenRow) -> time | None:
        for use in self._by_use.get("time", []):
            cell = this.cells[use.column]
            if is_missing(cell, self._mapping.missing):
                continue
            try:
                return time_of_day(cell)
            except CellError as error:
                if use.otherwise == "note" and any(letter.isalpha() for letter in text_of(cell)):
                    this.notes.append(f"{use.column}: {text_of(cell)}")
                    this.remarks.append(f"{use.column}: kept as a note")
                else:
                    this.refuse(use.column, error)
        return None


class _Refused(CellError):
    """A cell refused, by its column."""

    def __init__(self, column: str | None, text: str) -> None:
        super().__init__(text)
        self.column = column


def _date_part(cell: Cell) -> Cell:
    """A date cell that carries a meaningless midnight, as exports write it."""
    if isinstance(cell, str):
        text = text_of(cell)
        for tail in ("T00:00:00Z", "T00:00:00", " 00:00:00", " 0:00"):
            if text.endswith(tail):
                return text[: -len(tail)]
    return cell
