"""POST /v1/calculations/output-balance: a reactor's balance from what is sent, without records."""

from __future__ import annotations

import math
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import remark
from service.computations.calculations.tank_water import ElectrodePh
from service.computations.output_balance.answer import answered
from service.computations.output_balance.lacks import missing
from service.computations.output_balance.models import BalanceRead
from service.computations.output_balance.numbers import Number as Known
from service.computations.output_balance.outflow import mol_kg
from service.computations.output_balance.situation import Chamber, Fed, Gas, Others, Situation
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Number, Shape, UnitName
from service.resources.keeping.amounts import amount_in, refused
from service.science.chamber import chambers_in_series
from service.science.chamber_uncertainty import CHAMBER_PH_SD, TANK_PH_SD, TITRATION_RELATIVE_SD
from service.science.reactor_output import Mode, required_drip_l_d, required_effluent_meq_l

router = APIRouter()

RELATIVE_SD = {"flow": 0.10, "demand": 0.10, "other_supply": 0.05, "weighed": 0.05}
"""Of what was sent bare (common practice); say otherwise with relative_sd."""
MODES = {"constant_gas": Mode.GAS_LIMITED, "controlled_ph": Mode.PH_CONTROLLED}


class Measured(Shape):
    """A number with its unit and, if known, its relative standard deviation."""

    value: Number
    unit: UnitName
    relative_sd: Annotated[Number, Field(gt=0, lt=1)] | None = None


class PhMeasured(Shape):
    """A pH read in NBS buffers, and its standard deviation, if known."""

    value: ElectrodePh
    sd: Annotated[Number, Field(gt=0, le=2)] | None = None


Celsius = Annotated[Number, Field(ge=0, le=40)]


class OutletSent(Shape):
    """What comes out of the last chamber."""

    alkalinity: Measured
    flow: Measured | None = None
    ph: PhMeasured | None = None
    temperature: Celsius | None = Field(default=None, description="At which its pH was read; else the tank's.")


class TankWaterSent(Shape):
    """The water that the reactor draws and feeds."""

    alkalinity: Measured
    ph: PhMeasured | None = None
    temperature: Celsius = 25.0
    salinity: Annotated[Number, Field(ge=5, le=45)] = 35.0
    boron_factor: Annotated[Number, Field(gt=0, le=20)] = 1.0
    water_volume: Amount | None = None


class StageSent(Shape):
    """The water between two chambers in series."""

    alkalinity: Amount
    ph: ElectrodePh
    temperature: Celsius | None = None


class OutputBalanceSent(Shape):
    """Tank and effluent; with a demand also where it leads, with weighed gas also the check."""

    effluent: OutletSent
    tank: TankWaterSent
    demand: Measured | None = Field(default=None, description="All that the system takes: meq/d, or a rate by volume.")
    other_supply: Measured | None = Field(default=None, description="What dosing and the like bring, as demand.")
    target_alkalinity: Amount | None = Field(default=None, description="Left out, the tank's own.")
    mode: Literal["constant_gas", "controlled_ph"] = "constant_gas"
    gas_weighed: Measured | None = Field(default=None, description="What the cylinder loses, such as 20 g/d.")
    between_chambers: Annotated[list[StageSent], Field(max_length=5)] = []


class ChamberRead(Shape):
    """One chamber's part, mmol a kilogram of water; `use_fraction` null where it took up no gas."""

    dissolved: Amount
    added: Amount
    use_fraction: float | None
    omega_aragonite: float


class RequiredRead(Shape):
    """What meets the demand at the target: this drip with the effluent as it is, or this effluent at the drip."""

    flow: Amount | None = Field(description="Null where the effluent is not above the target: no drip does.")
    effluent_alkalinity: Amount | None


class OutputBalanceCalculated(BalanceRead):
    """The balance, what would meet the demand, and each chamber's part."""

    required: RequiredRead
    chambers: list[ChamberRead]


@router.post("/output-balance", response_model=OutputBalanceCalculated, responses=may_refuse(Unacceptable, TooLarge))
def calculate_output_balance(sent: OutputBalanceSent, door: DoorOf) -> Any:
    """What a reactor delivers, and what its gas does, from tank and effluent."""
    door.require()
    situation = _situation(sent)
    answer = answered(situation)
    unsaid = () if sent.demand is not None else ("demand",)
    return {
        **answer,
        "used": {},
        "set_aside": [],
        "missing": [
            remark(each["code"], f"Send {SEND[each['code']]}: without it what needs it is null.")
            for each in missing(situation, {})
            if each["code"] in SEND and each["code"] not in unsaid
        ],
        "assumptions": [*answer["assumptions"], *ASSUMED],
        "required": _required(sent, situation),
        "chambers": _chambers(sent),
    }


SEND = {
    "effluent_flow": "effluent.flow",
    "effluent_ph": "effluent.ph",
    "ph": "tank.ph",
    "water_volume": "tank.water_volume",
}
ASSUMED = (
    "Where no error was sent: a drip, a demand 10 %, alkalinities 3 %, weighed gas and other supply 5 %, pH 0.10 in "
    "the "
    "chamber and 0.05 in the tank, one sd (common practice).",
)


def _situation(sent: OutputBalanceSent) -> Situation:
    effluent, tank = sent.effluent, sent.tank
    volume = None if tank.water_volume is None else amount_in(
        tank.water_volume, "L", pointer="/tank/water_volume", above=0
    )  # fmt: skip
    fed = Fed(
        share=1.0,
        system_id=None,
        alkalinity=_alkalinity(tank.alkalinity, "/tank/alkalinity"),
        ph=None if tank.ph is None else Known(tank.ph.value, tank.ph.sd or TANK_PH_SD),
        temperature_c=tank.temperature,
        salinity=tank.salinity,
        boron_factor=tank.boron_factor,
        volume_l=volume,
        demand=_daily(sent.demand, volume, "demand"),
        others=Others(supply=_daily(sent.other_supply, volume, "other_supply") or Known(0.0, 0.0)),
    )
    chamber = Chamber(
        flow=_measured(effluent.flow, "L/d", "/effluent/flow", RELATIVE_SD["flow"]),
        alkalinity=_alkalinity(effluent.alkalinity, "/effluent/alkalinity"),
        ph=None if effluent.ph is None else Known(effluent.ph.value, effluent.ph.sd or CHAMBER_PH_SD),
        temperature_c=effluent.temperature,
    )
    weighed = _measured(sent.gas_weighed, "g/d", "/gas_weighed", RELATIVE_SD["weighed"])
    return Situation(chamber=chamber, fed=(fed,), gas=Gas(by_weighing=weighed), mode=MODES[sent.mode])


def _alkalinity(sent: Measured, pointer: str) -> Known:
    found = _measured(sent, "meq/L", pointer, TITRATION_RELATIVE_SD)
    assert found is not None
    if found.value == 0:
        raise refused(f"{pointer}/value", "More than 0 is expected.", sent.value)
    return found


def _measured(sent: Measured | None, unit: str, pointer: str, usual: float) -> Known | None:
    if sent is None:
        return None
    value = amount_in(Amount(value=sent.value, unit=sent.unit), unit, pointer=pointer, least=0.0)
    return Known(value, value * (sent.relative_sd or usual))


def _daily(sent: Measured | None, volume_l: float | None, name: str) -> Known | None:
    """An amount a day, meq/d; a rate by volume needs the volume."""
    if sent is None:
        return None
    usual = RELATIVE_SD[name]
    if sent.unit == "meq/d":
        if sent.value < 0:
            raise refused(f"/{name}/value", "At least 0 meq/d is expected.", sent.value)
        return Known(sent.value, sent.value * (sent.relative_sd or usual))
    found = _measured(sent, "meq/L/d", f"/{name}", usual)
    if volume_l is None:
        raise refused("/tank/water_volume", f"A {name} by volume needs the water volume; or send it in meq/d.")
    return None if found is None else found.times(volume_l)


def _required(sent: OutputBalanceSent, situation: Situation) -> dict[str, Any]:
    """Drip and effluent that meet the demand at the target."""
    fed, chamber = situation.fed[0], situation.chamber
    target = None if fed.alkalinity is None else fed.alkalinity.value
    if sent.target_alkalinity is not None:
        target = amount_in(sent.target_alkalinity, "meq/L", pointer="/target_alkalinity", above=0)
    if fed.demand is None or fed.others is None or target is None or chamber.alkalinity is None:
        return {"flow": None, "effluent_alkalinity": None}
    asked = {
        "demand_meq_d": fed.demand.value,
        "target_alkalinity_meq_l": target,
        "other_supply_meq_d": fed.others.supply.value,
    }
    drip = float(required_drip_l_d(effluent_alkalinity_meq_l=chamber.alkalinity.value, **asked))
    effluent = (
        math.nan if chamber.flow is None else float(required_effluent_meq_l(drip_l_d=chamber.flow.value, **asked))
    )
    return {"flow": _amount(max(drip, 0.0), "L/d"), "effluent_alkalinity": _amount(effluent, "meq/L")}


def _amount(value: float, unit: str) -> dict[str, Any] | None:
    return {"value": value, "unit": unit} if math.isfinite(value) else None


def _chambers(sent: OutputBalanceSent) -> list[dict[str, Any]]:
    """Each chamber's balance, from the water before and after it; empty without the pH of tank and effluent."""
    if sent.tank.ph is None or sent.effluent.ph is None:
        return []
    tank, effluent = sent.tank, sent.effluent
    stages = [
        (
            amount_in(each.alkalinity, "meq/L", pointer=f"/between_chambers/{n}/alkalinity", above=0),
            each.ph,
            each.temperature,
        )
        for n, each in enumerate(sent.between_chambers)
    ]
    points = [
        (_alkalinity(tank.alkalinity, "/tank/alkalinity").value, sent.tank.ph.value, tank.temperature),
        *stages,
        (_alkalinity(effluent.alkalinity, "/effluent/alkalinity").value, sent.effluent.ph.value, effluent.temperature),
    ]
    celsius = [tank.temperature if each is None else each for _, _, each in points]
    found = chambers_in_series(
        alkalinity_mol_kg=np.array(
            [mol_kg(meq_l, tank.salinity, at) for (meq_l, _, _), at in zip(points, celsius, strict=True)]
        ),
        ph_nbs=np.array([ph for _, ph, _ in points]),
        temperature_c=np.array(celsius),
        salinity=tank.salinity,
        boron_factor=tank.boron_factor,
    )
    return [
        {
            "dissolved": {"value": 1000 * float(dissolved), "unit": "mmol/kg"},
            "added": {"value": 1000 * float(added), "unit": "mmol/kg"},
            "use_fraction": float(used) if math.isfinite(used) else None,
            "omega_aragonite": float(omega),
        }
        for dissolved, added, used, omega in zip(
            found.dissolved_mol_kg, found.added_co2_mol_kg, found.used_fraction, found.omega_aragonite, strict=True
        )
    ]
