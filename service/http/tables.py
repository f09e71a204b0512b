"""Rows as CSV: one variant for machines, one that is safe to open in a spreadsheet program.

A spreadsheet takes a text that begins with = + - @ or a tab for a formula, and runs it. The spreadsheet variant puts an
apostrophe before such text (numbers stay numbers); what reads tables here takes exactly that apostrophe off again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

from service.storage.types import canonical

_FORMULA = re.compile(r"[=+\-@\t\r\uff1d\uff0b\uff0d\uff20]")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
MARK = "\ufeff"  # tells a spreadsheet program that the text is UTF-8


def guarded(text: str) -> str:
    """The text, with an apostrophe before it where a spreadsheet would take it for a formula."""
    return f"'{text}" if _FORMULA.match(text) and not _NUMBER.fullmatch(text) else text


def line(cells: Iterable[Any], *, guard: bool, delimiter: str = ",") -> str:
    """One line of CSV (RFC 4180). None is blank, instants are RFC 3339 in UTC, objects and lists are JSON."""
    out = io.StringIO()
    texts = (cell_text(cell) for cell in cells)
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerow(map(guarded, texts) if guard else texts)
    return out.getvalue()


def cell_text(value: Any) -> str:
    """A value as the text of a cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list | tuple):
        return canonical(value).decode()
    if isinstance(value, datetime):
        return canonical(value).decode().strip('"')
    return str(value)


def lines_of(rows: Iterable[Mapping[str, Any]], columns: Sequence[str], *, guard: bool) -> Iterator[str]:
    """A table as lines of CSV under a line of names; an amount takes two columns, its value and its unit."""
    if guard:
        yield MARK
    yield line(columns, guard=guard)
    for row in rows:
        flat = flattened(row)
        yield line((flat.get(column) for column in columns), guard=guard)


def columns_of(rows: Iterable[Mapping[str, Any]]) -> list[str]:
    """The columns that rows need, in the order in which they come."""
    return list(dict.fromkeys(name for row in rows for name in flattened(row)))


def flattened(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row with its objects of plain values spread over columns: volume.value, volume.unit."""
    flat: dict[str, Any] = {}
    for name, value in row.items():
        if isinstance(value, dict) and value and not any(isinstance(part, dict | list) for part in value.values()):
            flat |= {f"{name}.{part}": each for part, each in value.items()}
        else:
            flat[name] = value
    return flat
