"""Recording photos, and deciding who sees a picture that was withdrawn."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any
from uuid import UUID

from sqlalchemy import func
from sqlmodel import select

from service.access.caller import Work
from service.access.rights import CORRECTS_OTHERS
from service.errors import Fault, NotAllowed, NotFound, TooLarge, Unacceptable
from service.resources.keeping import records
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import KEPT
from service.resources.keeping.records import WITHDRAWN, RecordKind, RecordRow
from service.resources.places.subjects import subject_of
from service.resources.records.fields import refuse_ahead
from service.resources.records.photos.models import PHOTO, Photo, PhotoPicture, PhotoRead, PhotoSent, PhotoTaken


def columns(work: Work, sent: PhotoTaken) -> dict[str, Any]:
    """The row's columns. Raises Unacceptable or NotFound, each naming its parameter."""
    site_id, subject_id = _belonging(work, sent)
    refuse_ahead(work, sent.taken_at, "taken_at")
    return {
        "site_id": site_id,
        "subject_id": subject_id,
        "at": sent.taken_at,
        "of_kind": sent.of_kind,
        "of_id": sent.of_id,
        "width": sent.picture.width,
        "height": sent.picture.height,
        "size_bytes": len(sent.picture.jpeg),
        "sha256": sent.picture.sha256,
    }


PHOTOS = RecordKind(
    kept=PHOTO,
    singular="photo",
    plural="photos",
    sent=PhotoSent,
    read=PhotoRead,
    columns=columns,
    topic="of_kind",
    is_corrected=False,  # the picture is what it is: withdraw it, and add another
)


def added(work: Work, photo_id: UUID, sent: PhotoTaken, *, site_limit: int) -> tuple[Photo, bool]:
    """The photo under this id with its picture, and whether it is new. Raises TooLarge when the site has its share."""
    with _of_the_query():
        row, is_new = records.record_one(work, PHOTOS, photo_id, sent)
    if is_new:
        _refuse_full(work, row, site_limit)
        work.session.add(PhotoPicture(photo_id=row.id, site_id=row.site_id, jpeg=sent.picture.jpeg))
    return row, is_new


def picture(work: Work, photo_id: UUID) -> tuple[Photo, bytes]:
    """A photo and its picture, as JPEG. Raises NotAllowed for one that was withdrawn, except to supervisors."""
    row = records.found(work, PHOTOS, photo_id)
    if row.state == WITHDRAWN and work.caller.role_on(row.site_id) not in CORRECTS_OTHERS:
        raise NotAllowed("This photo was withdrawn. It is kept, and shown to supervisors only: ask one.")
    stored = work.session.get(PhotoPicture, row.id)
    if stored is None:
        raise NotFound("This photo has lost its picture. `ooid check` says what else is amiss.")
    return row, stored.jpeg


@contextmanager
def _of_the_query() -> Iterator[None]:
    """Refusals from within say that the field they name is a parameter: the body is the picture."""
    try:
        yield
    except (Unacceptable, NotFound) as error:
        faults = tuple(replace(fault, place="query") for fault in error.faults)
        raise type(error)(error.detail, faults) from error


def _belonging(work: Work, sent: PhotoSent) -> tuple[UUID, UUID | None]:
    """The site and the subject of what the photo is of."""
    if (sent.of_kind is None) != (sent.of_id is None):
        missing = "of_kind" if sent.of_kind is None else "of_id"
        raise refused(missing, "of_kind and of_id name a record together. Send both or neither.")
    if (sent.subject_id is None) == (sent.of_id is None):
        detail = "A photo is of a subject (subject_id) or of a record (of_kind and of_id): send one of them."
        raise refused("subject_id", detail)
    if sent.subject_id is not None:
        subject = subject_of(work.session, work.scope, sent.subject_id, pointer="subject_id")
        return subject.site_id, subject.id
    record = _record(work, str(sent.of_kind), sent.of_id)
    return record.site_id, record.subject_id


def _record(work: Work, kind: str, record_id: UUID | None) -> RecordRow:
    tables = {name: kept.table for name, kept in KEPT.items() if issubclass(kept.table, RecordRow) and name != "photo"}
    if kind not in tables:
        raise refused("of_kind", f"No kind of record. Known: {', '.join(sorted(tables))}.", kind)
    row: RecordRow | None = work.session.get(tables[kind], record_id)
    if row is None or row.site_id not in work.scope:
        detail = "There is no such record. Record it first, or check the id."
        raise NotFound(detail, (Fault("of_id", detail, str(record_id)),))
    return row


def _refuse_full(work: Work, row: Photo, limit: int) -> None:
    """The pictures of a site, this one included, within its share: nobody fills the disk for the others."""
    held = work.session.exec(select(func.sum(Photo.size_bytes)).where(Photo.site_id == row.site_id)).one() or 0
    if held > limit:
        detail = f"The photos of this site would pass {limit} bytes. Ask whoever runs the service for more room"
        raise TooLarge(f"{detail} (OOID_PHOTOS_OF_SITE_LIMIT_BYTES).")
