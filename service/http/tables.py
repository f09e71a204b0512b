"""Rows as CSV: one variant for machines, one that is safe to open in a spreadsheet program.

A spreadsheet takes a text that begins with = + - @ or a tab for a formula, and runs it. The spreadsheet variant puts an
apostrophe before such text (numbers stay numbers); what reads tables here takes exactly that apostrophe off again.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Literal, get_args

from fastapi import Depends, Query, Response
from pydantic import BaseModel

from service.http.shapes import Amount
from service.storage.types import canonical

Form = Literal["json", "csv", "spreadsheet"]
CSV_TOO: dict[int | str, dict[str, Any]] = {200: {"content": {"text/csv": {"schema": {"type": "string"}}}}}
"""The `responses=` of a list that also comes as CSV."""

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


def table_of(rows: Iterable[Mapping[str, Any]], model: type[BaseModel], *, guard: bool) -> str:
    """Rows as CSV under a line of names that depends on their shape alone.

    An amount takes two columns, its value and its unit; lists and objects are JSON.
    """
    fields = [(field.alias or name, _holds_amount(field.annotation)) for name, field in model.model_fields.items()]
    names = [name for field, is_amount in fields for name in (_parts(field) if is_amount else [field])]
    text = [MARK if guard else "", line(names, guard=guard)]
    for row in rows:
        cells: list[Any] = []
        for field, is_amount in fields:
            value = row.get(field)
            if is_amount:
                amount = value.model_dump() if isinstance(value, BaseModel) else value or {}
                cells += [amount.get("value"), amount.get("unit")]
            else:
                cells.append(value)
        text.append(line(cells, guard=guard))
    return "".join(text)


class Listing:
    """How a list is wanted: as JSON, as CSV for machines, or as CSV for a spreadsheet program."""

    def __init__(self, response: Response, form: Form) -> None:
        self._response = response
        self._form = form

    def of(self, rows: Sequence[Any], model: type[BaseModel]) -> Any:
        """The rows for the framework to answer as JSON, or the response that carries them as CSV, links and all."""
        if self._form == "json":
            return rows
        headers = {name: value for name, value in self._response.headers.items() if name != "content-length"}
        text = table_of(rows, model, guard=self._form == "spreadsheet")
        return Response(text, media_type="text/csv; charset=utf-8", headers=headers)


async def _listing(
    response: Response,
    form: Annotated[
        Form,
        Query(
            alias="format", description="json; csv for machines; spreadsheet: CSV in which no text runs as a formula."
        ),
    ] = "json",
) -> Listing:
    return Listing(response, form)


ListingOf = Annotated[Listing, Depends(_listing)]


def _parts(field: str) -> list[str]:
    return [f"{field}.value", f"{field}.unit"]


def _holds_amount(annotation: Any) -> bool:
    """Whether a field is an amount, or an amount or nothing."""
    return annotation is Amount or any(part is Amount for part in get_args(annotation))
