"""The weekly report as JSON: what the supervisor's script pulls and the page shows."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import LeftOut, Remark, SourceRead
from service.computations.consumption.models import CourseRead
from service.computations.gas_forecast.models import InstantBounds
from service.http.shapes import Amount, Bounds, Shape


class ReportSite(Shape):
    """Whose week it is."""

    id: UUID
    tag: str
    name: str
    time_zone: str


class ReadingPoints(Shape):
    """The readings behind a course: lists of one length. `flag` is used or set_aside."""

    at: list[datetime]
    value: list[float]
    flag: list[str]


class ReportEvent(Shape):
    """Something that happened to a system or its equipment."""

    at: datetime
    kind: str
    what: str


class ReportLine(Shape):
    """One system's week: what it takes, what it gets, where it stands and where it is heading."""

    system_id: UUID
    tag: str
    name: str
    quantity: str
    unit: str
    target: Amount | None
    level: Bounds | None
    level_week_ago: Bounds | None
    consumption: Bounds | None
    consumption_week_ago: Bounds | None
    supply: Bounds | None = Field(description="What it got a day this week: what it took, plus what its level rose.")
    words: str = Field(description="One short sentence: is it in balance?")
    heading: str | None = Field(description="Where it is heading if nothing is changed, in words.")
    readings: int = Field(description="Alkalinity readings taken in the week.")
    set_aside: list[LeftOut]
    findings: list[Remark]
    missing: list[Remark]
    advice: list[Remark]
    course: CourseRead = Field(description="The level in the water over the last twelve weeks, with its band.")
    readings_course: ReadingPoints
    events: list[ReportEvent]


class GasLineWeek(Shape):
    """One gas line: what is left on it, and by when to change the cylinder."""

    gas_line_id: UUID
    tag: str
    name: str
    cylinder: str | None
    remaining: Bounds | None
    use: Bounds | None
    liquid_gone_at: InstantBounds | None
    empty_at: InstantBounds | None
    change_by: date | None
    words: str
    findings: list[Remark]
    missing: list[Remark]


class WorkDone(Shape):
    """Maintenance that was recorded in the week."""

    at: datetime
    subject: str
    kind: str
    what: str
    minutes: float | None
    by: str | None


class CorrectionMade(Shape):
    """A record that was corrected or withdrawn in the week."""

    at: datetime
    kind: str
    record_id: UUID
    action: str
    why: str | None
    by: str


class Unlogged(Shape):
    """A system whose alkalinity nobody tested all week."""

    system: str
    quantity: str
    last_at: datetime | None


class WeeklyReport(Shape):
    """A site's week."""

    site: ReportSite
    week: str
    from_: datetime = Field(alias="from")
    to: datetime
    hours: int
    at: datetime = Field(description="The instant the numbers hold for: the week's end, or now in a running week.")
    program_version: str
    audit_seq: int
    headline: list[str]
    lines: list[ReportLine]
    gas: list[GasLineWeek]
    maintenance: list[WorkDone]
    corrections: list[CorrectionMade]
    unlogged: list[Unlogged]
    findings: list[Remark]
    assumptions: list[str]
    sources: list[SourceRead]
    cautions: list[str]
