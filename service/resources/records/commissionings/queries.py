"""What signed runs of procedures tell plans and computations: when each was last done, and the last cut-off test."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import func
from sqlmodel import Session, col, select

from service.resources.keeping.records import RECORDED
from service.resources.records.commissionings.models import Commissioning

CUT_OFF_TEST = "low_ph_cut_off_test"  # a start-up tests the cut-off too, and counts for it


def last_finished(session: Session, subject_ids: Collection[UUID], at: datetime) -> dict[tuple[UUID, str], datetime]:
    """When the last run of each procedure on each subject, signed by an instant, was finished; two queries at most."""
    if not subject_ids:
        return {}
    counted: list[Any] = [
        col(Commissioning.subject_id).in_(subject_ids),
        Commissioning.state == RECORDED,
        col(Commissioning.signed_at) <= at,
    ]
    runs = session.exec(
        select(Commissioning.subject_id, Commissioning.procedure, func.max(col(Commissioning.completed_at)))
        .where(*counted)
        .group_by(col(Commissioning.subject_id), col(Commissioning.procedure))
    )
    tests = session.exec(
        select(Commissioning.subject_id, func.max(col(Commissioning.cut_off_tested_at)))
        .where(*counted, col(Commissioning.cut_off_tested_at).is_not(None))
        .group_by(col(Commissioning.subject_id))
    )
    found = {(subject_id, procedure): finished for subject_id, procedure, finished in runs if finished is not None}
    for subject_id, tested in tests:
        assert tested is not None
        found[subject_id, CUT_OFF_TEST] = max(tested, found.get((subject_id, CUT_OFF_TEST), tested))
    return found


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


def open_runs(session: Session, site_id: UUID) -> list[Commissioning]:
    """The runs of a site that nobody has signed yet, in the order in which they began."""
    statement = select(Commissioning).where(
        Commissioning.site_id == site_id, Commissioning.state == RECORDED, col(Commissioning.signed_at).is_(None)
    )
    return list(session.exec(statement.order_by(col(Commissioning.at), col(Commissioning.id))))


def signed_runs(session: Session, subject_ids: Sequence[UUID], *, limit: int) -> list[Commissioning]:
    """The runs on any of these subjects that were signed last, the newest first."""
    statement = (
        select(Commissioning)
        .where(
            col(Commissioning.subject_id).in_(subject_ids),
            Commissioning.state == RECORDED,
            col(Commissioning.signed_at).is_not(None),
        )
        .order_by(col(Commissioning.signed_at).desc())
        .limit(limit)
    )
    return list(session.exec(statement))
