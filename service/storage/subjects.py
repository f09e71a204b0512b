"""A subject: whatever a record can be about. One parent table of ids behind systems, tanks, equipment, rooms."""

from __future__ import annotations

from uuid import UUID

from sqlalchemy import ForeignKeyConstraint, UniqueConstraint
from sqlmodel import Field, Session, SQLModel, col, select

from service.storage.types import Identifier


class Subject(SQLModel, table=True):
    """The identity of one thing on one site, whatever its kind."""

    __tablename__ = "subjects"
    __table_args__ = (UniqueConstraint("site_id", "id"), UniqueConstraint("label_code"))

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier, index=True)
    kind: str = Field(max_length=32)
    label_code: str = Field(max_length=16)


def on_the_same_site(column: str = "subject_id") -> ForeignKeyConstraint:
    """The constraint that keeps a row on its subject's own site: a record on another site's tank cannot be stored."""
    return ForeignKeyConstraint(["site_id", column], ["subjects.site_id", "subjects.id"])


def kinds(session: Session, ids: list[UUID]) -> dict[UUID, str]:
    """The kind of each of these subjects; unknown ids are left out."""
    rows = session.exec(select(Subject.id, Subject.kind).where(col(Subject.id).in_(ids)))
    return dict(rows.all())
