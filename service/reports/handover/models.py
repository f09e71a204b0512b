"""The shape of what changed since somebody last took a site over."""

from __future__ import annotations

from datetime import date, datetime
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
    "gone",
]
Reason = Literal["unusual", "far_from_usual", "set_aside"]


class Usual(Shape):
    """Where nine tenths of the readings of the 90 days before lay."""

    low: float
    high: float
    unit: str


class HandoverLine(Shape):
    """One thing that changed."""

    kind: LineKind = Field(description="`finding`: the service finds it now and did not then; `gone`: the reverse.")
    code: str | None = Field(description="Of a finding.")
    presses: int = Field(description="0 danger, 1 animals, 2 gas and figures out of the usual, 3 changed, 4 ordinary.")
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
    photo_ids: list[UUID] = Field(description="Its photos, the oldest first.")


class HandoverStop(Shape):
    """The lines of one system; `system_id` null for what belongs to none."""

    system_id: UUID | None
    tag: str | None
    name: str | None
    quarantine_class: str | None
    lines: list[HandoverLine]


class HandoverNote(Shape):
    """A handover that nobody took note of yet, or that came since the mark."""

    id: UUID
    subject_id: UUID | None
    subject: str | None
    text: str
    written_at: datetime
    by: str
    shift: str | None
    acknowledged_at: datetime | None
    acknowledged_by: str | None = Field(description="Who took note of it first.")
    photo_ids: list[UUID] = Field(description="Its photos, the oldest first.")


class HandoverMark(Shape):
    """Who took the site over, and when."""

    takeover_id: UUID
    by: str
    at: datetime


class HandoverTask(Shape):
    """Work that waits, whoever is on shift: a plan overdue, or a cylinder to be changed soon."""

    code: Literal["overdue", "change_cylinder"]
    detail: str
    subject_id: UUID | None
    subject: str | None
    by: date | None
    is_new: bool = Field(description="Not so at the mark.")


class HandoverReport(Shape):
    """What changed on a site since somebody last took it over, by system in walking order."""

    site_id: UUID
    since: datetime
    mark: HandoverMark | None = Field(
        description="Where the list begins. Null with `since`, or when nobody took over lately (then a day ago)."
    )
    beside: list[HandoverMark] = Field(description="Others who took over within three hours; the list is as long.")
    at: datetime
    read_to: int = Field(description="How far the list goes; a takeover sends it back with `at`.")
    notes: list[HandoverNote] = Field(description="The oldest first.")
    waiting: list[HandoverTask] = Field(description="What became so since the mark first.")
    stops: list[HandoverStop]
    readings: int = Field(description="Readings that came since, most of them as usual and not listed.")
    left_out: int = Field(description="Changes beyond the newest 2000, not listed.")
