"""A probe series: one quantity of one subject by one method, batch after batch, stored as blocks of points."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID, uuid5

from pydantic import Field as ShapeField
from pydantic import WithJsonSchema
from sqlalchemy import ForeignKeyConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel

from service.http.shapes import Amount, AnyJson, Code, Id, Line, Number, Shape, UnitName, Whole
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.subjects import on_the_same_site
from service.storage.types import Document, Identifier, Instant

LARGEST_BATCH = 50_000

Times = Annotated[
    list[Annotated[str, ShapeField(strict=True)]],
    ShapeField(min_length=1, max_length=LARGEST_BATCH),
    WithJsonSchema(
        {
            "type": "array",
            "items": {"type": "string", "format": "date-time"},
            "minItems": 1,
            "maxItems": LARGEST_BATCH,
            "description": "RFC 3339 times with their offsets, in any order.",
            "examples": [["2026-11-20T08:00:00+01:00", "2026-11-20T08:01:00+01:00"]],
        }
    ),
]
Columns = Annotated[
    list[Number],
    ShapeField(min_length=1, max_length=LARGEST_BATCH, description="One value for each time.", examples=[[8.21, 8.22]]),
]


class SeriesSent(Shape):
    """Many values of one probe in columns. A point is known by its instant: the same again changes nothing."""

    subject_id: Id
    quantity: Code
    unit: UnitName
    method: Line | None = None
    conditions: dict[Code, Number | Amount | Line] = {}
    taken_at: Times
    value: Columns


class PointConflict(Shape):
    """A point that was not stored, because another value is held for its instant."""

    index: Whole
    taken_at: datetime
    held: Amount
    sent: Amount


class PointRefused(Shape):
    """A point that was not stored, because its value cannot be."""

    index: Whole
    taken_at: datetime
    sent: Amount
    detail: str


class BatchAnswer(Shape):
    """What became of the points of a batch."""

    series_id: UUID
    batch_id: UUID | None = ShapeField(description="The batch as it is kept; null when nothing of it was new.")
    stored: int
    held_already: int = ShapeField(description="Points known before with this very value, or sent twice in the batch.")
    conflicts: list[PointConflict] = ShapeField(description="What is held stands; nothing is overwritten.")
    refused: list[PointRefused] = ShapeField(description="Values beyond the quantity's physical bounds.")


class SeriesRead(Shape):
    """One series: what of whom, since when, how many points."""

    id: UUID
    site_id: UUID
    subject_id: UUID
    quantity: str
    unit: str = ShapeField(description="The quantity's canonical unit.")
    method: str | None
    first_at: datetime
    last_at: datetime
    count: int


class SeriesBatchRead(Shape):
    """A batch as it was recorded: who sent it and when, in which unit and under which conditions."""

    id: UUID
    version: int
    site_id: UUID
    series_id: UUID
    subject_id: UUID
    quantity: str
    method: str | None
    unit: str = ShapeField(description="The unit it was sent in.")
    conditions: dict[str, AnyJson]
    first_at: datetime
    last_at: datetime
    count: int
    points_sha256: str = ShapeField(description="SHA-256 over its points as stored, in order of time.")
    recorded_at: datetime
    recorded_by: UUID = ShapeField(description="The person or token that sent it.")


class PointsRead(Shape):
    """Part of a series in columns: points, or the means of spans with their counts and extremes."""

    subject_id: UUID
    quantity: str
    unit: str
    method: str | None
    resolution: str
    taken_at: list[datetime] = ShapeField(description="The instant of each point; of a span, its start.")
    value: list[float] = ShapeField(description="The value of each point; of a span, the mean of its points.")
    count: list[int] | None = ShapeField(description="Points in each span; null for points.")
    low: list[float] | None
    high: list[float] | None


class Series(SQLModel, table=True):
    """The stored identity of a series, and what it holds in all. `count` is 0 until its first batch is stored."""

    __tablename__ = "series"
    __table_args__ = (
        on_the_same_site(),
        UniqueConstraint("site_id", "id"),
        Index("ix_series_subject_id_quantity", "subject_id", "quantity"),
    )

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    site_id: UUID = Field(sa_type=Identifier)
    subject_id: UUID = Field(sa_type=Identifier)
    quantity: str = Field(max_length=40)
    method: str | None = Field(default=None, max_length=200)
    first_at: datetime | None = Field(default=None, sa_type=Instant)
    last_at: datetime | None = Field(default=None, sa_type=Instant)
    count: int = 0


def series_id(subject_id: UUID, quantity: str, method: str | None) -> UUID:
    """The id that follows from what a series is of: whoever stores its first batch makes the same."""
    return uuid5(subject_id, quantity if method is None else f"{quantity} {method}")


class SeriesBatch(KeptRow, table=True):
    """What one request stored of a series, with the digest of its points; never changed."""

    __tablename__ = "series_batches"
    __table_args__ = (
        ForeignKeyConstraint(["site_id", "series_id"], ["series.site_id", "series.id"]),
        Index("ix_series_batches_series_id", "series_id"),
    )

    site_id: UUID = Field(sa_type=Identifier)
    series_id: UUID = Field(sa_type=Identifier)
    subject_id: UUID = Field(sa_type=Identifier)
    quantity: str = Field(max_length=40)
    method: str | None = Field(default=None, max_length=200)
    unit: str = Field(max_length=40)
    conditions: Any = Field(sa_type=Document)
    first_at: datetime = Field(sa_type=Instant)
    last_at: datetime = Field(sa_type=Instant)
    count: int
    digest: bytes = Field(max_length=32)
    recorded_at: datetime = Field(sa_type=Instant)
    recorded_by: UUID = Field(sa_type=Identifier)


class SeriesBlock(SQLModel, table=True):
    """The points of one batch within one day of UTC (`blocks.POINT`), and its hours (`blocks.SUM`) where it is dense.

    The key begins with the last instant: what a new batch could meet is found without touching what came before it.
    `points` is the last column: SQLite reads a row from its front, and hours are read much more often.
    """

    __tablename__ = "series_blocks"
    __table_args__ = (ForeignKeyConstraint(["site_id", "series_id"], ["series.site_id", "series.id"]),)

    series_id: UUID = Field(primary_key=True, sa_type=Identifier)
    last_at: datetime = Field(primary_key=True, sa_type=Instant)
    batch_id: UUID = Field(primary_key=True, foreign_key="series_batches.id", sa_type=Identifier)
    site_id: UUID = Field(sa_type=Identifier)
    first_at: datetime = Field(sa_type=Instant)
    count: int
    hours: bytes | None = None
    points: bytes


def body(row: SeriesBatch) -> dict[str, Any]:
    """A batch as the change feed shows it; its points are read at /v1/series."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "series_id": row.series_id,
        "subject_id": row.subject_id,
        "quantity": row.quantity,
        "method": row.method,
        "unit": row.unit,
        "conditions": row.conditions,
        "first_at": row.first_at,
        "last_at": row.last_at,
        "count": row.count,
        "points_sha256": row.digest.hex(),
        "recorded_at": row.recorded_at,
        "recorded_by": row.recorded_by,
    }


SERIES_BATCH = register(Kept("series_batch", SeriesBatch, body))
