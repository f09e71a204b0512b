"""When the stock of tanks and systems changed: there demand may have stepped."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlalchemy import or_
from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.stock_changes.models import StockChange


def touching(session: Session, subject_ids: Sequence[UUID], from_: datetime, to: datetime) -> Sequence[StockChange]:
    """Every stock change within [from_, to) of these subjects, or into them, in time order; one query."""
    statement = (
        select(StockChange)
        .where(
            or_(col(StockChange.subject_id).in_(subject_ids), col(StockChange.to_subject_id).in_(subject_ids)),
            StockChange.state == RECORDED,
            col(StockChange.at) >= from_,
            col(StockChange.at) < to,
        )
        .order_by(col(StockChange.at), col(StockChange.id))
    )
    return session.exec(statement).all()
