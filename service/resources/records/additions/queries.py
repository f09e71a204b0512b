"""The additions that computations read: all of many systems in one query."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from sqlalchemy import and_, or_, select
from sqlmodel import Session, col
from sqlmodel import select as select_rows

from service.resources.keeping.records import RECORDED
from service.resources.records.additions.models import Addition


class Added(NamedTuple):
    """What computations need of an addition: plain columns, which are read several times faster than whole rows."""

    id: UUID
    subject_id: UUID
    kind: str
    at: datetime
    ended_at: datetime | None
    canonical: Any
    relative_sd: float | None


def of_systems(session: Session, system_ids: Sequence[UUID], from_: datetime, to: datetime) -> list[Added]:
    """Every addition to these systems that lies at least in part within [from_, to), in time order; one query.

    A dose that began before counts when it ended after; an exchange without an end runs on.
    """
    table: Any = Addition
    runs_on = and_(col(Addition.kind) == "exchange", col(Addition.ended_at).is_(None))
    statement = (
        select(*(getattr(table, name) for name in Added._fields))
        .where(
            col(Addition.subject_id).in_(system_ids),
            table.kind != "media",
            table.state == RECORDED,
            table.at < to,
            or_(col(Addition.at) >= from_, col(Addition.ended_at) > from_, runs_on),
        )
        .order_by(col(Addition.at), col(Addition.id))
    )
    return [Added(*row) for row in session.execute(statement)]


def media_of(session: Session, reactor_ids: Sequence[UUID]) -> Sequence[Addition]:
    """Every filling of these reactors with media, in time order; one query."""
    statement = (
        select_rows(Addition)
        .where(col(Addition.subject_id).in_(reactor_ids), Addition.kind == "media", Addition.state == RECORDED)
        .order_by(col(Addition.at), col(Addition.id))
    )
    return session.exec(statement).all()
