"""POST /v1/calculations/cylinder-content: what is in a cylinder, from its weight or its pressure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import LEVEL, Answer, remark, sources_of, without_records
from service.computations.gas_forecast.answer import CAUTIONS, USABLE_BAR
from service.errors import Fault, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Bounds, Flag, Number, Shape, UnitName
from service.resources.equipment.pieces.queries import LIQUID_CAUTION
from service.resources.equipment.pieces.specifications import FILL_KG_L
from service.resources.keeping.amounts import amount_in, refused
from service.science.co2 import (
    CRITICAL_TEMPERATURE_C,
    Contents,
    contents_by_mass,
    contents_by_pressure,
    gas_density,
    liquid_gone_in_range,
    one_phase_above_c,
)
from service.science.constants import STANDARD_ATMOSPHERE_BAR
from service.science.gas_line import SCALE_SD_KG, TARE_SD_KG

router = APIRouter()

Z = 1.959964
SURELY = 3.0  # sd of scale and tare together
GAUGE_ERROR_BAR = 3.0  # of a cylinder gauge (common practice); say otherwise with pressure.error
USE_RELATIVE_SD = 0.10  # of a rate that was sent bare (common practice)
Celsius = Annotated[Number, Field(ge=-20, le=50)]


class GaugeSent(Shape):
    """What the gauge on the cylinder shows, and how far it may be off, in the same unit."""

    value: Number
    unit: UnitName
    reference: Literal["gauge", "absolute"] = Field(description="Zero in open air, or absolute.")
    error: Annotated[Number, Field(gt=0)] | None = None


class CylinderContentSent(Shape):
    """A cylinder, and either its gross mass with its stamped tare or its pressure."""

    water_capacity: Amount
    charge: Amount | None = Field(default=None, description="The gas when full; left out, the most that is filled.")
    gross_mass: Amount | None = Field(
        default=None, description="All that hung on the scale, less what was not cylinder."
    )
    stamped_tare: Amount | None = None
    pressure: GaugeSent | None = None
    lowest_temperature: Celsius = 18.0
    highest_temperature: Celsius = 26.0
    use: Amount | None = Field(default=None, description="Gas used, such as 20 g/d: then the days are told.")
    dip_tube: Flag = False


class MassBetween(Shape):
    """A mass and its interval; a null `value`: anything from `low` to `high`."""

    value: float | None
    low: float | None
    high: float | None
    level: float
    unit: str


class CylinderContentRead(Answer):
    """What is in the cylinder. What weight or pressure cannot say is null."""

    remaining: MassBetween | None
    liquid: MassBetween | None
    state: str = Field(description="liquid_and_gas, gas, one_phase (too dense for liquid and gas), or undecided")
    pressure: Bounds | None = Field(description="Absolute, in the range of temperature; null for one dense phase.")
    liquid_gone_below: Bounds | None = Field(description="The mass at which the last liquid goes; null from 31 C on.")
    one_phase_above: Amount = Field(description="The temperature above which a full charge is one phase.")
    liquid_gone_in: Bounds | None
    empty_in: Bounds | None


@dataclass(frozen=True)
class _Cylinder:
    """What was sent, in the units of the core."""

    capacity_l: float
    charge_kg: float
    low_c: float
    high_c: float


@router.post("/cylinder-content", response_model=CylinderContentRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_cylinder_content(sent: CylinderContentSent, door: DoorOf) -> Any:
    """What is in a CO2 cylinder, from its weight or its pressure."""
    door.require()
    cylinder = _cylinder(sent)
    by_mass, by_pressure = sent.gross_mass is not None, sent.pressure is not None
    if by_mass == by_pressure:
        detail = "Send exactly one of gross_mass (with stamped_tare) and pressure."
        raise Unacceptable(detail, (Fault("/gross_mass", detail), Fault("/pressure", detail)))
    found = _by_mass(sent, cylinder) if by_mass else _by_pressure(sent, cylinder)
    gone = liquid_gone_in_range(
        water_capacity_l=cylinder.capacity_l,
        lowest_temperature_c=cylinder.low_c,
        highest_temperature_c=cylinder.high_c,
    )
    densities = gas_density(temperature_c=np.array([cylinder.low_c, cylinder.high_c]), pressure_bar=USABLE_BAR)
    empty = densities.density_kg_m3 * cylinder.capacity_l / 1000
    remaining, findings = found["remaining"], [*found["findings"], *_warm(cylinder)]
    has_liquid = math.isfinite(float(gone.mass_kg))
    levels = (float(gone.mass_kg), float(gone.sd_kg)) if has_liquid else None
    return {
        **without_records(
            sources=sources_of(contents_by_mass, contents_by_pressure, gas_density, liquid_gone_in_range),
            assumptions=_assumptions(sent, cylinder),
            findings=findings,
            cautions=list(CAUTIONS),
        ),
        "missing": found["missing"],
        "remaining": remaining,
        "liquid": found["liquid"],
        "state": found["state"],
        "pressure": found["pressure"],
        "liquid_gone_below": None if levels is None else _bounds(levels[0], Z * levels[1], "kg"),
        "one_phase_above": {
            "value": float(one_phase_above_c(fill_kg_l=cylinder.charge_kg / cylinder.capacity_l)),
            "unit": "Cel",
        },
        "liquid_gone_in": None if levels is None else _days(sent.use, remaining, *levels),
        "empty_in": _days(sent.use, remaining, float(empty.mean()), float(np.ptp(empty) / math.sqrt(12))),
    }


def _cylinder(sent: CylinderContentSent) -> _Cylinder:
    """The cylinder. Raises Unacceptable naming what cannot be."""
    if sent.dip_tube:
        raise refused("/dip_tube", LIQUID_CAUTION, True)
    if sent.highest_temperature < sent.lowest_temperature:
        detail = "The highest temperature is below the lowest. Exchange them."
        raise refused("/highest_temperature", detail, sent.highest_temperature)
    capacity = amount_in(sent.water_capacity, "L", pointer="/water_capacity", above=0)
    charge = FILL_KG_L * capacity
    if sent.charge is not None:
        most, charge = charge, amount_in(sent.charge, "kg", pointer="/charge", above=0)
        if charge > most:
            detail = (
                f"{charge:g} kg is more than a cylinder of {capacity:g} L may hold ({most:.2f} kg): check the units, "
                "and "
                "that this is the mass of the gas alone. If it is right, call the gas supplier."
            )
            raise refused("/charge/value", detail, sent.charge.value)
    return _Cylinder(capacity, charge, sent.lowest_temperature, sent.highest_temperature)


def _by_mass(sent: CylinderContentSent, cylinder: _Cylinder) -> dict[str, Any]:
    assert sent.gross_mass is not None
    if sent.stamped_tare is None:
        raise refused("/stamped_tare", "The stamped tare is expected beside the gross mass.")
    gross = amount_in(sent.gross_mass, "kg", pointer="/gross_mass", above=0)
    net = gross - amount_in(sent.stamped_tare, "kg", pointer="/stamped_tare", above=0)
    sd = math.hypot(SCALE_SD_KG, TARE_SD_KG)
    _check_net(sent.gross_mass.value, net, sd, cylinder)
    # A net mass a little below nothing is an empty cylinder under the errors of scale and tare.
    masses = np.maximum([net, net - Z * sd, net + Z * sd], 0.0)
    at = np.array([(cylinder.low_c + cylinder.high_c) / 2, cylinder.low_c, cylinder.high_c])
    contents = contents_by_mass(mass_kg=masses[0], water_capacity_l=cylinder.capacity_l, temperature_c=at)
    corners = contents_by_mass(
        mass_kg=masses[1:, None], water_capacity_l=cylinder.capacity_l, temperature_c=at[None, 1:]
    )
    findings = []
    if net - cylinder.charge_kg > Z * sd and sent.charge is not None:
        detail = (
            f"{net:.2f} kg of gas are more than the charge of {cylinder.charge_kg:g} kg: did something else hang on it?"
        )
        findings.append(remark("heavier_than_charge", detail))
    return {
        "remaining": _mass(net, net - Z * sd, net + Z * sd),
        "liquid": _mass(float(contents.liquid_kg[0]), float(corners.liquid_kg.min()), float(corners.liquid_kg.max())),
        "state": _state(contents),
        "pressure": _pressure(contents, corners),
        "findings": findings,
        "missing": [],
    }


def _check_net(sent: float, net: float, sd: float, cylinder: _Cylinder) -> None:
    """Raises Unacceptable for a mass that this cylinder cannot have."""
    most = FILL_KG_L * cylinder.capacity_l
    if net > most + SURELY * sd:
        detail = (
            f"{net:.2f} kg of gas are more than a cylinder of {cylinder.capacity_l:g} L may hold ({most:.2f} kg): was "
            "a "
            "regulator, cap or hose on the scale, are tare and units right? If they are, leave it alone and call the "
            "gas supplier."
        )
        raise refused("/gross_mass/value", detail, sent)
    if net < -SURELY * sd:
        detail = f"The cylinder is {-net:.2f} kg lighter than its stamped tare: check tare and units."
        raise refused("/gross_mass/value", detail, sent)


def _by_pressure(sent: CylinderContentSent, cylinder: _Cylinder) -> dict[str, Any]:
    """With liquid present a pressure says nothing of what is left, whatever the table on the wall."""
    assert sent.pressure is not None
    read = Amount(value=sent.pressure.value, unit=sent.pressure.unit)
    bar = amount_in(read, "bar", pointer="/pressure", least=0.0)
    bar += STANDARD_ATMOSPHERE_BAR if sent.pressure.reference == "gauge" else 0.0
    error = GAUGE_ERROR_BAR
    if sent.pressure.error is not None:
        error = amount_in(Amount(value=sent.pressure.error, unit=read.unit), "bar", pointer="/pressure", above=0)
    found = contents_by_pressure(
        pressure_bar=bar,
        pressure_error_bar=error,
        water_capacity_l=cylinder.capacity_l,
        charge_kg=cylinder.charge_kg,
        lowest_temperature_c=cylinder.low_c,
        highest_temperature_c=cylinder.high_c,
    )
    value, low, high = (float(each) for each in (found.mass_kg, found.low_kg, found.high_kg))
    undecided = bool(found.may_hold_liquid)
    is_told = math.isfinite(low) or math.isfinite(high)
    return {
        "remaining": _mass(value, low, high) if is_told else None,
        "liquid": None if undecided or not math.isfinite(value) else _mass(0.0, 0.0, 0.0),
        "state": "undecided" if undecided or not math.isfinite(value) else "gas",
        "pressure": _bounds(bar, error, "bar"),
        "findings": _says_nothing(undecided=undecided, is_told=is_told),
        "missing": [] if math.isfinite(value) else [remark("gross_mass", "Weigh the cylinder: only its mass tells.")],
    }


def _says_nothing(*, undecided: bool, is_told: bool) -> list[dict[str, Any]]:
    if undecided:
        detail = (
            "At this pressure there may be liquid in the cylinder, and while there is, the pressure says nothing of "
            "how "
            "much is left."
        )
        return [remark("pressure_says_nothing", detail)]
    if not is_told:
        return [remark("too_dense", "Above 100 bar the gas is too dense for a mass to be told from its pressure.")]
    return []


def _state(contents: Contents) -> str:
    """What is in it at every temperature of the range, or undecided where that differs."""
    if contents.has_liquid.all():
        return "liquid_and_gas"
    if contents.is_gas.all():
        return "gas"
    return "undecided" if contents.has_liquid.any() or contents.is_gas.any() else "one_phase"


def _pressure(contents: Contents, corners: Contents) -> dict[str, Any] | None:
    value = float(contents.pressure_bar[0])
    if not math.isfinite(value) or np.isnan(corners.pressure_bar).all():
        return None
    # where a corner is one dense phase its pressure is not computed: no bound on that side
    high = float(corners.pressure_bar.max())
    low = float(np.nanmin(corners.pressure_bar))
    return {
        "value": value, "low": low, "high": high if math.isfinite(high) else None, "level": LEVEL, "unit": "bar",
    }  # fmt: skip


def _days(use: Amount | None, remaining: dict[str, Any] | None, level: float, level_sd: float) -> dict[str, Any] | None:
    """Days until the mass has fallen to a level; 0 where it has."""
    if use is None:
        return None
    rate = amount_in(use, "g/d", pointer="/use", above=0) / 1000
    if remaining is None or remaining["value"] is None:
        return None
    value = remaining["value"] - level
    below, above = (
        math.hypot(remaining["value"] - (remaining["low"] or 0.0), Z * level_sd),
        math.hypot((remaining["high"] or remaining["value"]) - remaining["value"], Z * level_sd),
    )
    days, of_rate = value / rate, Z * USE_RELATIVE_SD * abs(value) / rate
    low, high = days - math.hypot(below / rate, of_rate), days + math.hypot(above / rate, of_rate)
    return {"value": max(days, 0.0), "low": max(low, 0.0), "high": max(high, 0.0), "level": LEVEL, "unit": "d"}


def _warm(cylinder: _Cylinder) -> list[dict[str, Any]]:
    if cylinder.high_c < CRITICAL_TEMPERATURE_C:
        return []
    detail = (
        "From 31.0 C on there is no liquid, so none can go; a full cylinder's pressure climbs steeply: keep it cool."
    )
    return [remark("no_liquid", detail)]


def _assumptions(sent: CylinderContentSent, cylinder: _Cylinder) -> list[str]:
    said = [
        f"The cylinder stands between {cylinder.low_c:g} and {cylinder.high_c:g} C; pressures answered are absolute.",
        f"Empty is {USABLE_BAR:g} bar absolute, where a regulator starves (common practice).",
    ]
    if sent.charge is None:
        said.append(f"The charge was not sent: at most {FILL_KG_L:g} kg/L are filled.")
    if sent.pressure is not None and sent.pressure.error is None:
        said.append(f"A cylinder gauge is right to {GAUGE_ERROR_BAR:g} bar (common practice).")
    if sent.gross_mass is not None:
        said.append(f"Scale and stamped tare are each right to {1000 * SCALE_SD_KG:g} g, one sd (common practice).")
    if sent.use is not None:
        said.append("The use goes on as sent, known to 10 %.")
    return said


def _mass(value: float, low: float, high: float) -> dict[str, Any]:
    ends = [each if math.isfinite(each) else None for each in (value, max(low, 0.0), high)]
    return {"value": ends[0], "low": ends[1], "high": ends[2], "level": LEVEL, "unit": "kg"}


def _bounds(value: float, half: float, unit: str) -> dict[str, Any]:
    return {"value": value, "low": value - half, "high": value + half, "level": LEVEL, "unit": unit}
