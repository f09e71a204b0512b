"""POST /v1/calculations/net-calcification: what corals laid down in an incubation, by the alkalinity anomaly.

Authors differ in the nutrients they correct for, in the control they take off, in the basis of their concentrations,
in the density and in how flows are averaged. Each choice is an option with a name, and the answer says which was taken.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import LEVEL, Answer, remark, sources_of, without_records
from service.errors import Fault, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Number, Shape, UnitName
from service.resources.keeping.amounts import refused
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.net_calcification import (
    corrected_change_umol,
    net_calcification_rate,
    net_calcification_umol_h,
    residence_hours,
    residence_of_mean_flow_hours,
)
from service.science.seawater import density
from service.science.units import UnitError, convert, unit_named

router = APIRouter()

Z = 1.959964
Nutrient = Literal["ammonium", "nitrate", "nitrite", "phosphate"]
NUTRIENTS: tuple[Nutrient, ...] = ("ammonium", "nitrate", "nitrite", "phosphate")
Sd = Annotated[Number, Field(ge=0, description="One standard deviation, in the same unit.")]
Salinity = Annotated[Number, Field(ge=0, le=60)]
Celsius = Annotated[Number, Field(ge=-2, le=45)]


class Determined(Shape):
    """A number, its unit, and how well it is known; without `sd` it is taken as exact."""

    value: Number
    unit: UnitName
    sd: Sd | None = None


class Flows(Shape):
    """Flows read in turn at even spacing, their unit, and the relative sd that they share (one flowmeter)."""

    value: Annotated[list[Annotated[Number, Field(gt=0)]], Field(min_length=1, max_length=10_000)]
    unit: UnitName
    relative_sd: Annotated[Number, Field(ge=0, lt=1)] | None = None


class Density(Shape):
    """A density that the author fixed, kg/L, and its sd."""

    value: Annotated[Number, Field(gt=0.9, lt=1.2)]
    unit: Literal["kg/L"] = "kg/L"
    sd: Sd | None = None


class WaterSample(Shape):
    """What was measured in one water. Its own salinity or temperature where they are not those of the request."""

    alkalinity: Determined
    ammonium: Determined | None = None
    nitrate: Determined | None = None
    nitrite: Determined | None = None
    phosphate: Determined | None = None
    salinity: Salinity | None = None
    temperature: Celsius | None = None


class Control(Shape):
    """The same vessel without corals. Its own duration and volume where they are not those of the incubation."""

    start: WaterSample
    end: WaterSample
    duration: Determined | None = None
    volume: Determined | None = None


class NetCalcificationSent(Shape):
    """An incubation: the water at its start and end, or, for a vessel that water flows through, before and behind it.

    nutrient_terms: the changes that correct the alkalinity; an empty list corrects for none.
    control_as: `change` takes the control's change of concentration off, `rate` takes the control's own rate off.
    basis: `per_kilogram` (mass is conserved) or `per_litre`: on which concentrations are compared.
    density: `computed` (TEOS-10 from salinity and temperature), or the number that the author fixed.
    flow_average: `mean_of_inverse` (mean of 1/flow) or `inverse_of_mean`: how flows become a residence time.
    """

    start: WaterSample
    end: WaterSample
    volume: Determined = Field(description="Of the water alone, without corals.")
    duration: Determined | None = Field(default=None, description="Of a closed incubation.")
    flow: Flows | None = Field(default=None, description="Through an open vessel, instead of a duration.")
    salinity: Salinity | None = None
    temperature: Celsius | None = None
    nutrient_terms: Annotated[list[Nutrient], Field(max_length=4)] = list(NUTRIENTS)
    control: Control | None = None
    control_as: Literal["change", "rate"] = "change"
    basis: Literal["per_kilogram", "per_litre"] = "per_kilogram"
    density: Literal["computed"] | Density = "computed"
    flow_average: Literal["mean_of_inverse", "inverse_of_mean"] = "mean_of_inverse"


class RateRead(Shape):
    """A computed number; `low` and `high` are null when no sd was stated."""

    value: float
    low: float | None
    high: float | None
    level: float
    unit: str


class NetCalcificationRead(Answer):
    """Net calcification of everything in the vessel; negative where more dissolved than grew."""

    net_calcification: RateRead
    calcium_carbonate: RateRead = Field(description="The same as a mass of calcium carbonate.")
    alkalinity_change: RateRead = Field(description="Corrected for nutrients and, with control_as change, the control.")
    changes: dict[str, Amount] = Field(description="End minus start of each thing that was counted, on the basis.")
    control: RateRead | None = Field(description="What the control alone says, as a rate.")
    density: Amount | None = Field(description="Of the water at the start; null where nothing needed it.")
    duration: Amount = Field(description="The time that counts: the incubation's, or the residence time.")


@dataclass(frozen=True)
class _Known:
    """A number in a known unit, and one sd of it."""

    value: float
    sd: float = 0.0


@dataclass(frozen=True)
class _Change:
    """End minus start of one vessel: the corrected change, its parts, and the density of the water at its start."""

    corrected: _Known
    parts: dict[str, float]
    density: _Known | None


@router.post("/net-calcification", response_model=NetCalcificationRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_net_calcification(sent: NetCalcificationSent, door: DoorOf) -> Any:
    """Net calcification in an incubation, by the alkalinity anomaly."""
    door.require()
    duration = _duration(sent)
    volume = _in(sent.volume, "L", "/volume")
    if sent.flow is not None:
        volume = _Known(volume.value)  # it cancels: the residence time is longer by as much
    change = _change(sent, sent.start, sent.end, "")
    total, control = change.corrected, None
    if sent.control is not None:
        control_change, control_rate, scale = _control(sent, sent.control, duration, volume)
        control = control_rate
        if sent.control_as == "change":
            off = control_change.corrected
            total = _Known(total.value - scale * off.value, math.hypot(total.sd, scale * off.sd))
    rate = _rate(total, volume, change.density, duration, sent.basis)
    if control is not None and sent.control_as == "rate":
        rate = _Known(rate.value - control.value, math.hypot(rate.sd, control.sd))
    per = "umol/kg" if sent.basis == "per_kilogram" else "umol/L"
    to_mg = MOLAR_MASS_G_MOL["CaCO3"] / 1000
    return {
        **without_records(
            sources=sources_of(
                corrected_change_umol, net_calcification_umol_h, net_calcification_rate, *_formulas_of(sent)
            ),
            assumptions=_assumptions(sent),
            cautions=[
                "Alkalinity also moves with sulphate reduction, organic bases and whatever else lives in the vessel: "
                "this is the calcification of all of it."
            ],
        ),
        "missing": []
        if rate.sd
        else [remark("sd", "State an sd of the measurements: without one there is no interval.")],
        "net_calcification": _bounds(rate, "umol/h"),
        "calcium_carbonate": _bounds(_Known(rate.value * to_mg, rate.sd * to_mg), "mg/h"),
        "alkalinity_change": _bounds(total, per),
        "changes": {name: {"value": value, "unit": per} for name, value in change.parts.items()},
        "control": control and _bounds(control, "umol/h"),
        "density": change.density and {"value": change.density.value, "unit": "kg/L"},
        "duration": {"value": duration.value, "unit": "h"},
    }


def _control(
    sent: NetCalcificationSent, control: Control, duration: _Known, volume: _Known
) -> tuple[_Change, _Known, float]:
    """What the control did: its change, its own rate, and the time of the incubation in times of the control."""
    own = duration if control.duration is None else _in(control.duration, "d", "/control/duration", 24.0)
    held = volume if control.volume is None else _in(control.volume, "L", "/control/volume")
    change = _change(sent, control.start, control.end, "/control")
    return change, _rate(change.corrected, held, change.density, own, sent.basis), duration.value / own.value


def _rate(change: _Known, volume: _Known, rho: _Known | None, duration: _Known, basis: str) -> _Known:
    """The rate, umol/h. Per litre no mass is needed."""
    weighed = rho if rho is not None and basis == "per_kilogram" else _Known(1.0)
    found = net_calcification_rate(
        corrected_change_umol_kg=change.value,
        corrected_change_sd=change.sd,
        volume_l=volume.value,
        volume_sd=volume.sd,
        density_kg_l=weighed.value,
        density_sd=weighed.sd,
        duration_hours=duration.value,
        duration_sd=duration.sd,
    )
    return _Known(float(found.value_umol_h), float(found.sd_umol_h))


def _duration(sent: NetCalcificationSent) -> _Known:
    """The time that the water spent with the corals, h. Raises Unacceptable unless it is said in exactly one way."""
    if (sent.duration is None) == (sent.flow is None):
        detail = "Send exactly one of duration (a closed vessel) and flow (an open one)."
        raise Unacceptable(detail, (Fault("/duration", detail), Fault("/flow", detail)))
    if sent.duration is not None:
        return _in(sent.duration, "d", "/duration", 24.0)
    assert sent.flow is not None
    try:
        flows = np.asarray(convert(np.array(sent.flow.value), unit=sent.flow.unit, to="L/d")) / 24.0
    except UnitError as error:
        raise refused("/flow/unit", str(error), sent.flow.unit) from error
    averaged = residence_hours if sent.flow_average == "mean_of_inverse" else residence_of_mean_flow_hours
    hours = float(averaged(volume_l=_in(sent.volume, "L", "/volume").value, flow_l_h=flows))
    return _Known(hours, hours * (sent.flow.relative_sd or 0.0))


def _change(sent: NetCalcificationSent, start: WaterSample, end: WaterSample, pointer: str) -> _Change:
    """What changed in a vessel, each water on the basis with its own density."""
    before, after = (_Water(sent, water, f"{pointer}/{name}") for name, water in (("start", start), ("end", end)))
    parts = {"alkalinity": after.content("alkalinity").less(before.content("alkalinity"))}
    for nutrient in dict.fromkeys(sent.nutrient_terms):
        ends = [getattr(start, nutrient), getattr(end, nutrient)]
        if any(each is None for each in ends):
            if any(each is not None for each in ends):
                detail = f"Send {nutrient} at the start and at the end, or at neither."
                raise refused(f"{pointer}/{'end' if ends[1] is None else 'start'}/{nutrient}", detail)
            continue
        parts[nutrient] = after.content(nutrient).less(before.content(nutrient))
    corrected = corrected_change_umol(
        alkalinity_umol=parts["alkalinity"].value,
        **{f"{name}_umol": parts[name].value for name in NUTRIENTS if name in parts},
    )
    sd = math.hypot(*(part.sd for part in parts.values()))
    return _Change(
        _Known(float(corrected), sd), {name: part.value for name, part in parts.items()}, before.density_if_needed()
    )


@dataclass(frozen=True)
class _Content(_Known):
    """A content on the basis of the request."""

    def less(self, other: _Content) -> _Known:
        """This less another, their errors independent."""
        return _Known(self.value - other.value, math.hypot(self.sd, other.sd))


class _Water:
    """One water, and its density when something needs it."""

    def __init__(self, sent: NetCalcificationSent, sample: WaterSample, pointer: str) -> None:
        self._sent = sent
        self._sample = sample
        self._pointer = pointer
        self._per = "umol/kg" if sent.basis == "per_kilogram" else "umol/L"

    def density_if_needed(self) -> _Known | None:
        """The density, kg/L; None where all is per litre."""
        return self._density() if self._sent.basis == "per_kilogram" or any(self._crossings()) else None

    def content(self, name: str) -> _Content:
        """One measured content, umol per kilogram or per litre as the basis is. Raises Unacceptable naming it."""
        measured: Determined = getattr(self._sample, name)
        pointer = f"{self._pointer}/{name}"
        try:
            is_by_mass = unit_named(measured.unit).dimension.endswith("per mass")
            own = "umol/kg" if is_by_mass else "umol/L"
            factor = float(convert(1.0, unit=measured.unit, to=own))
        except UnitError as error:
            raise refused(f"{pointer}/unit", str(error), measured.unit) from error
        if own != self._per:
            factor *= self._density().value if is_by_mass else 1.0 / self._density().value
        return _Content(measured.value * factor, (measured.sd or 0.0) * factor)

    def _crossings(self) -> Iterator[bool]:
        for name in ("alkalinity", *self._sent.nutrient_terms):
            measured = getattr(self._sample, name)
            if measured is not None:
                yield unit_named(measured.unit).dimension.endswith("per mass") != (self._per == "umol/kg")

    def _density(self) -> _Known:
        fixed = self._sent.density
        if isinstance(fixed, Density):
            return _Known(fixed.value, fixed.sd or 0.0)
        salinity = self._sample.salinity if self._sample.salinity is not None else self._sent.salinity
        celsius = self._sample.temperature if self._sample.temperature is not None else self._sent.temperature
        for name, value in (("salinity", salinity), ("temperature", celsius)):
            if value is None:
                detail = f"The density is computed from salinity and temperature: send {name}, or a fixed density."
                raise refused(f"/{name}", detail)
        assert salinity is not None
        assert celsius is not None
        return _Known(float(density(salinity=salinity, temperature_c=celsius)) / 1000.0)


def _in(measured: Determined, unit: str, pointer: str, factor: float = 1.0) -> _Known:
    """A positive amount in a unit (times a factor). Raises Unacceptable naming what cannot be."""
    try:
        one = float(convert(1.0, unit=measured.unit, to=unit)) * factor
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), measured.unit) from error
    if measured.value <= 0:
        raise refused(f"{pointer}/value", "More than nothing is expected.", measured.value)
    return _Known(measured.value * one, (measured.sd or 0.0) * one)


def _formulas_of(sent: NetCalcificationSent) -> list[Any]:
    return [density] if sent.density == "computed" else []


def _assumptions(sent: NetCalcificationSent) -> list[str]:
    """Every choice by its name, and what was taken for granted."""
    counted = [name for name in sent.nutrient_terms if getattr(sent.start, name) is not None]
    left = [name for name in sent.nutrient_terms if name not in counted]
    unasked = [name for name in NUTRIENTS if name not in sent.nutrient_terms and getattr(sent.start, name) is not None]
    said = [
        f"nutrient_terms: alkalinity is corrected for {', '.join(counted) or 'no nutrient'}.",
        f"basis: concentrations are compared {sent.basis.replace('_', ' ')}.",
        "density: TEOS-10 from salinity and temperature." if sent.density == "computed" else "density: as sent.",
        "Errors are independent; what came without an sd is taken as exact.",
    ]
    if left:
        said.append(f"Not measured, taken as unchanged: {', '.join(left)}.")
    if unasked:
        said.append(f"Measured and left out, as asked: {', '.join(unasked)}.")
    if sent.flow is not None:
        said.append(f"flow_average: {sent.flow_average}; the water is in a steady state.")
    if sent.control is not None:
        said.append(f"control_as: {sent.control_as}.")
    return said


def _bounds(known: _Known, unit: str) -> dict[str, Any]:
    half = Z * known.sd
    low, high = (known.value - half, known.value + half) if known.sd else (None, None)
    return {"value": known.value, "low": low, "high": high, "level": LEVEL, "unit": unit}
