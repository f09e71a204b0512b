"""A maintenance plan: what is to be done to something again and again, by a recurrence rule on the site's days."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import StringConstraints
from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field

from service.http.shapes import Id, Line, Note, Shape, Time
from service.resources.keeping.kept import Kept, KeptRow, register
from service.storage.subjects import on_the_same_site
from service.storage.types import Identifier, Instant

PlanKind = Literal["predetermined", "condition_based", "inspection", "calibration"]
CountsFrom = Literal["done", "calendar"]
Rule = Annotated[
    str,
    StringConstraints(min_length=1, max_length=200, strict=True),
    ShapeField(
        description="The value of an RRULE (RFC 5545), by days: DAILY, WEEKLY, MONTHLY or YEARLY; its end is `to`.",
        examples=["FREQ=MONTHLY;INTERVAL=6"],
    ),
]


class MaintenancePlanSent(Shape):
    """A maintenance plan as described. `from` is the first day it can be due, `to` the first day it no longer is.

    Both are days of the site: the day of the instant by the site's clock. `counts_from` says where the next due day is
    counted from: `done`, the day it was last done and the interval later; `calendar`, the rule's own dates.
    `procedure` says how it is done: in words, or as a code of /v1/procedures. Then a signed run of that procedure on
    the plan's subject does it; a start-up that tested the low-pH cut-off counts as its test too.
    """

    subject_id: Id
    what: Line
    kind: PlanKind
    recurrence: Rule
    counts_from: CountsFrom = "done"
    from_: Time = ShapeField(alias="from")
    to: Time | None = None
    procedure: Note | None = None


class MaintenancePlanPatch(Shape):
    """What may change of a maintenance plan; a null `to` or `procedure` takes it away."""

    what: Line | None = None
    kind: PlanKind | None = None
    recurrence: Rule | None = None
    counts_from: CountsFrom | None = None
    to: Time | None = None
    procedure: Note | None = None


class MaintenancePlanRead(Shape):
    """A maintenance plan as it stands, when it was last done and when it is due next."""

    id: UUID
    version: int
    site_id: UUID
    subject_id: UUID
    what: str
    kind: PlanKind
    recurrence: str
    counts_from: CountsFrom
    from_: datetime = ShapeField(alias="from")
    to: datetime | None
    procedure: str | None
    described_at: datetime
    last_done_at: datetime | None = ShapeField(
        description="The last event that names this plan, or names none and says the same `what` of the same subject; "
        "where its `procedure` is a code, the last signed run too: when its last step was done."
    )
    next_due_on: date | None = ShapeField(description="A day of the site; null once the plan or its subject has ended.")
    overdue_days: int | None = ShapeField(description="Days of the site since it was due; 0 while it is not overdue.")


class MaintenancePlan(KeptRow, table=True):
    """The stored row. Instants are UTC, so that a row and its digest agree."""

    __tablename__ = "maintenance_plans"
    __table_args__ = (
        CheckConstraint("to_at IS NULL OR to_at >= from_at", name="ends_after_it_begins"),
        on_the_same_site("subject_id"),
        Index("ix_maintenance_plans_subject_id", "subject_id"),
        Index("ix_maintenance_plans_site_id", "site_id"),
    )

    site_id: UUID = Field(sa_type=Identifier)
    subject_id: UUID = Field(sa_type=Identifier)
    what: str = Field(max_length=200)
    kind: str = Field(max_length=16)
    recurrence: str = Field(max_length=200)
    counts_from: str = Field(max_length=16)
    from_at: datetime = Field(sa_type=Instant)
    to_at: datetime | None = Field(default=None, sa_type=Instant)
    procedure: str | None = None
    described_at: datetime = Field(sa_type=Instant)


def body(row: MaintenancePlan) -> dict[str, Any]:
    """What the row itself says."""
    return {
        "id": row.id,
        "version": row.version,
        "site_id": row.site_id,
        "subject_id": row.subject_id,
        "what": row.what,
        "kind": row.kind,
        "recurrence": row.recurrence,
        "counts_from": row.counts_from,
        "from": row.from_at,
        "to": row.to_at,
        "procedure": row.procedure,
        "described_at": row.described_at,
    }


MAINTENANCE_PLAN = register(Kept("maintenance_plan", MaintenancePlan, body))
