"""The additions that computations read: all of many systems in one query."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import and_, or_
from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.additions.models import Addition


def of_systems(session: Session, system_ids: Sequence[UUID], from_: datetime, to: datetime) -> Sequence[Addition]:
    """Every addition to these systems that lies at least in part within [from_, to), in time order; one query.

    A dose that began before counts when it ended after; an exchange without an end runs on.
    """
    runs_on = and_(col(Addition.kind) == "exchange", col(Addition.ended_at).is_(None))
    statement = (
        select(Addition)
        .where(
            col(Addition.subject_id).in_(system_ids),
            Addition.kind != "media",
            Addition.state == RECORDED,
            col(Addition.at) < to,
            or_(col(Addition.at) >= from_, col(Addition.ended_at) > from_, runs_on),
        )
        .order_by(col(Addition.at), col(Addition.id))
    )
    return session.exec(statement).all()


def media_of(session: Session, reactor_ids: Sequence[UUID]) -> Sequence[Addition]:
    """Every filling of these reactors with media, in time order; one query."""
    statement = (
        select(Addition)
        .where(col(Addition.subject_id).in_(reactor_ids), Addition.kind == "media", Addition.state == RECORDED)
        .order_by(col(Addition.at), col(Addition.id))
    )
    return session.exec(statement).all()
