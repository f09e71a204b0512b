"""What a round looks like."""

from __future__ import annotations

from datetime import date, datetime
from typing import Literal
from uuid import UUID

from pydantic import Field

from service.http.shapes import Shape


class DueRead(Shape):
    """One thing due today: a quantity that is usually read by now, or a maintenance plan."""

    kind: Literal["reading", "maintenance"]
    subject_id: UUID
    subject_name: str
    label_code: str
    quantity: str | None = Field(description="Of a reading.")
    plan_id: UUID | None = Field(description="Of a maintenance plan.")
    what: str
    due_on: date = Field(description="A day of the site; before today when it is overdue.")
    last_at: datetime | None = Field(description="When it was last read or done.")
    done: bool = Field(description="Read today already.")


class StopRead(Shape):
    """One system of the round; null where something belongs to none."""

    system_id: UUID | None
    tag: str | None
    name: str | None
    quarantine_class: str | None
    due: list[DueRead]


class RoundRead(Shape):
    """What is due on a site on one of its days: clean systems first, quarantine last; what has no system at the end."""

    site_id: UUID
    day: date
    count: int
    done: int
    stops: list[StopRead]
