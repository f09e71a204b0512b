"""POST /v1/calculations/gas-release: a mass of gas, or a leak, let into a room, without records."""

from __future__ import annotations

from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.gas_release.answer import answered
from service.computations.gas_release.models import GasReleaseRead
from service.computations.gas_release.situation import (
    USUAL_LEAK_G_H,
    USUAL_LEAK_HOURS,
    USUAL_ROOM_C,
    Air,
    Leak,
    Released,
    Situation,
)
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Flag, Number, Shape, UnitName
from service.resources.keeping.amounts import amount_in, refused
from service.resources.places.sites.exposure_limits import ExposureLimit, limits_of
from service.science.room import OUTDOOR_PPM

router = APIRouter()


class Masses(Shape):
    """A mass or several, and their unit."""

    value: Number | Annotated[list[Number], Field(min_length=1, max_length=200)]
    unit: UnitName


class GasReleaseSent(Shape):
    """A room and the gas that may get out. `gas_mass` may be a list: a release each."""

    free_volume: Amount = Field(description="Of the room, without what stands in it.")
    gas_mass: Masses
    height: Amount | None = None
    air_changes_per_hour: Annotated[Number, Field(ge=0, le=1000)] | None = None
    below_ground: Flag = False
    temperature: Annotated[Number, Field(ge=-20, le=50)] = USUAL_ROOM_C
    supply_air: Amount = Amount(value=OUTDOOR_PPM, unit="ppm")
    leak_rate: Amount = Amount(value=USUAL_LEAK_G_H, unit="g/h")
    leak_hours: Annotated[Number, Field(gt=0, le=1000)] = USUAL_LEAK_HOURS
    exposure_limits: Annotated[list[ExposureLimit], Field(min_length=1, max_length=20)] | None = None


@router.post("/gas-release", response_model=GasReleaseRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_gas_release(sent: GasReleaseSent, door: DoorOf) -> Any:
    """What carbon dioxide let into a room comes to. Screening numbers, never a clearance."""
    door.require()
    air = Air(
        free_volume_m3=amount_in(sent.free_volume, "m3", pointer="/free_volume", above=0),
        height_m=None if sent.height is None else amount_in(sent.height, "m", pointer="/height", above=0),
        air_changes_per_hour=sent.air_changes_per_hour,
        below_ground=sent.below_ground,
        temperature_c=sent.temperature,
        supply_ppm=_supply_ppm(sent.supply_air),
    )
    leak = Leak(amount_in(sent.leak_rate, "g/h", pointer="/leak_rate", above=0), sent.leak_hours)
    limits = (
        limits_of(None) if sent.exposure_limits is None else sorted(sent.exposure_limits, key=lambda each: each.ppm)
    )
    answer = answered(Situation(air, _released(sent.gas_mass), leak, limits))
    return {**answer, "used": {}, "set_aside": []}


def _supply_ppm(sent: Amount) -> float:
    ppm = amount_in(sent, "ppm", pointer="/supply_air", least=0)
    if ppm >= 1e6:
        raise refused("/supply_air/value", "Less than all of the air is expected.", sent.value)
    return ppm


def _released(gas_mass: Masses) -> list[Released]:
    """One release a mass, in the order sent."""
    masses = np.atleast_1d(np.asarray(gas_mass.value, dtype=np.float64))
    return [
        Released(
            "as_asked", amount_in(Amount(value=float(mass), unit=gas_mass.unit), "kg", pointer="/gas_mass", above=0)
        )
        for mass in masses
    ]
