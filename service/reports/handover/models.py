"""The shape of what changed since the last handover."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from uuid import UUID

from pydantic import Field

from service.http.shapes import Amount, Shape

LineKind = Literal[
    "reading",
    "addition",
    "maintenance",
    "set_point",
    "stock",
    "swap",
    "commissioning",
    "corrected",
    "withdrawn",
    "finding",
]
Reason = Literal["unusual", "far_from_usual", "set_aside"]


class Usual(Shape):
    """Where nine tenths of the readings of the 90 days before lay."""

    low: float
    high: float
    unit: str


class HandoverLine(Shape):
    """One thing that changed."""

    kind: LineKind
    record_id: UUID | None = Field(description="The record; null for what the service found itself.")
    subject_id: UUID | None
    subject: str | None = Field(description="Its name.")
    at: datetime | None = Field(description="When it was done or measured; of a correction, when it was corrected.")
    by: str | None = Field(description="Who sent it.")
    what: str = Field(description="Words of whoever recorded it, a code (quantity, kind, procedure), or the finding.")
    amounts: list[Amount] = Field(description="What was read, set, added or counted, as entered.")
    before: Amount | None = Field(description="What stood before a set-point or a correction, as entered.")
    why: str | None = Field(description="The reason given, or why a reading was set aside.")
    shown_for: list[Reason] = Field(description="Why this reading is here, when most are not.")
    usual: Usual | None


class HandoverStop(Shape):
    """The lines of one system; `system_id` null for what belongs to none."""

    system_id: UUID | None
    tag: str | None
    name: str | None
    quarantine_class: str | None
    lines: list[HandoverLine]


class HandoverNote(Shape):
    """A handover that nobody took note of yet."""

    id: UUID
    subject_id: UUID | None
    subject: str | None
    text: str
    written_at: datetime
    by: str
    shift: str | None


class HandoverMark(Shape):
    """Where the list begins: the last handover that somebody took note of."""

    handover_id: UUID
    by: str
    at: datetime


class HandoverReport(Shape):
    """What changed on a site since the last handover that somebody took note of, by system in walking order."""

    site_id: UUID
    since: datetime
    mark: HandoverMark | None = Field(description="Null when nobody took note of any lately: then it is the last day.")
    at: datetime
    notes: list[HandoverNote] = Field(description="What waits to be taken note of, the oldest first.")
    stops: list[HandoverStop]
    readings: int = Field(description="Readings that came since, most of them as usual and not listed.")
    left_out: int = Field(description="Changes beyond the newest 2000, not listed.")
