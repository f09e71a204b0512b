"""A procedure: ordered steps, each with what holds it until there is evidence."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from service.http.shapes import Code, Flag, Line, Note, Number, Shape
from service.science.quantities import QUANTITIES, EntryError, canonical
from service.science.units import UnitError, convert

DURATION = "duration"  # timed by hand during the step: no quantity that is read of anything
Result = Literal["trip_ph", "closing_time", "bubbles_stopped"]


class Confirm(Shape):
    """Somebody says it is so."""

    kind: Literal["confirm"]


class Wait(Shape):
    """So many minutes since the step before."""

    kind: Literal["wait"]
    minutes: Annotated[Number, Field(gt=0, le=10_000)]


class WrittenNote(Shape):
    """Words."""

    kind: Literal["note"]


class Measured(Shape):
    """A value between bounds, perhaps above that of an earlier step; a recorded reading, or sent with the step."""

    kind: Literal["reading"]
    quantity: Code = Field(description="A code of /v1/quantities, or duration.")
    subject: list[Code] = Field(
        description="What it may be a reading of: kinds of subject. Empty: no reading, sent with the step."
    )
    low: Number
    high: Number
    unit: Line
    conditions: dict[str, str] = {}
    above: Code | None = Field(default=None, description="An earlier step whose value this one exceeds.")

    @model_validator(mode="after")
    def _can_be_met(self) -> Measured:
        if not self.low < self.high:
            raise ValueError("low lies below high")
        if self.quantity == DURATION:
            if self.subject or self.conditions or self.above:
                raise ValueError("a duration is of no subject, without conditions, above nothing")
        elif self.quantity not in QUANTITIES:
            raise ValueError(f"unknown quantity {self.quantity}")
        elif not set(self.subject) <= QUANTITIES[self.quantity].subjects:
            raise ValueError(f"{self.quantity} is read of {', '.join(sorted(QUANTITIES[self.quantity].subjects))}")
        try:
            self.canonical(self.low, self.unit), self.canonical(self.high, self.unit)
        except (EntryError, UnitError) as error:
            raise ValueError(str(error)) from error
        return self

    def canonical(self, value: float, unit: str) -> float:
        """A value as the step asks for it in the quantity's canonical unit; a duration in minutes.

        Raises EntryError or UnitError for a value or unit that cannot be.
        """
        if self.quantity == DURATION:
            return float(convert(value, unit=unit, to="min"))
        return canonical(self.quantity, value, unit, self.conditions)


class Step(Shape):
    """One step: what to do and why, what holds it, and how many people sign it."""

    code: Code
    title: Line
    do: Note
    why: Note
    caution: Note | None = None
    hold: Annotated[Confirm | Wait | Measured | WrittenNote, Field(discriminator="kind")]
    signed: Literal["one", "two"] = Field(description="two: a second person signs before the next step begins.")
    result: Result | None = Field(default=None, description="What of a cut-off test this step finds.")
    note_says: Line | None = Field(default=None, description="What a note beside the evidence is asked to tell.")


class Procedure(Shape):
    """A procedure as it is shipped."""

    code: Code
    title: Line
    purpose: Note
    subjects: list[Code] = Field(min_length=1, description="What it is done to: kinds of subject.")
    puts_in_service: Flag = Field(
        description="What was planned is commissioning while it runs, in service once signed."
    )
    cautions: list[Note] = Field(min_length=1)
    steps: list[Step] = Field(min_length=1)

    @model_validator(mode="after")
    def _hangs_together(self) -> Procedure:
        seen: dict[str, Step] = {}
        for step in self.steps:
            if step.code in seen:
                raise ValueError(f"the step {step.code} is there twice")
            if isinstance(step.hold, Measured) and step.hold.above is not None:
                earlier = seen.get(step.hold.above)
                if earlier is None or not isinstance(earlier.hold, Measured):
                    raise ValueError(f"{step.code}: {step.hold.above} is no earlier step with a reading")
            seen[step.code] = step
        results = [step.result for step in self.steps if step.result is not None]
        if results and sorted(results) != ["bubbles_stopped", "closing_time", "trip_ph"]:
            raise ValueError("a cut-off test finds trip_ph, closing_time and bubbles_stopped, each once")
        return self

    def step(self, code: str) -> Step | None:
        """The step of this code."""
        return next((step for step in self.steps if step.code == code), None)
