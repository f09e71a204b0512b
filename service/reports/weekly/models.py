"""The weekly report as JSON: what the supervisor's script pulls and the page shows."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import LeftOut, Remark, SourceRead
from service.computations.consumption.models import CourseRead
from service.computations.gas_forecast.models import InstantBounds
from service.computations.output_balance.models import SettlesAtRead
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


class DemandChange(Shape):
    """That a system takes more or less than so many weeks ago, and what was recorded about its stock since."""

    weeks: int
    change: Bounds = Field(description="Never an interval that holds 0: such a change is not told.")
    words: str
    events: list[ReportEvent] = Field(description="Changes of its stock since, and in the week before.")


class IonLevel(Shape):
    """Calcium or magnesium of a system: what its readings say beside alkalinity."""

    quantity: str
    level: Bounds | None
    consumption: Bounds | None = Field(description="Net of what a reactor adds of it.")
    target: Amount | None
    readings: int = Field(description="Taken in the week.")
    last_at: datetime | None


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
    demand_changes: list[DemandChange] = Field(description="Against a week and four weeks ago.")
    ions: list[IonLevel] = Field(description="Calcium and magnesium, where they were ever read.")


class GasLineWeek(Shape):
    """One gas line: what is left on it, and by when to change the cylinder."""

    gas_line_id: UUID
    tag: str
    name: str
    cylinder: str | None
    charge_kg: float | None = Field(description="Of a full cylinder like the one on the line, kg of CO2.")
    remaining: Bounds | None
    use: Bounds | None
    liquid_gone_at: InstantBounds | None
    empty_at: InstantBounds | None
    change_by: date | None
    words: str
    findings: list[Remark]
    missing: list[Remark]


class FedSystem(Shape):
    """What a reactor brings one system, over all that the system uses, and where that leads."""

    system_id: UUID
    name: str
    supply_over_demand: Bounds | None
    settles_at: SettlesAtRead | None


class MediaLevel(Shape):
    """The last media level that somebody read on a reactor."""

    value: float
    unit: str
    at: datetime


class ReactorWeek(Shape):
    """One reactor: what comes out of it, for how much of the demand, its gas and media, and what to do first."""

    reactor_id: UUID
    tag: str
    name: str
    flow: Bounds | None
    alkalinity: Bounds | None
    ph: Bounds | None
    systems: list[FedSystem]
    gas_use: Bounds | None
    gas_use_by: str | None = Field(description="weighing, several (together), or chemistry: how gas_use is known.")
    gas_finding: Remark | None
    media_left: Bounds | None = Field(description="By what was filled and what it has brought.")
    media_filled: Bounds | None
    media_refill_by: date | None
    media_level: MediaLevel | None = Field(description="As last looked at.")
    words: str
    settles: str = Field(description="Where its systems come to rest, in words.")
    findings: list[Remark]
    missing: list[Remark]
    advice: list[Remark]
    cautions: list[str]


class PlanDue(Shape):
    """A maintenance plan that is overdue, or due in the seven days to come."""

    plan_id: UUID
    subject_id: UUID
    subject: str
    what: str
    kind: str
    last_done_at: datetime | None
    next_due_on: date
    overdue_days: int
    words: str
    procedure: str | None


class Told(Remark):
    """A finding of anything on the site, with the name of what it is about."""

    subject: str | None = None


class ToDo(Told):
    """One thing to do, in one sentence."""

    by: date | None = None


class ToOrder(Shape):
    """Something to have at hand, for what, and by when."""

    what: str
    needed_for: str
    by: date | None
    detail: str


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
    to_do: list[ToDo] = Field(description="The most pressing first.")
    to_order: list[ToOrder]
    reactors: list[ReactorWeek]
    gas: list[GasLineWeek]
    due: list[PlanDue] = Field(description="Overdue and due in the seven days to come, the longest overdue first.")
    maintenance: list[WorkDone]
    corrections: list[CorrectionMade]
    unlogged: list[Unlogged]
    findings: list[Told]
    assumptions: list[str]
    sources: list[SourceRead]
    cautions: list[str]
