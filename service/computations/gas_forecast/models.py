"""What a gas forecast looks like."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.http.shapes import Bounds, Shape


class InstantBounds(Shape):
    """An instant with its interval. A null `value` or `high`: these records give no such day, or no upper bound."""

    value: datetime | None
    low: datetime | None
    high: datetime | None
    level: float
    has_passed: bool = Field(description="Probably behind us already.")


class GasForecastRead(Answer):
    """How long the gas on a line lasts. Parts that the records cannot support are null, and `missing` says why."""

    gas_line_id: UUID | None
    cylinder_id: UUID | None = Field(description="The cylinder that is on the line at that instant.")
    at: datetime
    remaining: Bounds | None
    use: Bounds | None
    liquid_gone_at: InstantBounds | None = Field(description="From then on the pressure falls. Null at 31 C and above.")
    empty_at: InstantBounds | None
    change_by: date | None = Field(description="The day, by the site's clock, to have changed the cylinder.")
