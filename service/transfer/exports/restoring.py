"""Making an equal site of an archive, in one transaction: everything is checked before anything is kept."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Any
from uuid import UUID

import orjson
from sqlalchemy import Table, insert
from sqlalchemy.exc import IntegrityError
from sqlmodel import col
from sqlmodel import select as select_rows

from service.access.caller import Work
from service.access.models import Person, Token
from service.access.rights import Right, Role
from service.errors import Conflict, Fault, TooLarge, Unacceptable
from service.resources.catalogue.lots.models import Lot
from service.resources.catalogue.methods.models import Method
from service.resources.keeping.kept import KEPT, Kept, note
from service.resources.places.sites.models import SITE, Site
from service.resources.records import checking
from service.storage import trail
from service.storage.trail import INSTALLATION
from service.transfer.exports.tables import CATALOGUE, Unreadable, columns_of, exported, file_of, read
from service.transfer.exports.writing import FILES_AT_ONCE, FOLDER, FORMAT, FORMAT_VERSION, MANIFEST

GIBIBYTE = 1 << 30
LARGEST_WHOLE = 64 * GIBIBYTE
LARGEST_MANIFEST = 1 << 20
LARGEST_RATIO = 400  # tables of like rows shrink well; a bomb shrinks a thousand times
SMALL = 1 << 20
LARGEST_FILE = 64 << 20
LONGEST_CELL = 64 << 20  # a day of a dense series, packed
MOST_FAULTS = 5
AT_ONCE = 500
BLOCK = 256 * 1024

Row = dict[str, Any]


def is_site(path: Path) -> bool:
    """Whether a file is an archive of a site."""
    if not zipfile.is_zipfile(path):
        return False
    with zipfile.ZipFile(path) as archive:
        return MANIFEST in archive.namelist()


def restore_site(work: Work, path: Path, *, progress: Callable[[str], None] = lambda _text: None) -> dict[str, Any]:
    """The manifest of a site that was made again: ids, versions, current states, old versions and audit trail.

    Only whoever administers the installation may. The audit trail comes with the site and must hold every row to its
    digest, so that an edited archive is refused. People and tokens come by name, without any way to sign in; methods
    and lots that are here already stay, and must be the same.

    Raises NotAllowed, Unacceptable for an archive that is damaged, edited or no site, Conflict when it is here already.
    """
    work.caller.require(Right.ADMINISTER, None)
    with _opened(path) as archive:
        manifest = _manifest(archive)
        site_id = UUID(str(manifest["site"]["id"]))
        _refuse_known(work, site_id, str(manifest["site"]["tag"]))
        before = set(checking.faults(work.session))
        for table in exported():
            progress(f"Reading {table.name} ...")
            _restore_table(work, archive, manifest, table, site_id)
    progress("Checking every row against the audit trail ...")
    _note_site(work, site_id)
    found = [fault for fault in checking.faults(work.session) if fault not in before]
    if found:
        shown = "; ".join(found[:MOST_FAULTS])
        raise Unacceptable(f"The archive was edited: {shown}. Nothing was imported.", (Fault("/file", shown),))
    return manifest


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError) as error:
        raise _damaged("it cannot be opened") from error
    parts = archive.infolist()
    if len({part.filename for part in parts}) != len(parts):
        raise _damaged("two of its files have one name")
    if sum(part.file_size for part in parts) > LARGEST_WHOLE:
        raise TooLarge(f"Unpacked the archive is larger than {LARGEST_WHOLE // GIBIBYTE} GiB.")
    for part in parts:
        if part.file_size > max(SMALL, LARGEST_RATIO * part.compress_size):
            raise TooLarge(f"{part.filename!r} unpacks to more than {LARGEST_RATIO} times its size: refused.")
    return archive


def _manifest(archive: zipfile.ZipFile) -> dict[str, Any]:
    try:
        with archive.open(MANIFEST) as file:
            content = orjson.loads(file.read(LARGEST_MANIFEST))
        files = {str(each["name"]): str(each["sha256"]) for each in content["files"]}
        site = {"id": str(UUID(content["site"]["id"])), "tag": str(content["site"]["tag"])}
        form = content["format"], content["format_version"]
    except (KeyError, TypeError, ValueError, zipfile.BadZipFile) as error:
        raise _damaged("its manifest cannot be read") from error
    if form != (FORMAT, FORMAT_VERSION):
        raise Unacceptable(f"This is no archive of a site that this version reads: {form[0]!r}, version {form[1]!r}.")
    return {**content, "sha256": files, "site": {**content["site"], **site}}


def _refuse_known(work: Work, site_id: UUID, tag: str) -> None:
    found = work.session.exec(select_rows(Site).where((Site.id == site_id) | (Site.tag == tag))).first()
    if found is not None:
        detail = f"A site with this {'id' if found.id == site_id else 'tag'} is here already ({found.tag})."
        raise Conflict(f"{detail} An archive is imported into a service that does not have the site.")


def _restore_table(work: Work, archive: zipfile.ZipFile, manifest: dict[str, Any], table: Table, site_id: UUID) -> None:
    name = f"{FOLDER}{table.name}.csv"
    block: list[Row] = []
    file, at_once = file_of(table), AT_ONCE
    if file is not None:
        at_once = FILES_AT_ONCE
    for row in _rows(archive, manifest, table, name):
        _refuse_foreign(table, row, site_id, name)
        if file is not None:
            row[file[0].name] = _file(archive, manifest, file[1].format(**row))
        block.append(row)
        if len(block) == at_once:
            _store(work, table, block, name)
            block = []
    if block:
        _store(work, table, block, name)


def _file(archive: zipfile.ZipFile, manifest: dict[str, Any], name: str) -> bytes:
    """One file of its own, its checksum verified."""
    try:
        if archive.getinfo(name).file_size > LARGEST_FILE:
            raise TooLarge(f"{name} is larger than {LARGEST_FILE >> 20} MiB.")
        content = archive.read(name)
    except KeyError as error:
        raise _damaged(f"{name} is missing") from error
    except (zipfile.BadZipFile, EOFError, OSError) as error:
        raise _damaged(f"{name} cannot be read to its end") from error
    if manifest["sha256"].get(name) != hashlib.sha256(content).hexdigest():
        raise _damaged(f"{name} is not the file of the manifest: its SHA-256 is another")
    return content


def _rows(archive: zipfile.ZipFile, manifest: dict[str, Any], table: Table, name: str) -> Iterator[Row]:
    """The rows of one file, its checksum verified at its end. Columns that only people read are passed over."""
    wanted = {column.name: column for column in columns_of(table)}
    csv.field_size_limit(LONGEST_CELL)
    try:
        with archive.open(name) as raw:
            hashed = _HashedReader(raw)
            with io.TextIOWrapper(io.BufferedReader(hashed, BLOCK), encoding="utf-8", newline="") as text:
                lines = csv.reader(text, strict=True)
                names = next(lines, [])
                lacking = [column for column in wanted if column not in names]
                if lacking:
                    raise _damaged(f"{name} has no column {lacking[0]!r}: it was written by another version")
                for number, cells in enumerate(lines, start=2):
                    if len(cells) != len(names):
                        raise _damaged(f"{name}, row {number}: {len(names)} cells are expected")
                    yield _row(wanted, names, cells, f"{name}, row {number}")
    except KeyError as error:
        raise _damaged(f"{name} is missing") from error
    except (csv.Error, UnicodeError, zipfile.BadZipFile, EOFError, OSError) as error:
        raise _damaged(f"{name} cannot be read to its end") from error
    if manifest["sha256"].get(name) != hashed.digest:
        raise _damaged(f"{name} is not the file of the manifest: its SHA-256 is another")


def _row(wanted: dict[str, Any], names: list[str], cells: list[str], where: str) -> Row:
    found: Row = {}
    for name, cell in zip(names, cells, strict=True):
        if name in wanted:
            try:
                found[name] = read(wanted[name], cell)
            except Unreadable as error:
                raise _damaged(f"{where}, {name}: {error}") from error
    return found


def _refuse_foreign(table: Table, row: Row, site_id: UUID, name: str) -> None:
    """No archive reaches beyond its own site."""
    if table.name in CATALOGUE or table.name == "people":
        return
    owner = row["id"] if table.name == "sites" else row.get("chain_id", row.get("site_id"))
    if owner != site_id and not (table.name == "tokens" and owner is None):
        raise _damaged(f"{name} holds a row of another site")


def _store(work: Work, table: Table, rows: list[Row], name: str) -> None:
    connection = work.session.connection()
    if table.name == "people":
        _store_shared(work, KEPT["person"], Person, rows)
    elif table.name == "tokens":
        _store_tokens(work, rows)
    elif table.name in CATALOGUE:
        kept, model = (KEPT["method"], Method) if table.name == "methods" else (KEPT["lot"], Lot)
        _store_shared(work, kept, model, rows)
    else:
        try:
            connection.execute(insert(table), rows)
        except IntegrityError as error:
            detail = f"{name}: a row contradicts another, or is here already on another site."
            raise Conflict(f"{detail} Nothing was imported.", (Fault("/file", detail),)) from error


def _store_shared(work: Work, kept: Kept[Any], model: Any, rows: list[Row]) -> None:
    """What belongs to the whole installation: what is here stays, and must be the same; what is new is entered."""
    ids = [row["id"] for row in rows]
    known = {row.id: row for row in work.session.exec(select_rows(model).where(col(model.id).in_(ids)))}
    for row in rows:
        here = known.get(row["id"])
        if here is None:
            here = model(**row)
            work.session.add(here)
            try:
                work.session.flush()
            except IntegrityError as error:
                detail = f"Another {kept.name} is here under the same name."
                raise Conflict(f"{detail} Rename one of them, and try again.", (Fault("/file", detail),)) from error
            note(work, kept, here, "restored", chain_id=INSTALLATION)
        elif kept.name != "person" and kept.body(here) != kept.body(model(**row)):
            detail = f"The {kept.name} {row['id']} is here already and differs."
            raise Conflict(f"{detail} Nothing was imported.", (Fault("/file", detail),))


def _store_tokens(work: Work, rows: list[Row]) -> None:
    """Tokens by name, without their secrets: nobody can sign in with them. Those of the whole installation are void."""
    known = set(work.session.exec(select_rows(Token.id).where(col(Token.id).in_([row["id"] for row in rows]))))
    for row in rows:
        if row["id"] in known:
            continue
        is_wide = row["site_id"] is None
        if is_wide:
            row = {**row, "role": Role.READER.value, "scopes": [], "revoked_at": work.at}
        token = Token(**row, secret_hash=os.urandom(32))
        work.session.add(token)
        work.session.flush()
        if is_wide:
            note(work, KEPT["token"], token, "restored", chain_id=INSTALLATION)


def _note_site(work: Work, site_id: UUID) -> None:
    """Enter the site itself, and what is shared, into the chain of this installation, and close that entry."""
    work.session.expire_all()
    site = work.session.get(Site, site_id)
    if site is None:
        raise _damaged("it holds no site")
    note(work, SITE, site, "restored", chain_id=INSTALLATION)
    work.session.flush()
    trail.seal(work.session)
    work.session.flush()


class _HashedReader(io.RawIOBase):
    """A file that is read through and hashed."""

    def __init__(self, file: IO[bytes]) -> None:
        super().__init__()
        self._file = file
        self._hash = hashlib.sha256()

    @property
    def digest(self) -> str:
        """SHA-256 of what was read, in hex."""
        return self._hash.hexdigest()

    def readable(self) -> bool:
        """It is there to be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Read on."""
        content = self._file.read(len(buffer))
        buffer[: len(content)] = content
        self._hash.update(content)
        return len(content)


def _damaged(why: str) -> Unacceptable:
    detail = f"The archive is damaged: {why}."
    return Unacceptable(f"{detail} Nothing was imported.", (Fault("/file", detail),))
