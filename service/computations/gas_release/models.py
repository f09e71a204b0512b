"""What a release of gas into a room looks like. Screening numbers: none of them is a clearance."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.http.shapes import Amount, Shape
from service.resources.places.sites.exposure_limits import ExposureLimit


class LimitReached(Shape):
    """How a concentration compares with one exposure limit."""

    name: str
    ratio: float = Field(description="The concentration over the limit. Below 1 is no clearance.")


class ReleaseRead(Shape):
    """A mass of gas let into the closed room at once; null parts wait for the room's free volume."""

    what: str = Field(description="largest_cylinder, all_cylinders or as_asked")
    gas: Amount
    gas_volume: Amount
    simple: Amount | None = Field(description="C0 + v/V: the gas on top of the air.")
    displaced: Amount | None = Field(description="1 - (1 - C0) exp(-v/V): the gas pushes air out.")
    screening: Amount | None = Field(description="The larger of the two, mixed through the room.")
    pooled: Amount | None = Field(description="All of it in the lowest half metre.")
    oxygen: Amount | None = Field(description="What an oxygen meter would read at the screening value.")
    over_limits: list[LimitReached]


class LeakRead(Shape):
    """A lasting leak into the room with its air changes; null parts wait for the room's free volume."""

    rate: Amount
    hours: float
    after: Amount | None = Field(description="After these hours: C0 + G/(n V) (1 - exp(-n t)).")
    steady: Amount | None = Field(description="In the end; null without air changes: it has no end.")
    over_limits: list[LimitReached]


class AirRead(Shape):
    """The room's air as it was taken."""

    free_volume: Amount | None
    lower_half_metre: Amount | None
    air_changes_per_hour: float | None
    below_ground: bool
    temperature: Amount
    supply_air: Amount


class GasReleaseRead(Answer):
    """What carbon dioxide let into a room comes to, beside the exposure limits that hold there. Never a clearance."""

    air: AirRead
    releases: list[ReleaseRead]
    leak: LeakRead
    limits: list[ExposureLimit]


class CylinderInRoom(Shape):
    """A cylinder that stands in the room, by what, and what it holds when full."""

    equipment_id: UUID
    tag: str
    gas: Amount | None
    placed_by: str = Field(description="room, installation or gas_line: what says that it stands here")


class RoomGasReleaseRead(GasReleaseRead):
    """The same for a room by its records."""

    room_id: UUID
    at: datetime
    cylinders: list[CylinderInRoom]
    monitors: list[str] = Field(description="Tags of the carbon dioxide monitors in the room.")
