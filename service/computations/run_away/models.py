"""What a run-away looks like: two bounds on how soon, a floor, a cut-off and its evidence, and the room."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.computations.gas_release.models import LeakRead, ReleaseRead
from service.http.shapes import Amount, Bounds, Number, Shape


class Across(Shape):
    """One number over what gas exchange with the air may be; null: never, in this model."""

    without_exchange: float | None = Field(description="Nothing leaves through the surface: the cautious one.")
    exchange_low: float | None
    exchange_high: float | None
    unit: str


class ExchangeSent(Shape):
    """The gas exchange coefficient, per hour, between two values."""

    low: Annotated[Number, Field(ge=0, le=100)]
    high: Annotated[Number, Field(ge=0, le=100)]


class ExchangeRead(Shape):
    """The coefficient of gas exchange that was taken, per hour."""

    low: float
    high: float
    unit: str
    by: str = Field(
        description="range: nobody knows it here; balance: from drip, effluent and room air; relaxation: from how pH "
        "came back; at_least: from drip and effluent against the room's air or outdoor air, a lower bound; as_asked"
    )


class StartRead(Shape):
    """The pH that the fault is taken to begin at."""

    ph: float
    by: str = Field(description="night_minimum of 30 days, lowest_reading (nobody read at night), or as_asked")
    at: datetime | None
    nights: int = Field(description="Nights with a reading from 2 to 10 o'clock by the site's clock.")
    days: int = Field(description="Days with any reading.")


class ReachedRead(Shape):
    """How soon a pH is reached: gas itself in the tank, or only what the drip carries at the chamber's pressure."""

    what: str = Field(description="ph or cut_off")
    ph: float
    gas: Amount = Field(description="What must dissolve, without exchange.")
    gas_reaches_tank: Across
    through_drip: Across | None


class WholeCylinderRead(Shape):
    """A whole cylinder let into the tank: no lower than 1 atm of carbon dioxide allows."""

    gas: Amount
    lowest_ph: float
    dissolved: Amount
    to_room: Amount


class Tested(Shape):
    """The last test of the cut-off on record."""

    at: datetime
    what: str
    findings: str | None
    performed_by: str | None
    commissioning_id: UUID | None = Field(description="The signed run that measured it; null: told in words.")
    trip_ph: float | None
    closing_time: Amount | None = Field(description="From the trip to the last bubble.")
    bubbles_stopped: bool | None


class SuggestedRead(Shape):
    """A cut-off below the system's own nights (common practice)."""

    low: float
    high: float
    night_minimum: float


class CutOffRead(Shape):
    """The tank's low-pH cut-off, which is another thing than the control of the chamber's pH."""

    ph: float | None
    set_at: datetime | None
    suggested: SuggestedRead | None
    last_test: Tested | None = Field(description="Null: no test is on record.")


class LargestFlowRead(Shape):
    """The largest flow at which, in this model, pH stays above a value when the valve shuts at the cut-off."""

    flow: Across
    stays_above_ph: float
    cut_off_ph: float
    delay: Amount
    held_gas: Amount


class TankRunAway(Shape):
    """One system that the gas may reach. Parts that the records cannot support are null."""

    system_id: UUID | None
    share: float
    starts_at: StartRead | None
    reaches: list[ReachedRead]
    drip_carries: Amount | None
    whole_cylinder: WholeCylinderRead | None
    cut_off: CutOffRead
    largest_flow: LargestFlowRead | None


class PressuresRead(Shape):
    """Absolute pressures; gas flows only while the regulator delivers more than the chamber holds."""

    delivery: Amount | None
    chamber: Amount | None


class RoomBranch(Shape):
    """What does not dissolve goes to the room. Screening numbers, never a clearance."""

    room_id: UUID | None
    rate: Amount = Field(description="The flow less what the drip carries.")
    leak: LeakRead
    whole_cylinder: ReleaseRead | None


class RunAwayRead(Answer):
    """What happens when the gas of a reactor runs away."""

    flow: Amount
    ordinary_use: Bounds | None = Field(description="What the line uses now, by weighing.")
    drip: Amount | None
    pressures: PressuresRead
    exchange: ExchangeRead
    chamber_control_ph: float | None = Field(description="The chamber's own set-point: it is no tank cut-off.")
    systems: list[TankRunAway]
    room: RoomBranch | None


class ReactorRunAwayRead(RunAwayRead):
    """The same of one reactor by its records at an instant."""

    reactor_id: UUID
    at: datetime
