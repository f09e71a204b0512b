"""What an XLSX file may be before anything parses it: a ZIP of modest parts, without entities, fully calculated."""

from __future__ import annotations

import re
import zipfile
from typing import IO

from service.errors import TooLarge, Unacceptable

MEBIBYTE = 1 << 20
MOST_PARTS = 2_000
LARGEST_WHOLE = 1024 * MEBIBYTE
LARGEST_TEXTS = 64 * MEBIBYTE  # the table of shared texts stays in memory
LARGEST_OTHER = 4 * MEBIBYTE  # styles, relations, properties: parsed as trees
LARGEST_RATIO = 100  # worksheets shrink ten to forty times; a bomb a thousand times
SMALL = MEBIBYTE  # below this a ratio says nothing
BLOCK = 256 * 1024
_UNCALCULATED = re.compile(rb"(</f>|<f[^>]*/>)\s*(<v\s*/>|<v>\s*</v>)?\s*</c>")
_OVERLAP = 4096


def refuse_unfit(file: IO[bytes]) -> None:
    """Raise Unacceptable or TooLarge for a file that is no XLSX, or one that would take too much to read.

    Every part is measured and read through once, a block at a time, before a parser sees it.
    """
    try:
        archive = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, ValueError, OSError) as error:
        raise Unacceptable(
            "This is not an XLSX file: it cannot be opened as one. Save it again, or save it as CSV."
        ) from error
    with archive:
        parts = archive.infolist()
        _refuse_sizes(parts)
        if not any(part.filename == "[Content_Types].xml" for part in parts):
            raise Unacceptable("This is not an XLSX file: it has no list of contents. Save it as XLSX or CSV.")
        for part in parts:
            if part.filename.endswith((".xml", ".rels")):
                _refuse_content(archive, part)


def _refuse_sizes(parts: list[zipfile.ZipInfo]) -> None:
    if len(parts) > MOST_PARTS:
        raise TooLarge(f"This workbook has {len(parts)} parts; {MOST_PARTS} are taken. Save the one sheet as CSV.")
    if sum(part.file_size for part in parts) > LARGEST_WHOLE:
        raise TooLarge(f"Unpacked this workbook is larger than {LARGEST_WHOLE // MEBIBYTE} MiB. Save it as CSV.")
    for part in parts:
        if part.flag_bits & 0x1:
            raise Unacceptable("This workbook is locked with a password. Save it without one.")
        if part.file_size > max(SMALL, LARGEST_RATIO * part.compress_size):
            raise TooLarge(f"The part {part.filename!r} unpacks to more than {LARGEST_RATIO} times its size: refused.")
        if part.file_size > _largest(part.filename):
            size = _largest(part.filename) // MEBIBYTE
            raise TooLarge(f"The part {part.filename!r} is larger than {size} MiB. Save the sheet as CSV.")


def _largest(name: str) -> int:
    if not name.endswith((".xml", ".rels")) or name.startswith("xl/worksheets/"):
        return LARGEST_WHOLE
    return LARGEST_TEXTS if name.endswith("sharedStrings.xml") else LARGEST_OTHER


def _refuse_content(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> None:
    """Entities and document types have no place in a workbook; a formula without its value would lose a reading."""
    kept = b""
    try:
        with archive.open(part) as content:
            while block := content.read(BLOCK):
                seen = kept + block
                if not kept and not seen.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
                    raise Unacceptable(f"The part {part.filename!r} of this workbook is not UTF-8 text. Save it again.")
                if b"<!DOCTYPE" in seen or b"<!ENTITY" in seen:
                    raise Unacceptable(f"The part {part.filename!r} of this workbook declares entities: refused.")
                if part.filename.startswith("xl/worksheets/") and _UNCALCULATED.search(seen):
                    raise Unacceptable(
                        "Some cells hold formulas that were never calculated, and their values would be lost. "
                        "Open the workbook in a spreadsheet program and save it, or save it as CSV."
                    )
                kept = seen[-_OVERLAP:]
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, OSError) as error:
        raise Unacceptable(f"The part {part.filename!r} of this workbook is damaged. Save it again.") from error
    except zipfile.zlib.error as error:  # type: ignore[attr-defined]
        raise Unacceptable(f"The part {part.filename!r} of this workbook is damaged. Save it again.") from error
