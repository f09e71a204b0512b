"""Who took a site over, and how far they had read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.takeovers.models import Takeover


def taken_over(session: Session, site_id: UUID, from_: datetime) -> Sequence[Takeover]:
    """The takeovers of a site since an instant, who read furthest last."""
    statement = select(Takeover).where(
        Takeover.site_id == site_id, Takeover.state == RECORDED, col(Takeover.at) >= from_
    )
    return session.exec(statement.order_by(col(Takeover.read_to), col(Takeover.at), col(Takeover.id))).all()
