"""What a media forecast looks like."""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.computations.gas_forecast.models import InstantBounds
from service.http.shapes import Bounds, Shape


class FillRead(Shape):
    """Media that went in."""

    at: datetime
    mass: Bounds
    replaces: bool


class MediaForecastRead(Answer):
    """What is left of a reactor's media, by what it has brought. What the records cannot tell is null."""

    reactor_id: UUID
    at: datetime
    fills: list[FillRead] = Field(description="Since the reactor was last emptied, or since the first one recorded.")
    filled: Bounds | None
    dissolved: Bounds | None
    left: Bounds | None
    use: Bounds | None = Field(description="Media dissolving a day at present.")
    refill_at: InstantBounds | None = Field(description="When what is left reaches the part at which to refill.")
    refill_by: date | None = Field(description="The early end of that, as a day of the site.")
