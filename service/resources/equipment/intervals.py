"""Facts that hold from one instant to another, half-open: [from, to), with no end while they still hold.

An interval that ends where it begins never held: that is how one entered by mistake is undone without vanishing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import CheckConstraint, ForeignKeyConstraint, Index, text
from sqlmodel import Field, Session, col, select

from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import KeptRow
from service.resources.places.sites.models import Site
from service.storage.types import Identifier, Instant

AHEAD_AT_MOST = timedelta(minutes=5)  # a phone's clock may be that wrong
OPEN = text("to_at IS NULL")


@dataclass(frozen=True)
class Span:
    """From an instant (included) to another (not included); `to_at` None means: still."""

    from_at: datetime
    to_at: datetime | None = None

    @property
    def is_empty(self) -> bool:
        """Whether it holds at no instant at all."""
        return self.to_at is not None and self.to_at <= self.from_at

    def holds_at(self, at: datetime) -> bool:
        """Whether it holds at an instant."""
        return self.from_at <= at and (self.to_at is None or at < self.to_at)

    def shared_with(self, other: Span) -> Span:
        """The part that both hold; empty when there is none."""
        ends = [end for end in (self.to_at, other.to_at) if end is not None]
        return Span(max(self.from_at, other.from_at), min(ends) if ends else None)

    def __str__(self) -> str:
        until = "with no end" if self.to_at is None else f"to {self.to_at.isoformat()}"
        return f"from {self.from_at.isoformat()} {until}"


class IntervalRow(KeptRow):
    """The columns of a kept row that holds for a time. Instants are UTC, so that a row and its digest agree."""

    site_id: UUID = Field(sa_type=Identifier)
    from_at: datetime = Field(sa_type=Instant)
    to_at: datetime | None = Field(default=None, sa_type=Instant)
    described_at: datetime = Field(sa_type=Instant)

    @property
    def span(self) -> Span:
        """When it holds."""
        return Span(self.from_at, self.to_at)


def interval_constraints(table: str, *, subjects: tuple[str, ...], one_open: tuple[str, ...]) -> tuple[Any, ...]:
    """A table's constraints: its subjects on its own site, a sane end, one open interval for `one_open` columns."""
    return (
        CheckConstraint("to_at IS NULL OR to_at >= from_at", name="ends_after_it_begins"),
        *(
            ForeignKeyConstraint(
                ["site_id", column], ["subjects.site_id", "subjects.id"], name=f"fk_{table}_{column}_subjects"
            )
            for column in subjects
        ),
        *(Index(f"ix_{table}_{column}", column) for column in subjects),
        Index(f"ix_{table}_site_id", "site_id"),
        Index(f"uq_{table}_open", *one_open, unique=True, sqlite_where=OPEN, postgresql_where=OPEN),
    )


def span_sent(start: datetime, end: datetime | None, *, may_be_empty: bool = False) -> Span:
    """The interval that was sent, in UTC. Raises Unacceptable when it ends before (or, on describing, as) it begins."""
    span = Span(start.astimezone(UTC), None if end is None else end.astimezone(UTC))
    if span.to_at is not None and (span.to_at < span.from_at or (span.is_empty and not may_be_empty)):
        raise refused("/to", f"An end after the beginning, {span.from_at.isoformat()}, is expected.", end)
    return span


def refuse_ahead(at: datetime, now: datetime, *, pointer: str) -> None:
    """Raise Unacceptable for an instant that has not come yet."""
    if at > now + AHEAD_AT_MOST:
        raise refused(pointer, "This lies ahead of the service's clock. Check the time and the offset.", at.isoformat())


def lasting(table: Any) -> Any:
    """The condition that a row's interval is not empty."""
    return col(table.to_at).is_(None) | (col(table.to_at) > col(table.from_at))


def overlapping(table: Any, span: Span) -> list[Any]:
    """The conditions that a row's interval shares an instant with a (non-empty) span."""
    begins_in_time = [] if span.to_at is None else [col(table.from_at) < span.to_at]
    ends_late_enough = col(table.to_at).is_(None) | (col(table.to_at) > span.from_at)
    return [*begins_in_time, ends_late_enough, lasting(table)]


def take_turns(session: Session, site_id: UUID) -> None:
    """Let those who change intervals of one site do so one after another: what was checked stays true until stored."""
    session.exec(select(Site.id).where(Site.id == site_id).with_for_update(key_share=True)).one()
