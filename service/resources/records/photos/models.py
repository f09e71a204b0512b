"""A photo: a picture of a subject, or belonging to a record about one. Its bytes stand in a table of their own."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlalchemy import ForeignKeyConstraint, Index, LargeBinary
from sqlmodel import Field, SQLModel

from service.http.shapes import Code, Id, Line, Shape, Time
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.photos.pictures import Picture
from service.storage.types import Identifier


class PhotoSent(Shape):
    """What is sent with a picture, and the SHA-256 of the picture: of one subject, or of one record."""

    subject_id: Id | None = None
    of_kind: Code | None = None
    of_id: Id | None = None
    taken_at: Time
    caption: Line | None = None
    sent_sha256: str


class PhotoTaken(PhotoSent):
    """The same with the picture, decoded: not among what is kept as entered."""

    picture: Picture = ShapeField(exclude=True)


class PhotoRead(RecordRead):
    """A photo as it stands; the picture itself is at `/picture` and `/thumbnail` under its path."""

    subject_id: UUID | None
    of_kind: str | None = ShapeField(description="The kind of record that it belongs to, such as `maintenance_event`.")
    of_id: UUID | None = ShapeField(description="The record that it belongs to.")
    taken_at: Time
    caption: str | None
    width: int = ShapeField(description="Pixels, upright.")
    height: int = ShapeField(description="Pixels, upright.")
    size_bytes: int = ShapeField(description="Size of the picture as kept: JPEG, without the camera's remarks.")
    sha256: str = ShapeField(description="SHA-256 of the picture as kept, in hex.")
    sent_sha256: str = ShapeField(description="SHA-256 of the picture as it was sent, in hex.")


class Photo(RecordRow, table=True):
    """The stored row without the picture; of a record that has no subject, such as a handover, it has none either."""

    __tablename__ = "photos"
    __table_args__ = (
        *record_constraints("photos", "of_kind"),
        ForeignKeyConstraint(["site_id"], ["sites.id"]),
        Index("ix_photos_of_id", "of_id"),
    )

    subject_id: UUID | None = Field(default=None, nullable=True, sa_type=Identifier)  # type: ignore[assignment]
    of_kind: str | None = Field(default=None, max_length=32)
    of_id: UUID | None = Field(default=None, sa_type=Identifier)
    width: int
    height: int
    size_bytes: int
    sha256: bytes = Field(max_length=32)


class PhotoPicture(SQLModel, table=True):
    """The picture of a photo: apart from its row, so that lists of photos read no pictures."""

    __tablename__ = "photo_pictures"

    photo_id: UUID = Field(primary_key=True, foreign_key="photos.id", sa_type=Identifier)
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier, index=True)
    jpeg: bytes = Field(sa_type=LargeBinary)


def body(row: Photo) -> dict[str, Any]:
    """A photo's answer."""
    return {
        "caption": None,
        **record_body(row),
        "subject_id": row.subject_id,
        "of_kind": row.of_kind,
        "of_id": row.of_id,
        "width": row.width,
        "height": row.height,
        "size_bytes": row.size_bytes,
        "sha256": row.sha256.hex(),
    }


PHOTO = register(Kept("photo", Photo, body))
