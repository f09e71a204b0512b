"""What the consumption answers look like."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.http.shapes import Amount, Bounds, Code, Line, Number, Shape, Time, UnitName


class CourseRead(Shape):
    """A computed course with its band: lists of one length."""

    at: list[datetime]
    value: list[float]
    low: list[float]
    high: list[float]
    unit: str


class ConsumptionRead(Answer):
    """What a system consumes of a quantity at an instant. `estimate` is null when the records cannot say."""

    system_id: UUID
    quantity: str
    at: datetime
    estimate: Bounds | None = Field(
        description="What the system takes out of the water, a day; what salinity dilutes is not in it."
    )
    nitrate_share: Bounds | None = Field(
        description="Of alkalinity: how much of the estimate goes with nitrate formed (negative: is given back). Null "
        "where nitrate was read less than four times, or not for four weeks."
    )
    salinity_share: Bounds | None = Field(
        description="What dilution would have shown besides (negative: concentration), taken out of the estimate. Null "
        "where salinity is not read often enough; nothing is taken out then."
    )
    course: CourseRead = Field(description="The same over time.")
    expected: Bounds | None = Field(description="The level in the water now, as the course goes.")
    per_alkalinity: Bounds | None = Field(
        description="Of calcium: mg consumed for each meq of alkalinity, 17 to 20.04 by skeletons. Else null."
    )


class CheckSent(Shape):
    """One new reading of the system's water, before or after it is stored."""

    quantity: Code = "alkalinity"
    value: Number
    unit: UnitName
    taken_at: Time
    method: Line | None = None
    conditions: dict[Code, Number | Amount | Line] = {}
    relative_sd: Annotated[Number, Field(gt=0, lt=1)] | None = None


class CheckRead(Answer):
    """One reading against the expected course. Advisory: it never keeps a reading from being stored."""

    system_id: UUID
    quantity: str
    taken_at: datetime
    reading: Amount
    expected: Bounds | None = Field(
        description="Where 95 of 100 such readings would lie; null when nothing is expected yet."
    )
    score: float | None = Field(description="How many standard deviations the reading is off.")
    verdict: str = Field(description="as_expected, test_again, or unknown")
