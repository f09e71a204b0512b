"""A commissioning: one run of a procedure on one subject, its evidence step by step, who signed and when."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import SecretStr, model_validator
from sqlmodel import Field

from service.http.shapes import Amount, Code, Id, Line, Note, Number, Shape, Time, UnitName
from service.resources.keeping.kept import Kept, register
from service.resources.keeping.records import RecordRead, RecordRow, record_body, record_constraints
from service.resources.records.fields import refuse_fields
from service.resources.records.procedures.models import Procedure, Step
from service.storage.types import Document, Identifier, Instant

StepState = Literal["open", "next", "to_be_signed", "done"]


class CommissioningSent(Shape):
    """A run as it begins: which procedure, on what, since when."""

    id: Id | None = None
    procedure: Code
    subject_id: Id
    started_at: Time
    started_by: Line | None = None
    note: Note | None = None


class EvidenceSent(Shape):
    """What was done at one step, and seen. Outside what the step asks for only with a `deviation`: the reason."""

    done_at: Time
    minutes: Annotated[Number, ShapeField(ge=0, le=100_000)] | None = None
    reading_ids: Annotated[list[Id], ShapeField(min_length=1, max_length=10)] | None = None
    value: Number | None = None
    unit: UnitName | None = None
    subject_id: Id | None = ShapeField(
        default=None, description="Record the value as a reading of this too; its id is then in `reading_ids`."
    )
    note: Note | None = None
    observed_by: Line | None = None
    deviation: Note | None = None


class SignatureSent(Shape):
    """A signature: the caller's own. A note may go with it.

    On a shared device somebody else, standing beside, signs by `person_id` and `pin`: in their own role on its site.
    """

    note: Note | None = None
    person_id: Id | None = None
    pin: Annotated[SecretStr, ShapeField(min_length=4, max_length=8)] | None = None

    @model_validator(mode="after")
    def _go_together(self) -> SignatureSent:
        faults = []
        if (self.person_id is None) != (self.pin is None):
            missing = "pin" if self.pin is None else "person_id"
            faults = [(missing, "A person and their PIN go together; leave both out to sign as yourself.", None)]
        refuse_fields("SignatureSent", faults)
        return self


class Signature(Shape):
    """Who signed, and when."""

    at: datetime
    by: UUID = ShapeField(description="The person or token that signed.")
    note: str | None


class TakenBack(Shape):
    """That evidence was taken back, by whom, when and why."""

    at: datetime
    by: UUID
    reason: str


class Evidence(Shape):
    """What was recorded of one step."""

    done_at: datetime
    minutes: float | None = ShapeField(description="As sent with the step.")
    minutes_since_step_before: float = ShapeField(description="From the instants: since the step before, or the start.")
    reading_ids: list[UUID]
    value: float | None
    unit: str | None
    subject_id: UUID | None = ShapeField(description="What the value was recorded as a reading of.")
    canonical: list[Amount] = ShapeField(description="Each value in its quantity's canonical unit; durations in min.")
    note: str | None
    observed_by: str | None
    deviation: str | None
    recorded_at: datetime
    recorded_by: UUID
    second: Signature | None = ShapeField(description="The second person's signature, where the step asks for it.")
    taken_back: TakenBack | None


class StepRead(Shape):
    """One step of a run: what it asks for, how it stands, its evidence, and what was taken back."""

    code: str
    title: str
    state: StepState
    asks: Step
    evidence: Evidence | None
    taken_back: list[Evidence]


class CutOffTest(Shape):
    """What a test of the low-pH cut-off found."""

    tested_at: datetime
    trip_ph: float
    closing_time: Amount
    bubbles_stopped: bool = ShapeField(description="False: the step was recorded with a deviation.")
    simulated_by: str | None = ShapeField(description="How the low pH was made: the note of the step that tripped.")


class CommissioningRead(RecordRead):
    """A run as it stands."""

    procedure: str
    title: str
    subject_id: UUID
    started_at: Time
    started_by: str | None
    note: str | None
    steps: list[StepRead]
    next_step: str | None = ShapeField(description="What is to be done or signed next; null: only the run's signature.")
    deviations: list[str] = ShapeField(description="The steps recorded with a deviation.")
    cut_off_test: CutOffTest | None
    signed: Signature | None
    completed_at: datetime | None = ShapeField(description="Of a signed run: when its last step was done.")
    cautions: list[str]


class Commissioning(RecordRow, table=True):
    """The stored row. `content` is the procedure as it stood when the run began, `evidence` in the order it came."""

    __tablename__ = "commissionings"
    __table_args__ = record_constraints("commissionings", "procedure")

    procedure: str = Field(max_length=40)
    content: Any = Field(sa_type=Document)
    evidence: Any = Field(sa_type=Document)
    signed_at: datetime | None = Field(default=None, sa_type=Instant)
    signed_by: UUID | None = Field(default=None, sa_type=Identifier)
    signed_note: str | None = None
    completed_at: datetime | None = Field(default=None, sa_type=Instant)  # of a signed run: when its last step was done
    cut_off_tested_at: datetime | None = Field(default=None, sa_type=Instant)

    @property
    def asked(self) -> Procedure:
        """The procedure that this run follows."""
        return Procedure.model_validate(self.content)


def standing(row: Commissioning, code: str) -> dict[str, Any] | None:
    """The evidence of a step that counts: recorded, and not taken back."""
    return next((each for each in row.evidence if each["code"] == code and each["taken_back"] is None), None)


def state_of(step: Step, evidence: dict[str, Any] | None) -> StepState:
    """How a step stands by itself; the first open one is the next."""
    if evidence is None:
        return "open"
    return "to_be_signed" if step.signed == "two" and evidence["second"] is None else "done"


def next_step(row: Commissioning, procedure: Procedure) -> Step | None:
    """The first step that is not done; None when all are."""
    return next((step for step in procedure.steps if state_of(step, standing(row, step.code)) != "done"), None)


def cut_off_test(row: Commissioning, procedure: Procedure) -> dict[str, Any] | None:
    """What a finished cut-off test found; None without one."""
    found = {step.result: standing(row, step.code) for step in procedure.steps if step.result is not None}
    trip, closing, stopped = (found.get(result) for result in ("trip_ph", "closing_time", "bubbles_stopped"))
    if trip is None or closing is None or stopped is None or stopped["second"] is None:
        return None
    tested_at = datetime.fromisoformat(stopped["done_at"])
    return {
        "tested_at": tested_at if row.signed_at is None else row.cut_off_tested_at,  # what is looked up is shown
        "trip_ph": trip["canonical"][0]["value"],
        "closing_time": closing["canonical"][0],
        "bubbles_stopped": stopped["deviation"] is None,
        "simulated_by": trip["note"],
    }


def body(row: Commissioning) -> dict[str, Any]:
    """A run's answer."""
    procedure = row.asked
    upcoming = next_step(row, procedure)
    return {
        "started_by": None,
        "note": None,
        **record_body(row),
        "subject_id": row.subject_id,
        "procedure": row.procedure,
        "title": procedure.title,
        "steps": [_step(row, step, is_next=step is upcoming) for step in procedure.steps],
        "next_step": None if upcoming is None else upcoming.code,
        "deviations": [
            each["code"] for each in row.evidence if each["taken_back"] is None and each["deviation"] is not None
        ],
        "cut_off_test": cut_off_test(row, procedure),
        "signed": None if row.signed_at is None else {
            "at": row.signed_at, "by": row.signed_by, "note": row.signed_note,
        },
        "completed_at": row.completed_at,
        "cautions": list(procedure.cautions),
    }  # fmt: skip


def _step(row: Commissioning, step: Step, *, is_next: bool) -> dict[str, Any]:
    evidence = standing(row, step.code)
    state = state_of(step, evidence)
    return {
        "code": step.code,
        "title": step.title,
        "state": "next" if is_next and state == "open" else state,
        "asks": step.model_dump(mode="json"),
        "evidence": None if evidence is None else _shown(evidence),
        "taken_back": [
            _shown(each) for each in row.evidence if each["code"] == step.code and each["taken_back"] is not None
        ],
    }


def _shown(evidence: dict[str, Any]) -> dict[str, Any]:
    return {"subject_id": None, **{name: value for name, value in evidence.items() if name not in {"code", "digest"}}}


COMMISSIONING = register(Kept("commissioning", Commissioning, body))
