"""A maintenance event: what was done to something, why, with which parts, in how long, and what was found."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import model_validator
from sqlalchemy import ForeignKeyConstraint, Index
from sqlmodel import Field

from service.http.shapes import Amount, Code, Id, Line, Note, Number, Shape, Time, Whole
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.fields import refuse_fields
from service.storage.types import Document, Identifier

MaintenanceKind = Literal["predetermined", "condition_based", "corrective", "inspection", "calibration"]
Minutes = Annotated[Number, ShapeField(ge=0, le=7 * 24 * 60, description="Working time.")]
ReadingIds = Annotated[list[Id], ShapeField(max_length=50)]


class Part(Shape):
    """A part that was fitted, and how many of it."""

    name: Line
    count: Annotated[Whole, ShapeField(ge=1, le=100_000)] = 1


class Consumable(Shape):
    """Something used up, and how much of it."""

    name: Line
    amount: Amount | None = None


class Calibration(Shape):
    """What a calibration found and left: the sensor's line, the buffers, and one value before and after.

    Units are the instrument's own (mV, % of the ideal slope, pH) and are kept as entered.
    """

    slope: Amount | None = None
    offset: Amount | None = None
    buffers: Annotated[list[Amount], ShapeField(max_length=10)] = []
    before: Amount | None = None
    after: Amount | None = None


class MaintenanceEventSent(Shape):
    """A maintenance event as sent; its kinds are those of EN 13306, and `inspection` and `calibration`.

    `restores` names the quantities that are as new afterwards: a cleaned drip line restores `effluent_flow`.
    `readings_before` and `readings_after` name readings that were taken for it. `calibration` belongs to a calibration.
    `plan_id` names the maintenance plan of the same subject that it was done for. An event that names none counts for
    every plan of its subject whose `what` it repeats, letter case and spacing aside.
    """

    id: Id | None = None
    subject_id: Id
    plan_id: Id | None = None
    kind: MaintenanceKind
    performed_at: Time
    what: Note
    parts: Annotated[list[Part], ShapeField(max_length=100)] = []
    consumables: Annotated[list[Consumable], ShapeField(max_length=100)] = []
    minutes: Minutes | None = None
    findings: Note | None = None
    performed_by: Line | None = None
    calibration: Calibration | None = None
    restores: Annotated[list[Code], ShapeField(max_length=20)] = []
    readings_before: ReadingIds = []
    readings_after: ReadingIds = []
    note: Note | None = None

    @model_validator(mode="after")
    def _calibration_belongs(self) -> MaintenanceEventSent:
        faults = []
        if self.calibration is not None and self.kind != "calibration":
            words = self.kind.replace("_", " ")
            expected = f"Only an event of kind calibration has one; this is {words}. Leave it out, or change the kind."
            faults = [("calibration", expected, self.calibration.model_dump(exclude_none=True))]
        refuse_fields("MaintenanceEventSent", faults)
        return self


class MaintenanceEventRead(RecordRead):
    """A maintenance event as it stands."""

    subject_id: UUID
    plan_id: UUID | None
    kind: str
    performed_at: Time
    what: str
    parts: list[Part]
    consumables: list[Consumable]
    minutes: float | None
    findings: str | None
    performed_by: str | None
    calibration: Calibration | None
    restores: list[str]
    readings_before: list[UUID]
    readings_after: list[UUID]
    note: str | None


class MaintenanceEvent(RecordRow, table=True):
    """The stored row; `what_key` is its `what` as plans compare it. The rest stands as entered."""

    __tablename__ = "maintenance_events"
    __table_args__ = (
        *record_constraints("maintenance_events", "kind"),
        Index("ix_maintenance_events_plan_id_at", "plan_id", "at"),
        ForeignKeyConstraint(["plan_id"], ["maintenance_plans.id"]),
    )

    kind: str = Field(max_length=16)
    plan_id: UUID | None = Field(default=None, sa_type=Identifier)
    what_key: str
    restores: Any = Field(sa_type=Document)


def what_key(what: str) -> str:
    """What a plan compares of what was done: the words, whatever their letter case and spacing."""
    return " ".join(what.casefold().split())


def body(row: MaintenanceEvent) -> dict[str, Any]:
    """A maintenance event's answer."""
    return {
        "parts": [],
        "consumables": [],
        "minutes": None,
        "findings": None,
        "performed_by": None,
        "calibration": None,
        "readings_before": [],
        "readings_after": [],
        "note": None,
        **record_body(row),
        "subject_id": row.subject_id,
        "plan_id": row.plan_id,
        "kind": row.kind,
        "restores": row.restores,
    }


MAINTENANCE_EVENT = register(Kept("maintenance_event", MaintenanceEvent, body))
