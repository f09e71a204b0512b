"""POST /v1/calculations/run-away: how soon gas lowers a tank's pH, and what a cut-off can do, without records."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import Field

from service.computations.calculations.tank_water import (
    EFFLUENT_BELOW_TANK,
    MOST_LITRES,
    BoronFactor,
    Celsius,
    ElectrodePh,
    Salinity,
    amount_within,
    mol_kg_of,
    refuse_impossible,
)
from service.computations.gas_release.situation import USUAL_ROOM_C, Air
from service.computations.output_balance.numbers import Number as Known
from service.computations.run_away.answer import answered
from service.computations.run_away.exchange import exchange_as_asked, exchange_by_balance, exchange_by_relaxation
from service.computations.run_away.models import ExchangeSent, RunAwayRead
from service.computations.run_away.situation import (
    UNKNOWN_EXCHANGE,
    USUAL_DELAY_MINUTES,
    USUAL_FLOW_G_H,
    Asked,
    Body,
    CutOffRecord,
    Exchange,
    Pressures,
    RoomOfIt,
    Situation,
    Start,
)
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Flag, Number, Shape, UnitName
from service.resources.keeping.amounts import amount_in, refused
from service.resources.places.sites.exposure_limits import ExposureLimit, limits_of
from service.science.chamber import chamber_balance
from service.science.chamber_uncertainty import TANK_PH_SD
from service.science.constants import STANDARD_ATMOSPHERE_BAR
from service.science.hazards import Tank
from service.science.room import OUTDOOR_PPM

router = APIRouter()
MOST_GAS_KG, MOST_GAS_G_H = 1e5, 1e6
ADDED_RELATIVE_SD = 0.10  # of the gas added, by pH 0.1 and an alkalinity to 3 %
WITHOUT_RECORDS = {
    "effluent_flow": "Send drip: what it carries depends on it.",
    "gas_mass": "Send gas_mass: what could run out is not known.",
    "room": "Send room: what does not dissolve goes there.",
    "cut_off": "Send cut_off: without it no largest flow can be told.",
    "chamber_pressure": "Send chamber_pressure: one atmosphere is taken.",
    "delivery_pressure": "Send delivery_pressure: whether gas flows at all is not told.",
    "gas_exchange": "Send gas_exchange or relaxation, or drip, effluent, mean_ph and room_co2: a range is taken.",
}


class FaultyTank(Shape):
    """The tank that the gas may reach. `ph` is its own lowest; `nights` says it better."""

    water_volume: Amount
    alkalinity: Amount
    ph: ElectrodePh | None = None
    mean_ph: ElectrodePh | None = Field(default=None, description="Of day and night, for gas exchange by the balance.")
    nights: Annotated[list[ElectrodePh], Field(min_length=1, max_length=366)] | None = Field(
        default=None, description="The lowest pH of each of the last nights, thirty of them at best."
    )
    salinity: Salinity = 35.0
    temperature: Celsius = 25.0
    boron_factor: BoronFactor = 1.0


class EffluentOfIt(Shape):
    """The effluent on an ordinary day: with room_co2 it tells the gas exchange."""

    alkalinity: Amount
    ph: ElectrodePh


class RelaxationSent(Shape):
    """How pH came back towards the tank's own after a disturbance, with lights and gas as they were all the while."""

    early_ph: ElectrodePh
    late_ph: ElectrodePh
    hours: Annotated[Number, Field(gt=0.01, le=240)]


class PressureSent(Shape):
    """A pressure, by a gauge that shows zero in open air or absolute."""

    value: Number
    unit: UnitName
    reference: Literal["gauge", "absolute"]


class RoomAround(Shape):
    """The room around it."""

    free_volume: Amount
    height: Amount | None = None
    air_changes_per_hour: Annotated[Number, Field(ge=0, le=1000)] | None = None
    below_ground: Flag = False
    temperature: Annotated[Number, Field(ge=-20, le=50)] = USUAL_ROOM_C


class RunAwaySent(Shape):
    """A tank, a flow of gas that nobody shuts, and what is known of drip, cut-off, exchange and room."""

    tank: FaultyTank
    flow: Amount = Amount(value=USUAL_FLOW_G_H, unit="g/h")
    drip: Amount | None = None
    chamber_pressure: PressureSent | None = None
    delivery_pressure: PressureSent | None = None
    gas_mass: Amount | None = None
    to_ph: Annotated[list[ElectrodePh], Field(min_length=1, max_length=50)] = [7.8, 7.5]
    cut_off: ElectrodePh | None = None
    stays_above_ph: ElectrodePh | None = None
    delay_minutes: Annotated[Number, Field(ge=0, le=600)] = USUAL_DELAY_MINUTES
    held_gas: Amount = Amount(value=0.0, unit="g")
    gas_exchange: ExchangeSent | None = None
    relaxation: RelaxationSent | None = None
    effluent: EffluentOfIt | None = None
    room_co2: Amount | None = None
    room: RoomAround | None = None
    exposure_limits: Annotated[list[ExposureLimit], Field(min_length=1, max_length=20)] | None = None


@router.post("/run-away", response_model=RunAwayRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_run_away(sent: RunAwaySent, door: DoorOf) -> Any:
    """How soon gas that nobody shuts lowers a tank's pH, how far, and what a cut-off can do about it."""
    door.require()
    situation = _situation(sent)
    answer = answered(situation)
    missing = [{**each, "detail": WITHOUT_RECORDS[each["code"]]} for each in answer["missing"]]
    return {**answer, "missing": missing, "used": {}, "set_aside": []}


def _situation(sent: RunAwaySent) -> Situation:
    if sent.cut_off is not None and sent.stays_above_ph is not None and sent.stays_above_ph >= sent.cut_off:
        detail = "A pH below the cut-off is expected: at the cut-off itself the valve has yet to shut."
        raise refused("/stays_above_ph", detail, sent.stays_above_ph)
    start = _start(sent.tank)
    tank = _tank(sent.tank, start.ph)
    drip = None if sent.drip is None else amount_within(sent.drip, "L/d", pointer="/drip", least=0, most=MOST_LITRES)
    room_ppm = None if sent.room_co2 is None else amount_in(sent.room_co2, "ppm", pointer="/room_co2", least=0)
    exchange = _exchange(sent, tank, drip, room_ppm)
    chamber = _bar(sent.chamber_pressure, "/chamber_pressure")
    delivery = _bar(sent.delivery_pressure, "/delivery_pressure")
    gas_kg = (
        None
        if sent.gas_mass is None
        else amount_within(sent.gas_mass, "kg", pointer="/gas_mass", above=0, most=MOST_GAS_KG)
    )
    known = {
        "effluent_flow": drip, "gas_mass": gas_kg, "room": sent.room, "cut_off": sent.cut_off,
        "chamber_pressure": chamber, "delivery_pressure": delivery,
        "gas_exchange": None if exchange.by == UNKNOWN_EXCHANGE.by else exchange,
    }  # fmt: skip
    cut_off = CutOffRecord(sent.cut_off, knows_tests=False)
    return Situation(
        asked=Asked(
            flow_g_h=amount_within(sent.flow, "g/h", pointer="/flow", above=0, most=MOST_GAS_G_H),
            delay_minutes=sent.delay_minutes,
            held_gas_g=1000 * amount_within(sent.held_gas, "kg", pointer="/held_gas", least=0, most=MOST_GAS_KG),
            stays_above_ph=sent.stays_above_ph,
            to_ph=sent.to_ph,
            flow_is_assumed="flow" not in sent.model_fields_set,
        ),
        bodies=[Body(None, tank, 1.0, start, cut_off)],
        drip_l_d=drip,
        gas_kg=gas_kg,
        exchange=exchange,
        pressures=Pressures(delivery, chamber),
        room=_room(sent, room_ppm),
        lacks=[name for name, value in known.items() if value is None],
    )


def _start(tank: FaultyTank) -> Start:
    if tank.nights is not None:
        return Start(min(tank.nights), "night_minimum", nights=len(tank.nights), days=len(tank.nights))
    if tank.ph is None:
        raise refused("/tank/ph", "The tank's own lowest pH is expected, or the lowest of its last nights in `nights`.")
    return Start(tank.ph, "as_asked")


def _tank(sent: FaultyTank, ph: float) -> Tank:
    alkalinity = mol_kg_of(sent.alkalinity, "/tank/alkalinity", salinity=sent.salinity, temperature_c=sent.temperature)
    for pointer, read in (("/tank/ph" if sent.nights is None else "/tank/nights", ph), ("/tank/mean_ph", sent.mean_ph)):
        if read is not None:
            refuse_impossible(
                pointer,
                alkalinity_mol_kg=alkalinity,
                ph_nbs=read,
                salinity=sent.salinity,
                temperature_c=sent.temperature,
                boron_factor=sent.boron_factor,
            )
    return Tank(
        volume_l=amount_within(sent.water_volume, "L", pointer="/tank/water_volume", above=0, most=MOST_LITRES),
        alkalinity_mol_kg=alkalinity,
        ph_nbs=ph,
        salinity=sent.salinity,
        temperature_c=sent.temperature,
        boron_factor=sent.boron_factor,
    )


def _exchange(sent: RunAwaySent, tank: Tank, drip: float | None, room_ppm: float | None) -> Exchange:
    """As sent, else by a relaxation, else by the balance of drip, effluent and room air, else the range."""
    if sent.gas_exchange is not None:
        return exchange_as_asked(sent.gas_exchange)
    if sent.relaxation is not None:
        return _by_relaxation(sent.relaxation, tank)
    if sent.effluent is None or drip is None:
        return UNKNOWN_EXCHANGE
    water = sent.tank
    mean_ph = float(tank.ph_nbs) if water.mean_ph is None else water.mean_ph
    effluent = mol_kg_of(
        sent.effluent.alkalinity, "/effluent/alkalinity", salinity=water.salinity, temperature_c=water.temperature
    )
    if effluent <= float(tank.alkalinity_mol_kg):
        raise refused("/effluent/alkalinity", EFFLUENT_BELOW_TANK, sent.effluent.alkalinity.value)
    added = chamber_balance(
        inflow_alkalinity_mol_kg=tank.alkalinity_mol_kg,
        inflow_ph_nbs=mean_ph,
        effluent_alkalinity_mol_kg=effluent,
        effluent_ph_nbs=sent.effluent.ph,
        salinity=water.salinity,
        inflow_temperature_c=water.temperature,
        effluent_temperature_c=water.temperature,
        boron_factor=water.boron_factor,
    ).added_co2_mol_kg
    return exchange_by_balance(
        tank=tank,
        ph=Known(mean_ph, TANK_PH_SD),
        added_mol_kg=Known(float(added), ADDED_RELATIVE_SD * abs(float(added))),
        drip_l_d=drip,
        room_co2_ppm=room_ppm,
    )


def _by_relaxation(sent: RelaxationSent, tank: Tank) -> Exchange:
    found = exchange_by_relaxation(tank=tank, early_ph=sent.early_ph, late_ph=sent.late_ph, hours=sent.hours)
    if found is None:
        detail = (
            f"pH is expected to come back towards the tank's own {float(tank.ph_nbs):.2f}, and to end clearly short of "
            "it: otherwise it tells nothing of gas exchange."
        )
        raise refused("/relaxation/late_ph", detail, sent.late_ph)
    return found


def _bar(sent: PressureSent | None, pointer: str) -> float | None:
    if sent is None:
        return None
    bar = amount_in(Amount(value=sent.value, unit=sent.unit), "bar", pointer=pointer, least=0)
    bar += STANDARD_ATMOSPHERE_BAR if sent.reference == "gauge" else 0.0
    if not 0.5 <= bar <= 50:
        detail = "0.5 to 50 bar absolute is expected: check unit and reference."
        raise refused(f"{pointer}/value", detail, sent.value)
    return bar


def _room(sent: RunAwaySent, room_ppm: float | None) -> RoomOfIt | None:
    room = sent.room
    if room is None:
        return None
    air = Air(
        free_volume_m3=amount_in(room.free_volume, "m3", pointer="/room/free_volume", above=0),
        height_m=None if room.height is None else amount_in(room.height, "m", pointer="/room/height", above=0),
        air_changes_per_hour=room.air_changes_per_hour,
        below_ground=room.below_ground,
        temperature_c=room.temperature,
        supply_ppm=OUTDOOR_PPM if room_ppm is None else room_ppm,
    )
    limits = sorted(sent.exposure_limits or limits_of(None), key=lambda each: each.ppm)
    return RoomOfIt(None, air, limits)
