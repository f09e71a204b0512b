"""Files: what is read as rows, and what is refused before anything parses it."""

from __future__ import annotations

import io
import random
import zipfile
from pathlib import Path

import openpyxl
import pytest
from pydantic import ValidationError

from service.errors import ServiceError, TooLarge, Unacceptable
from service.transfer.imports import workbook_guard
from service.transfer.imports.files import delimiter_of, headers_of, open_table, rows_of, sheets_of
from service.transfer.imports.guessing import understood
from service.transfer.imports.mapping import Mapping

ROWS = [["date", "alk"], ["2026-01-02", 8.2], ["2026-01-03", 8.1]]


def workbook(path: Path, rows: list[list[object]] = ROWS, sheet: str = "Log") -> Path:
    """A workbook of one sheet."""
    book = openpyxl.Workbook()
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def rewritten(path: Path, **parts: bytes) -> Path:
    """The archive with some of its parts replaced (keys: the part's name, / written as __)."""
    wanted = {name.replace("__", "/").replace("_DOT_", "."): content for name, content in parts.items()}
    with zipfile.ZipFile(path) as old:
        kept = {name: old.read(name) for name in old.namelist()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name, content in {**kept, **wanted}.items():
            new.writestr(name, content)
    return path


def rows(path: Path, **options: object) -> list[tuple[object, ...]]:
    with rows_of(open_table(path), **options) as found:  # type: ignore[arg-type]
        return [row for _, row in found]


@pytest.mark.parametrize(
    ("content", "delimiter", "encoding"),
    [
        (b"date;alk\n2026-01-02;8,2\n", ";", "utf-8"),
        ("date,alk\n2026-01-02,8.2\n".encode("utf-8-sig"), ",", "utf-8"),
        ("dato\talk\n2026-01-02\tmålt\n".encode("cp1252"), "\t", "windows-1252"),
        ("date|alk\n2026-01-02|8.2\n".encode("utf-16"), "|", "utf-16"),
    ],
)
def test_encoding_and_delimiter_are_found(tmp_path: Path, content: bytes, delimiter: str, encoding: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    table = open_table(path)
    assert (delimiter_of(table), table.encoding) == (delimiter, encoding)
    first = rows(path, delimiter=delimiter)[0]
    assert first in (("date", "alk"), ("dato", "alk"))


def test_a_workbook_is_read_as_a_stream(tmp_path: Path) -> None:
    path = workbook(tmp_path / "log.xlsx")
    assert sheets_of(open_table(path)) == ["Log"]
    assert rows(path) == [("date", "alk"), ("2026-01-02", 8.2), ("2026-01-03", 8.1)]
    with pytest.raises(Unacceptable, match="Log"):
        rows(path, sheet="Elsewhere")


def test_the_size_that_a_sheet_claims_is_not_believed(tmp_path: Path) -> None:
    path = workbook(tmp_path / "log.xlsx")
    with zipfile.ZipFile(path) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    assert b'<dimension ref="A1:B3"' in sheet
    rewritten(path, xl__worksheets__sheet1_DOT_xml=sheet.replace(b'ref="A1:B3"', b'ref="A1:XFD1048576"'))
    assert len(rows(path)) == 3


BOMB = b"<?xml version='1.0'?><worksheet><sheetData>" + b"<row/>" * 2_000_000 + b"</sheetData></worksheet>"
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><worksheet>&b;</worksheet>'
)


@pytest.mark.parametrize(
    ("part", "content", "kind", "words"),
    [
        ("xl__worksheets__sheet1_DOT_xml", BOMB, TooLarge, "unpacks to more than 100 times"),
        ("xl__worksheets__sheet1_DOT_xml", LAUGHS, Unacceptable, "declares entities"),
        ("xl__styles_DOT_xml", LAUGHS, Unacceptable, "declares entities"),
        ("xl__worksheets__sheet1_DOT_xml", LAUGHS.decode().encode("utf-16"), Unacceptable, "not UTF-8"),
        ("xl__worksheets__sheet1_DOT_xml", b"<worksheet><sheetData><row r='1'>", Unacceptable, "cannot be read"),
        ("xl__workbook_DOT_xml", b"<workbook>", Unacceptable, "cannot be read"),
        (
            "xl__worksheets__sheet1_DOT_xml",
            b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1">'
            b'<c r="A1"><f>1+1</f></c></row></sheetData></worksheet>',
            Unacceptable,
            "never calculated",
        ),
    ],
)
def test_a_workbook_that_would_do_harm_is_refused(
    tmp_path: Path, part: str, content: bytes, kind: type[ServiceError], words: str
) -> None:
    path = rewritten(workbook(tmp_path / "log.xlsx"), **{part: content})
    with pytest.raises(kind, match=words):
        rows(path)


def test_a_workbook_is_refused_by_its_sizes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = workbook(tmp_path / "log.xlsx")
    for name in ("MOST_PARTS", "LARGEST_WHOLE", "LARGEST_OTHER"):
        with monkeypatch.context() as smaller:
            smaller.setattr(workbook_guard, name, 3)
            with pytest.raises(TooLarge):
                open_table(path)
    assert open_table(path).is_workbook


def test_neither_text_nor_workbook_is_refused(tmp_path: Path) -> None:
    other = io.BytesIO()
    with zipfile.ZipFile(other, "w") as archive:
        archive.writestr("readme.txt", "no workbook")
    for content, words in (
        (b"", "empty"),
        (b"\x00\x01\x02\x03", "neither"),
        (b"date,alk\n2026-01-02,\x008\n", "neither"),
        (b"PK\x03\x04 but no archive", "cannot be opened"),
        (other.getvalue(), "no list of contents"),
        (b'date,alk\n2026-01-02,"8.2\n2026-01-03,8.1\n', "quotation mark"),
        (b"a," * 300 + b"\n", "columns"),
    ):
        path = tmp_path / "file"
        path.write_bytes(content)
        with pytest.raises(ServiceError, match=words):
            rows(path)


def spoilt(good: bytes, chance: random.Random) -> bytes:
    """The bytes with a few changed, cut out or doubled."""
    content = bytearray(good)
    for _ in range(chance.randint(1, 4)):
        place = chance.randrange(len(content))
        match chance.randrange(3):
            case 0:
                content[place] = chance.randrange(256)
            case 1:
                del content[place : place + chance.randint(1, 30)]
            case _:
                content[place:place] = content[place : place + chance.randint(1, 30)]
    return bytes(content)


@pytest.mark.parametrize("kind", ["workbook", "sheet", "text"])
def test_a_spoilt_file_is_read_or_refused_and_nothing_else(tmp_path: Path, kind: str) -> None:
    """Files with a few bytes of them, or of the sheet inside, changed, cut or doubled: rows, or a refusal."""
    chance = random.Random(11)
    path = tmp_path / "file"
    whole = workbook(path, [*ROWS, *([f"2026-02-{day:02}", 8.0, "a word"] for day in range(1, 20))]).read_bytes()
    text = 'date;alk;"a ""note"""\n2026-01-02;8,2;"two\nlines"\n'.encode("utf-8-sig") * 5
    with zipfile.ZipFile(path) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    told = {"read": 0, "refused": 0}
    for _ in range(200):
        path.write_bytes(spoilt(text if kind == "text" else whole, chance) if kind != "sheet" else whole)
        if kind == "sheet":
            rewritten(path, xl__worksheets__sheet1_DOT_xml=spoilt(sheet, chance))
        try:
            understood(open_table(path), Mapping(subject="loop"))
            told["read"] += len(rows(path)) > 0
        except (ServiceError, ValidationError):
            told["refused"] += 1
    print(f"{kind}: {told}")
    assert told["refused"] > 20
    assert told["read"] > 0


def test_two_rows_of_headings_make_one_name_a_column() -> None:
    found = headers_of(
        [
            ("Date", "T (C)", None, "pH", None, None, "Notes"),
            (None, "Surface", "Bottom", "Surface", "Bottom", None, None),
        ]
    )
    assert found == ["Date", "T (C) Surface", "T (C) Bottom", "pH Surface", "pH Bottom", "column 6", "Notes"]
    assert headers_of([("alk", "alk", "alk")]) == ["alk", "alk (2)", "alk (3)"]
