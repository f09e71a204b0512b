"""A feed: which reactor's effluent goes into which system, with what share of it, from one instant to another."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field as ShapeField
from sqlmodel import Field

from service.http.shapes import Id, Number, Shape, Time
from service.resources.equipment.intervals import IntervalRow, interval_constraints
from service.resources.keeping.kept import Kept, register
from service.storage.types import Identifier

Share = Annotated[Number, ShapeField(gt=0, le=1, description="The fraction of the reactor's effluent.")]


class FeedSent(Shape):
    """A feed as described. No `to`: it still feeds."""

    reactor_id: Id
    system_id: Id
    share: Share = 1.0
    from_: Time = ShapeField(alias="from")
    to: Time | None = None


class FeedPatch(Shape):
    """What may change of a feed.

    A new `share` holds from `from` (left out, from now): the feed ends there and another continues it, named in
    `continued_by`; from the feed's own beginning it is replaced in place. `to` null: it still feeds; `to` at its
    `from`: it never did (a mistake).
    """

    share: Share | None = None
    from_: Time | None = ShapeField(default=None, alias="from")
    to: Time | None = None


class FeedRead(Shape):
    """A feed as it stands."""

    id: UUID
    version: int
    site_id: UUID
    reactor_id: UUID
    system_id: UUID
    share: float
    from_: datetime = ShapeField(alias="from")
    to: datetime | None
    continued_by: UUID | None = ShapeField(description="The feed of the same reactor and system that begins at `to`.")
    described_at: datetime


class Feed(IntervalRow, table=True):
    """The stored row."""

    __tablename__ = "feeds"
    __table_args__ = interval_constraints(
        "feeds", subjects=("reactor_id", "system_id"), one_open=("reactor_id", "system_id")
    )

    reactor_id: UUID = Field(sa_type=Identifier)
    system_id: UUID = Field(sa_type=Identifier)
    share: float


def body(row: Feed) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "reactor_id": row.reactor_id,
        "system_id": row.system_id,
        "share": row.share,
        "from": row.from_at,
        "to": row.to_at,
        "described_at": row.described_at,
    }


FEED = register(Kept("feed", Feed, body))
