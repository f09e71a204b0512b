"""A plan for a system, and what its water would do."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from uuid import UUID

from pydantic import Field

from service.computations.answers import Answer
from service.computations.consumption.models import CourseRead
from service.computations.run_away.models import ExchangeRead, ExchangeSent
from service.http.shapes import Amount, Bounds, Id, Number, Shape, Time, UnitName, Whole

Factor = Annotated[Number, Field(ge=0.1, le=5, description="Of the present gas flow: 1.2 is a fifth more.")]


class ReactorPlan(Shape):
    """What is turned at a reactor. Left out stays as it is; `chamber_ph` is for one that a controller holds."""

    reactor_id: Id
    flow: Amount | None = Field(default=None, description="The new drip, all of the effluent.")
    gas_factor: Factor | None = None
    chamber_ph: Annotated[Number, Field(ge=5.5, le=8, description="NBS.")] | None = None


class LimewaterPlan(Shape):
    """So much more limewater a day than now (less: negative)."""

    volume: Amount
    strength: Amount | None = Field(default=None, description="Left out: 75 % of saturation, known to 15 %.")


class WaterChangePlan(Shape):
    """Water changed once, or every so many days from then on."""

    volume: Amount
    alkalinity: Amount
    calcium: Amount | None = Field(default=None, description="Left out, as natural seawater, known to 15 %.")
    magnesium: Amount | None = Field(default=None, description="Likewise.")
    after_days: Annotated[Number, Field(ge=0, le=60)] = 1
    every_days: Annotated[Number, Field(ge=1, le=60)] | None = None


class ProjectionSent(Shape):
    """A plan. Everything left out: the days to come with everything as it is."""

    days: Annotated[Whole, Field(ge=1, le=60)] = 14
    at: Time | None = Field(default=None, description="The instant to look ahead from; left out, now.")
    unit: UnitName | None = Field(default=None, description="Of the levels; left out, meq/L.")
    reactors: Annotated[list[ReactorPlan], Field(max_length=8)] = []
    dosing_change: Amount | None = Field(default=None, description="So much more alkalinity a day than now.")
    limewater_change: LimewaterPlan | None = None
    water_changes: Annotated[list[WaterChangePlan], Field(max_length=12)] = []
    gas_exchange: ExchangeSent | None = Field(
        default=None, description="The system's with the air, for its pH. Left out, as the records tell."
    )
    most_a_day: Amount | None = Field(
        default=None, description="The change a day that the animals are allowed; left out, 0.36 meq/L (1 dKH)."
    )
    media_magnesium_share: Annotated[Number, Field(ge=0, le=0.3)] | None = Field(
        default=None, description="Of the reactor's media, mol of magnesium a mol of carbonate; left out, 0.005."
    )
    stages: Annotated[Whole, Field(ge=1, le=20)] | None = Field(
        default=None, description="In how many, three days apart; left out, the fewest that allow no larger change."
    )
    wanted_ph: Number | None = Field(
        default=None,
        description="7.8 to 8.5 (NBS), at the hours at which pH is read: finds drip, gas and limewater by itself, "
        "where one reactor feeds one system. Needs `evaporation`.",
    )
    evaporation: Amount | None = Field(
        default=None,
        description="For `wanted_ph`: the fresh water that replaces what evaporates, such as 8 L/d, which limewater "
        "may take the place of. What limewater replaces already is not in it.",
    )
    limewater_strength: Amount | None = Field(
        default=None, description="For `wanted_ph`, as titrated; left out, 75 % of saturation."
    )


class MineralAhead(Shape):
    """Calcium or magnesium over the days to come, mg/L, a value a day."""

    course: CourseRead = Field(description="Under the plan.")
    unchanged: CourseRead = Field(description="With everything as it is.")


class ReactorAhead(Shape):
    """What a reactor would do under the plan, at rest; null where its readings fix no chamber."""

    reactor_id: UUID
    mode: str
    flow: Amount
    effluent_alkalinity: Amount | None
    chamber_ph: Number | None
    gas_factor: Number | None
    supply: Bounds | None = Field(description="To this system.")
    supply_now: Bounds | None
    gas: Bounds | None = Field(
        description="Carbon dioxide a day, by all that tells of it: chemistry, weighing, bubbles."
    )
    gas_now: Bounds | None
    media: Bounds | None = Field(description="Media dissolved a day, for all systems that it feeds.")
    media_now: Bounds | None


class ReactorStage(Shape):
    """A reactor from a stage on."""

    reactor_id: UUID
    flow: Amount
    gas_factor: Number | None = Field(description="Of the gas flow at the instant looked ahead from.")
    gas: Bounds | None
    chamber_ph: Number | None


class PlanStageRead(Shape):
    """What staff set at one stage: everything as it then stands, not what is turned since the one before."""

    day: int
    at: datetime
    share: float = Field(description="Of the whole plan.")
    reactors: list[ReactorStage]
    dosing_change: Amount = Field(description="Alkalinity dosed a day beyond now.")
    limewater_change: Amount = Field(description="Limewater a day beyond now.")


class WantedRead(Shape):
    """How limewater and reactor share the demand for the wanted pH."""

    ph: float
    drip: Amount
    limewater: Amount = Field(description="A day beyond now: the least that gas exchange within its range asks for.")
    limewater_alkalinity: Amount
    would_take: Bounds = Field(
        description="Limewater over the whole range of gas exchange, were evaporation no limit; value: at its middle."
    )
    evaporation: Amount
    limited_by: str | None = Field(
        description="evaporation; demand: limewater alone would meet it; nothing_to_bind: none is needed, or none "
        "would do; null: nothing keeps it from the wanted pH where the water breathes as slowly as it may."
    )
    reached: Bounds | None = Field(
        description="pH at rest with this, whatever gas exchange within its range; high null: it may never rest."
    )


class ProjectionRead(Answer):
    """The level over the days to come, with the plan and without; null where the records cannot tell."""

    system_id: UUID
    at: datetime
    days: int
    course: CourseRead | None = Field(description="Alkalinity under the plan, a value a day.")
    unchanged: CourseRead | None = Field(description="The same with everything as it is.")
    largest_change: Bounds | None = Field(description="The largest change in one day under the plan.")
    ph: CourseRead | None = Field(
        description="The system's pH (NBS) under the plan at the hours at which it is read, from today's on."
    )
    calcium: MineralAhead | None = Field(description="Null where the system's calcium is not read often enough.")
    magnesium: MineralAhead | None = Field(description="Likewise.")
    gas_exchange: ExchangeRead = Field(description="With the air, as taken for pH.")
    reactors: list[ReactorAhead]
    wanted: WantedRead | None = Field(description="Null without `wanted_ph`, or where the records cannot tell.")
    stages: list[PlanStageRead] = Field(
        description="What to set and when, the course being that of these; empty where nothing is turned."
    )
