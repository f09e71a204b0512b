"""The photos to be shown beside what they are of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.kept import KEPT
from service.resources.keeping.records import RECORDED
from service.resources.records.photos.models import Photo

SAYS = ("what", "text", "note")  # where a record's own words stand


@dataclass(frozen=True)
class Shown:
    """A photo as pages show it: when it was taken, and what is to be seen (nothing when nobody said)."""

    id: UUID
    at: datetime
    words: str

    @property
    def path(self) -> str:
        """Where the API has it."""
        return f"/v1/photos/{self.id}"


def of_records(session: Session, record_ids: Iterable[UUID]) -> dict[UUID, list[UUID]]:
    """The photos of these records that were not withdrawn, the oldest first: one query."""
    statement = (
        select(Photo.of_id, Photo.id)
        .where(col(Photo.of_id).in_(set(record_ids)), Photo.state == RECORDED)
        .order_by(col(Photo.at), col(Photo.id))
    )
    found: dict[UUID, list[UUID]] = {}
    for record_id, photo_id in session.exec(statement):
        if record_id is not None:
            found.setdefault(record_id, []).append(photo_id)
    return found


def lately(session: Session, subject_ids: Sequence[UUID], limit: int) -> list[Shown]:
    """The last photos of these subjects that were not withdrawn, newest first; a query, and one a kind of record."""
    statement = (
        select(Photo)
        .where(col(Photo.subject_id).in_(subject_ids), Photo.state == RECORDED)
        .order_by(col(Photo.at).desc(), col(Photo.id))
        .limit(limit)
    )
    rows = session.exec(statement).all()
    words: dict[tuple[str | None, UUID | None], str] = {}
    for kind in {row.of_kind for row in rows if row.of_kind is not None}:
        table = KEPT[kind].table
        ids = [row.of_id for row in rows if row.of_kind == kind]
        for record_id, entered in session.exec(select(table.id, table.entered).where(col(table.id).in_(ids))):
            words[kind, record_id] = next((str(entered[name]) for name in SAYS if entered.get(name)), "")
    return [
        Shown(row.id, row.at, row.entered.get("caption") or words.get((row.of_kind, row.of_id), "")) for row in rows
    ]
