"""Where a list of changes begins: behind what was read when somebody last took the site over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.keeping.amounts import refused
from service.resources.records.takeovers.models import Takeover
from service.resources.records.takeovers.queries import taken_over
from service.storage.trail import AuditEntry

WITHOUT_A_MARK = timedelta(days=1)
LONGEST = timedelta(days=7)  # nobody reads what piled up longer: the weekly report tells it better
ONE_CHANGE_OF_SHIFTS = timedelta(hours=3)  # whoever takes over within it of another came with them (our own choice)


@dataclass(frozen=True)
class Mark:
    """A place in a site's trail: changes behind `seq` are told.

    `takeover` is what was read up to there, if anything; `beside` are the others of this change of shifts.
    """

    seq: int
    since: datetime
    takeover: Takeover | None = None
    beside: Sequence[Takeover] = ()


def mark_of(session: Session, site_id: UUID, at: datetime, *, reader_id: UUID) -> Mark:
    """The mark of a site for somebody: the last takeover within seven days, else a day ago.

    Of several people who take over together each is to read the same list: what others took over within the last three
    hours does not shorten it until one took over oneself. The place is one in the trail, not an instant, so that what
    was measured before and sent later is told, too, and what came while a phone had no network is not lost.
    """
    lately = taken_over(session, site_id, at - LONGEST)
    beside = [each for each in lately if each.recorded_by != reader_id and each.at > at - ONE_CHANGE_OF_SHIFTS]
    before = [each for each in lately if each not in beside]
    if not before:
        return Mark(_before(session, site_id, at - WITHOUT_A_MARK), at - WITHOUT_A_MARK, beside=beside)
    last = before[-1]
    return Mark(last.read_to, last.as_of, last, beside)


def chosen(session: Session, site_id: UUID, since: datetime, at: datetime) -> Mark:
    """The mark at an instant that somebody chose. Raises Unacceptable for one ahead, or more than seven days ago."""
    if not at - LONGEST <= since <= at:
        detail = "An instant within the last seven days is expected; the weekly report tells what is older."
        raise refused("since", detail, since.isoformat(), place="query")
    return Mark(_before(session, site_id, since), since)


def _before(session: Session, site_id: UUID, instant: datetime) -> int:
    """The last entry of a site's trail before an instant."""
    statement = (
        select(AuditEntry.seq)
        .where(AuditEntry.chain_id == site_id, col(AuditEntry.at) < instant)
        .order_by(col(AuditEntry.seq).desc())
        .limit(1)
    )
    return session.exec(statement).first() or 0
