"""Writing a site as one archive: a CSV file a table, a data dictionary, and a manifest with checksums."""

from __future__ import annotations

import csv
import hashlib
import io
import zipfile
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from typing import IO, Any
from uuid import UUID

import orjson
from sqlalchemy import Table, select
from sqlmodel import Session

from service import __version__
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.rooms.models import Room
from service.resources.places.sites.models import Site
from service.resources.places.systems.models import System
from service.resources.places.tanks.models import Tank
from service.storage import trail
from service.transfer.exports import dictionary
from service.transfer.exports.tables import belongs, columns_of, exported, file_of, guarded, order_of, written

FORMAT, FORMAT_VERSION = "ooid site", 1
FOLDER = "tables/"
MANIFEST, DICTIONARY, README = "manifest.json", "dictionary.csv", "README.txt"
AT_ONCE = 500
FILES_AT_ONCE = 4  # a picture may have megabytes
BLOCK = 256 * 1024

ABOUT = """A site as it stands: one CSV file a table (RFC 4180, UTF-8), sorted by key.
dictionary.csv says what every column means; manifest.json holds the SHA-256 of every file.
Times are RFC 3339 in UTC. An empty cell is nothing. Text that a spreadsheet would take for a formula, and text that
begins with an apostrophe, has one apostrophe before it. No password, token or sign-in link is in here.
Pictures are under photos/, each named by the id of its photo.
`ooid import` makes an equal site of this archive in a service that does not have it.
"""


def write_site(
    session: Session, site: Site, file: IO[bytes], *, at: datetime, progress: Callable[[str], None] = lambda _text: None
) -> dict[str, Any]:
    """Write a site into a file; the manifest. Reads in one snapshot, a few hundred rows at a time."""
    files: list[dict[str, Any]] = []
    tags = _tags(session, site.id)
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for table in exported():
            progress(f"Writing {table.name} ...")
            files.append(_write_table(session, archive, table, site.id, tags))
            files += _write_files(session, archive, table, site.id)
        lines = ([guarded(cell) if cell else "" for cell in line] for line in dictionary.lines())
        files.append(_write(archive, DICTIONARY, [list(dictionary.NAMES), *lines]))
        archive.writestr(README, ABOUT)
        head = trail.head(session, site.id)
        manifest = {
            "format": FORMAT,
            "format_version": FORMAT_VERSION,
            "program_version": __version__,
            "site": {"id": site.id, "tag": site.tag, "name": site.name},
            "exported_at": at.astimezone(UTC),
            "audit": None if head is None else {"seq": head.seq, "hash": head.hash.hex()},
            "files": files,
        }
        archive.writestr(MANIFEST, orjson.dumps(manifest, option=orjson.OPT_INDENT_2))
    return manifest


def _write_table(
    session: Session, archive: zipfile.ZipFile, table: Table, site_id: UUID, tags: dict[UUID, str]
) -> dict[str, Any]:
    columns = columns_of(table)
    has_subject = "subject_id" in table.c
    names = [column.name for column in columns] + (["subject_tag"] if has_subject else [])
    place = next((index for index, column in enumerate(columns) if column.name == "subject_id"), 0)

    def rows() -> Iterator[list[str]]:
        yield names
        statement = select(*columns).where(belongs(table, site_id)).order_by(*order_of(table))
        for row in session.connection().execute(statement.execution_options(yield_per=AT_ONCE)):
            cells = [written(column, value) for column, value in zip(columns, row, strict=True)]
            if has_subject:
                cells.append(tags.get(row[place], ""))
            yield cells

    return _write(archive, f"{FOLDER}{table.name}.csv", rows())


def _write_files(session: Session, archive: zipfile.ZipFile, table: Table, site_id: UUID) -> Iterator[dict[str, Any]]:
    """Write what leaves as a file of its own for each row, as it is: pictures are packed already."""
    found = file_of(table)
    if found is None:
        return
    column, pattern = found
    key = order_of(table)
    statement = select(*key, column).where(belongs(table, site_id)).order_by(*key)
    for row in session.connection().execute(statement.execution_options(yield_per=FILES_AT_ONCE)):
        *values, content = row
        name = pattern.format(**{part.name: value for part, value in zip(key, values, strict=True)})
        archive.writestr(name, content, zipfile.ZIP_STORED)
        yield {"name": name, "rows": 1, "bytes": len(content), "sha256": hashlib.sha256(content).hexdigest()}


def _write(archive: zipfile.ZipFile, name: str, rows: Iterable[list[str]]) -> dict[str, Any]:
    """Write one file; its name, rows, bytes and SHA-256."""
    count = -1
    with archive.open(name, "w", force_zip64=True) as raw:
        hashed = _Hashed(raw)
        with io.TextIOWrapper(io.BufferedWriter(hashed, BLOCK), encoding="utf-8", newline="") as text:
            out = csv.writer(text, lineterminator="\r\n")
            for count, row in enumerate(rows):  # noqa: B007 - how many there were
                out.writerow(row)
    return {"name": name, "rows": max(count, 0), "bytes": hashed.size, "sha256": hashed.digest}


class _Hashed(io.RawIOBase):
    """A file that is written through, counted and hashed."""

    def __init__(self, file: IO[bytes]) -> None:
        super().__init__()
        self._file = file
        self._hash = hashlib.sha256()
        self.size = 0

    @property
    def digest(self) -> str:
        """SHA-256 of what was written, in hex."""
        return self._hash.hexdigest()

    def writable(self) -> bool:
        """It is there to be written."""
        return True

    def write(self, data: Any) -> int:
        """Write on."""
        content = bytes(data)
        self._file.write(content)
        self._hash.update(content)
        self.size += len(content)
        return len(content)


def _tags(session: Session, site_id: UUID) -> dict[UUID, str]:
    found: dict[UUID, str] = {}
    for each in (System, Tank, Room, Equipment):
        table: Any = each
        for row_id, tag in session.execute(select(table.id, table.tag).where(table.site_id == site_id)):
            found[row_id] = tag
    return found
