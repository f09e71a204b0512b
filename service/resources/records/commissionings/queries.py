"""What runs of procedures tell computations: the last signed test of a low-pH cut-off."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.commissionings.models import Commissioning


def last_cut_off_test(session: Session, subject_ids: Sequence[UUID], at: datetime) -> Commissioning | None:
    """The latest run on any of these subjects that tested a cut-off by an instant and was signed by then; or None."""
    statement = (
        select(Commissioning)
        .where(
            col(Commissioning.subject_id).in_(subject_ids),
            Commissioning.state == RECORDED,
            col(Commissioning.cut_off_tested_at) <= at,
            col(Commissioning.signed_at) <= at,
        )
        .order_by(col(Commissioning.cut_off_tested_at).desc(), col(Commissioning.id))
        .limit(1)
    )
    return session.exec(statement).first()
