"""Describing feeds: a reactor gives away no more than all of its effluent, at any instant."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.resources.equipment.feeds import queries
from service.resources.equipment.feeds.models import FEED, Feed, FeedPatch, FeedRead, FeedSent
from service.resources.equipment.intervals import Span, span_sent, take_turns
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.resources.keeping.things import Thing
from service.resources.places.systems import queries as systems
from service.storage.types import new_id

REACTOR = "calcium_reactor"
WHOLE = 1 + 1e-9  # nine ninths are a whole, though their floating sum is above 1


def describe(work: Work, sent: FeedSent) -> Feed:
    """The new feed."""
    reactor = pieces.one(work.session, work.scope, sent.reactor_id, pointer="/reactor_id")
    work.caller.require(Right.DESCRIBE, reactor.site_id)
    pieces.require_kind(reactor, REACTOR, pointer="/reactor_id")
    system = systems.one(work.session, work.scope, sent.system_id)
    if system.site_id != reactor.site_id:
        raise refused("/system_id", "A reactor feeds systems of its own site.", str(sent.system_id))
    span = span_sent(sent.from_, sent.to)
    take_turns(work.session, reactor.site_id)
    pieces.refuse_retired(reactor, span, pointer="/reactor_id")
    _refuse_too_much(work, reactor.id, system.id, sent.share, span, besides=None)
    return _feed(work, reactor.site_id, reactor.id, system.id, sent.share, span)


def amend(work: Work, feed: Feed, patch: FeedPatch) -> None:
    """Set the end, or a new share: from the feed's beginning in place, from later on by ending it and going on anew."""
    take_turns(work.session, feed.site_id)
    if patch.from_ is not None and patch.share is None:
        raise refused("/from", "This is when a new share holds from. Send share with it.", patch.from_.isoformat())
    end = patch.to if "to" in patch.model_fields_set else feed.to_at
    share = feed.share if patch.share is None else patch.share
    start = feed.from_at if patch.share is None else (patch.from_ or max(work.at, feed.from_at)).astimezone(UTC)
    _refuse_outside(feed, start)
    span = span_sent(start, end, may_be_empty=start == feed.from_at)
    if not span.is_empty:
        reactor = pieces.one(work.session, work.scope, feed.reactor_id, pointer="/reactor_id")
        pieces.refuse_retired(reactor, span, pointer="/to")
        _refuse_too_much(work, feed.reactor_id, feed.system_id, share, span, besides=feed.id)
    if start == feed.from_at:
        feed.share, feed.to_at = share, span.to_at
        return
    feed.to_at = start
    work.session.flush()
    successor = _feed(work, feed.site_id, feed.reactor_id, feed.system_id, share, span)
    work.session.add(successor)
    work.session.flush()
    note(work, FEED, successor, "described")


def _feed(work: Work, site_id: UUID, reactor_id: UUID, system_id: UUID, share: float, span: Span) -> Feed:
    return Feed(
        id=new_id(),
        site_id=site_id,
        reactor_id=reactor_id,
        system_id=system_id,
        share=share,
        from_at=span.from_at,
        to_at=span.to_at,
        described_at=work.at,
    )


def _refuse_outside(feed: Feed, start: datetime) -> None:
    if start != feed.from_at and not feed.span.holds_at(start):
        detail = f"This feed holds {feed.span}. Choose an instant within, or change the feed that holds then."
        raise Conflict(detail, (Fault("/from", detail, start.isoformat()),))


def _refuse_too_much(
    work: Work, reactor_id: UUID, system_id: UUID, share: float, span: Span, *, besides: UUID | None
) -> None:
    others = queries.beside(work.session, reactor_id, span, besides=besides)
    for other in others:
        if other.system_id == system_id:
            detail = f"The reactor feeds this system then: {_named(other)}. Change that feed instead."
            raise Conflict(detail, (Fault("/system_id", detail, str(system_id)),))
    for at in [span.from_at, *(other.from_at for other in others if other.from_at > span.from_at)]:
        holding = [other for other in others if other.span.holds_at(at)]
        if share + sum(other.share for other in holding) > WHOLE:
            raise _too_much(share, holding)


def _too_much(share: float, holding: Sequence[Feed]) -> Conflict:
    left = max(0.0, 1 - sum(other.share for other in holding))
    detail = (
        f"A reactor gives away no more than all of its effluent; {left:.4g} is left beside "
        f"{', '.join(map(_named, holding))}. Send a smaller share, or change or end those first."
    )
    return Conflict(detail, (Fault("/share", detail, share),))


def _named(feed: Feed) -> str:
    return f"feed {feed.id} (share {feed.share:g} into {feed.system_id}, {feed.span})"


FEEDS = Thing(
    kept=FEED,
    singular="feed",
    plural="feeds",
    sent=FeedSent,
    patch=FeedPatch,
    read=FeedRead,
    describe=describe,
    amend=amend,
    show=queries.shown,
)
