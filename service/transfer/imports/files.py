"""A file as rows of cells, read as a stream: CSV in any usual encoding, or one sheet of an XLSX workbook."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Literal

from service.errors import Fault, TooLarge, Unacceptable
from service.transfer.imports.cells import Cell, text_of
from service.transfer.imports.workbook_guard import refuse_unfit

Encoding = Literal["utf-8", "utf-16", "windows-1252"]
Delimiter = Literal[",", ";", "\t", "|"]
Row = tuple[Cell, ...]

MOST_COLUMNS = 200
LONGEST_CELL = 32_768  # that of a spreadsheet
BLOCK = 256 * 1024
SAMPLE_BYTES = 64 * 1024
DELIMITERS: tuple[Delimiter, ...] = (",", ";", "\t", "|")


@dataclass(frozen=True)
class Table:
    """A file that can be read as rows, again and again: where it lies, what it is, and its SHA-256."""

    path: Path
    name: str
    size: int
    digest: str
    is_workbook: bool
    encoding: Encoding = "utf-8"


def open_table(path: Path, name: str | None = None) -> Table:
    """What a file is, after one pass over it. Raises Unacceptable or TooLarge for what cannot be read."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        head = file.read(4)
        file.seek(0)
        while block := file.read(BLOCK):
            digest.update(block)
        size = file.tell()
        if size == 0:
            raise Unacceptable("The file is empty.", (Fault("/file", "The file is empty."),))
        is_workbook = head == b"PK\x03\x04"
        if is_workbook:
            file.seek(0)
            refuse_unfit(file)
        encoding: Encoding = "utf-8" if is_workbook else _encoding(file)
    return Table(path, name or path.name, size, digest.hexdigest(), is_workbook, encoding)


def sheets_of(table: Table) -> list[str]:
    """The names of a workbook's sheets; none for CSV."""
    if not table.is_workbook:
        return []
    with _workbook(table.path) as book:
        return [sheet.title for sheet in book.worksheets]


def delimiter_of(table: Table) -> Delimiter:
    """The delimiter that cuts the first lines into the most cells, the same number each time."""
    with table.path.open("rb") as file:
        text = file.read(SAMPLE_BYTES).decode(_codec(table.encoding), "replace")
    lines = text.splitlines()[:50]
    lines = lines[:-1] or lines  # the last may be cut

    def score(delimiter: Delimiter) -> tuple[float, int]:
        counts = [len(row) for row in csv.reader(lines, delimiter=delimiter) if row]
        usual = max(set(counts), key=counts.count) if counts else 0
        return (counts.count(usual) / len(counts) if counts and usual > 1 else 0.0, usual)

    return max(DELIMITERS, key=score)


@contextmanager
def rows_of(
    table: Table, *, delimiter: Delimiter = ",", sheet: str | None = None, encoding: Encoding | None = None
) -> Iterator[Iterator[tuple[int, Row]]]:
    """The rows with their numbers as a spreadsheet shows them, one at a time. Blank rows come as they are.

    Raises Unacceptable for a row that cannot be read as cells: from there on nothing is certain.
    """
    if table.is_workbook:
        with _workbook(table.path) as book:
            yield _sheet_rows(book, sheet)
        return
    with (
        table.path.open("rb") as raw,
        io.TextIOWrapper(raw, encoding=_codec(encoding or table.encoding), newline="") as text,
    ):
        yield _csv_rows(text, delimiter)


def _csv_rows(text: IO[str], delimiter: str) -> Iterator[tuple[int, Row]]:
    reader = csv.reader(text, delimiter=delimiter, strict=True)
    csv.field_size_limit(LONGEST_CELL)
    row_number = 0
    try:
        for cells in reader:
            row_number += 1
            yield row_number, _narrow(row_number, tuple(cells))
    except (csv.Error, UnicodeError) as error:
        detail = f"From line {reader.line_num} on the file cannot be read: {error}. Is a quotation mark left open?"
        raise Unacceptable(detail, (Fault("/file", detail),)) from error


def _sheet_rows(book: Any, name: str | None) -> Iterator[tuple[int, Row]]:
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    if name is not None and name not in sheets:
        detail = f"There is no sheet of this name. The workbook has: {', '.join(sheets) or 'none'}."
        raise Unacceptable(detail, (Fault("/mapping/sheet", detail, name),))
    sheet = sheets[name] if name is not None else next(iter(sheets.values()))
    sheet.reset_dimensions()  # what the file claims of its size is not believed
    try:
        for row_number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
            yield row_number, _narrow(row_number, _without_tail(cells))
    except Unacceptable:
        raise
    except Exception as error:  # the parser of the format raises whatever it meets
        detail = f"The sheet {sheet.title!r} cannot be read to its end: {error}. Save it again, or save it as CSV."
        raise Unacceptable(detail, (Fault("/file", detail),)) from error


def _without_tail(cells: Row) -> Row:
    last = len(cells)
    while last and cells[last - 1] is None:
        last -= 1
    return cells[:last]


def _narrow(row_number: int, cells: Row) -> Row:
    if len(cells) > MOST_COLUMNS:
        detail = f"Row {row_number} has {len(cells)} columns; at most {MOST_COLUMNS} are taken. Cut the table."
        raise TooLarge(detail, (Fault("/file", detail),))
    return cells


@contextmanager
def _workbook(path: Path) -> Iterator[Any]:
    from openpyxl import load_workbook  # here, because it costs memory that a service without imports need not have

    with path.open("rb") as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of styles and extensions that no reading needs
        try:
            book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
        except Exception as error:  # the parser of the format raises whatever it meets
            detail = f"The workbook cannot be read: {error}. Save it again, or save it as CSV."
            raise Unacceptable(detail, (Fault("/file", detail),)) from error
        try:
            if not book.worksheets:
                raise Unacceptable("The workbook has no sheet with cells.", (Fault("/file", "No sheet."),))
            yield book
        finally:
            book.close()


def _codec(encoding: Encoding) -> str:
    return {"utf-8": "utf-8-sig", "utf-16": "utf-16", "windows-1252": "cp1252"}[encoding]


def _encoding(file: IO[bytes]) -> Encoding:
    """UTF-8 if every byte is, UTF-16 by its mark, else Windows-1252."""
    file.seek(0)
    head = file.read(2)
    if head in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    if b"\x00" in head:
        raise Unacceptable("This is neither text nor an XLSX workbook.", (Fault("/file", "CSV or XLSX is expected."),))
    file.seek(0)
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while block := file.read(BLOCK):
            if b"\x00" in block:
                detail = "This is neither text nor an XLSX workbook."
                raise Unacceptable(detail, (Fault("/file", "CSV or XLSX is expected."),))
            decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "windows-1252"
    return "utf-8"


def headers_of(rows: list[Row]) -> list[str]:
    """One name a column from one or more header rows: a wide heading counts for the columns under it.

    Columns that would be called the same get a number; columns without a name are called by their place.
    """
    width = max((len(row) for row in rows), default=0)
    names: list[str] = []
    carried = [""] * len(rows)
    for place in range(width):
        parts = []
        for level, row in enumerate(rows):
            text = re.sub(r"\s+", " ", text_of(row[place] if place < len(row) else None))
            below = any(text_of(other[place] if place < len(other) else None) for other in rows[level + 1 :])
            if text:
                carried[level] = text
            elif not below:
                carried[level] = ""
            parts.append(text or (carried[level] if below else ""))
        name = " ".join(part for part in parts if part)[:180] or f"column {place + 1}"
        taken = [known for known in names if known == name or known.startswith(f"{name} (")]
        names.append(f"{name} ({len(taken) + 1})" if name in names else name)
    return names
