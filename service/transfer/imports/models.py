"""An import as it is asked for, kept and answered."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import Index
from sqlmodel import Field, SQLModel

from service.http.shapes import AnyJson, Flag, Line, Shape, Whole
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.types import Document, Identifier, Instant
from service.transfer.imports.mapping import Mapping

ImportState = Literal["in_progress", "done", "undoing", "undone"]
LARGEST_TEXT = 6_000_000
MOST_ROWS = 20_000  # in one request; `ooid import` takes any number


class FileSent(Shape):
    """A file in a request: CSV as `text`, or any file as `base64`."""

    name: Line
    text: Annotated[str, ShapeField(max_length=LARGEST_TEXT, strict=True)] | None = None
    base64: Annotated[str, ShapeField(max_length=LARGEST_TEXT + 2_000_000, strict=True)] | None = None


class ImportSent(Shape):
    """An import as asked for.

    Without a mapping the columns are guessed; send `dry_run` first and read `understood`. `all_or_none`: one rejected
    row keeps all out. `again`: 0 at first; another number records anew what an undone import had recorded.
    """

    site: Annotated[str, ShapeField(min_length=1, max_length=40, strict=True, description="The site's tag or id.")]
    file: FileSent
    mapping: Mapping | None = None
    dry_run: Flag = False
    all_or_none: Flag = False
    again: Annotated[Whole, ShapeField(ge=0, le=1000)] = 0


class Counts(Shape):
    """Rows of a table by what became of them, and the records they made."""

    rows: int
    recorded: int
    known: int = ShapeField(description="Rows whose records were all there already.")
    rejected: int
    held_back: int = ShapeField(description="Good rows of an all-or-none import that another row kept out.")
    blank: int
    records: int = ShapeField(description="Records made, several a row in the wide form.")
    flagged: int = ShapeField(description="Implausible values among them.")


class ImportRead(Shape):
    """An import as it stands."""

    id: UUID
    version: int
    site_id: UUID
    state: str = ShapeField(description="in_progress (repeat it to go on), done, undoing (likewise), undone")
    file_name: str
    file_digest: str = ShapeField(description="SHA-256 of the file.")
    mapping: AnyJson
    headings: list[list[str]] = ShapeField(description="The rows of headings of the table.")
    again: int
    counts: Counts
    started_at: datetime
    started_by: UUID
    finished_at: datetime | None
    undone_reason: str | None


class CellFaultRead(Shape):
    """What is wrong with a cell, or without a column with the row."""

    column: str | None
    detail: str
    sent: str | None


class RecordMade(Shape):
    """A record that a row made, or that was there already."""

    kind: str
    id: UUID


class RowResult(Shape):
    """What became of one row."""

    row: int = ShapeField(description="Its number, as a spreadsheet shows it.")
    status: Literal["recorded", "known", "rejected", "held_back", "blank"]
    records: list[RecordMade]
    faults: list[CellFaultRead]
    remarks: list[str] = ShapeField(description="What was inferred, flagged, or kept as a note.")


class UnderstoodRead(Shape):
    """How the table is read: a complete mapping that can be sent again, and the reason for each guess."""

    mapping: AnyJson
    headers: list[str]
    because: dict[str, str]


class ImportOutcome(Shape):
    """What an import did, or in a dry run would do."""

    dry_run: bool
    import_: ImportRead | None = ShapeField(alias="import")
    understood: UnderstoodRead
    counts: Counts
    results: list[RowResult]
    failed_rows: str | None = ShapeField(description="CSV of the rejected rows with an error column; null if none.")


class Import(KeptRow, table=True):
    """The stored row; its id follows from the site, the file and the mapping, so that a repeat finds it."""

    __tablename__ = "imports"

    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier, index=True)
    state: str = Field(max_length=16)
    file_name: str = Field(max_length=200)
    file_digest: str = Field(max_length=64)
    mapping: Any = Field(sa_type=Document)
    headings: Any = Field(sa_type=Document)
    again: int = 0
    counts: Any = Field(sa_type=Document)
    started_at: datetime = Field(sa_type=Instant)
    started_by: UUID = Field(sa_type=Identifier)
    finished_at: datetime | None = Field(default=None, sa_type=Instant)
    undone_reason: str | None = None


class ImportedRecord(SQLModel, table=True):
    """Which import made a record: what its undoing withdraws."""

    __tablename__ = "imported_records"
    __table_args__ = (Index("ix_imported_records_site_id", "site_id"),)

    import_id: UUID = Field(primary_key=True, foreign_key="imports.id", sa_type=Identifier)
    record_id: UUID = Field(primary_key=True, sa_type=Identifier)
    kind: str = Field(primary_key=True, max_length=32)
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier)


class FailedRow(SQLModel, table=True):
    """A row that was rejected, as it came, and why."""

    __tablename__ = "failed_rows"
    __table_args__ = (Index("ix_failed_rows_site_id", "site_id"),)

    import_id: UUID = Field(primary_key=True, foreign_key="imports.id", sa_type=Identifier)
    row: int = Field(primary_key=True)
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier)
    cells: Any = Field(sa_type=Document)
    error: str


def body(row: Import) -> dict[str, Any]:
    """An import's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "state": row.state,
        "file_name": row.file_name,
        "file_digest": row.file_digest,
        "mapping": row.mapping,
        "headings": row.headings,
        "again": row.again,
        "counts": row.counts,
        "started_at": row.started_at,
        "started_by": row.started_by,
        "finished_at": row.finished_at,
        "undone_reason": row.undone_reason,
    }


IMPORT = register(Kept("import", Import, body))
