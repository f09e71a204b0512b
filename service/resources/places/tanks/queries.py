"""Which tank stood on which system when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import zip_longest
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.places.tanks.models import Placement, Tank, body
from service.storage.subjects import Subject


@dataclass(frozen=True)
class Stay:
    """One tank on one system, from an instant to another (half-open; None: still)."""

    tank_id: UUID
    system_id: UUID
    from_at: datetime
    to_at: datetime | None


def stays(session: Session, tank_ids: Sequence[UUID]) -> list[Stay]:
    """Every stay of these tanks, tank by tank in time order."""
    statement = (
        select(Placement)
        .where(col(Placement.tank_id).in_(tank_ids))
        .order_by(col(Placement.tank_id), col(Placement.from_at))
    )
    rows = session.exec(statement).all()
    ends = [
        following.from_at if following is not None and following.tank_id == row.tank_id else None
        for row, following in zip_longest(rows, rows[1:])
    ]
    return [Stay(row.tank_id, row.system_id, row.from_at, end) for row, end in zip(rows, ends, strict=True)]


def stays_on(session: Session, system_ids: Sequence[UUID]) -> list[Stay]:
    """Every stay of any tank on these systems."""
    tanks = session.exec(select(Placement.tank_id).where(col(Placement.system_id).in_(system_ids)).distinct()).all()
    wanted = set(system_ids)
    return [stay for stay in stays(session, tanks) if stay.system_id in wanted]


def shown(session: Session, rows: Sequence[Tank], at: datetime) -> list[dict[str, Any]]:
    """Tanks with the system each stands on at an instant, in order: two queries however many."""
    ids = [row.id for row in rows]
    current = {stay.tank_id: stay.system_id for stay in stays(session, ids) if stay.from_at <= at}
    codes = dict(session.exec(select(Subject.id, Subject.label_code).where(col(Subject.id).in_(ids))).all())
    return [{**body(row), "system_id": current.get(row.id), "label_code": codes[row.id]} for row in rows]
