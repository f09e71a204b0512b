"""POST /v1/calculations/salinity: practical salinity from a hydrometer, a refractometer or a conductivity meter."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import Answer, remark, sources_of, without_records
from service.computations.calculations.lists import Numbers, same_length, spread
from service.errors import Fault, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Number, Shape
from service.resources.keeping.amounts import refused
from service.science import Values
from service.science.seawater import (
    conductivity_pss78,
    density,
    hydrometer_reading,
    salinity_from_conductivity_pss78,
    salinity_from_hydrometer,
)
from service.science.units import UnitError, convert

router = APIRouter()
Water = Annotated[Number, Field(ge=-2, le=40)]
Pure = Annotated[Number, Field(ge=0, le=40)]
COVERED = (2.0, 42.0)
TABLE_SALT_READS = 36.5  # what a scale for table salt shows in seawater of 35 (common practice)
UNKNOWN_REFERENCE = (
    "The temperature of the pure water that the scale compares with is expected, as printed on it (such as 25/25 or "
    "60/60 F): seawater of 35 reads 1.0264 by 25/25 and 1.0234 by 25/4, so without it the salinity is off by up to 4. "
    "If nobody knows it, hold the hydrometer into a standard and send what it should have shown."
)
WAYS = ("hydrometer", "refractometer", "conductivity")


class HydrometerSent(Shape):
    """A glass hydrometer's reading, the water's temperature, and the two temperatures of its scale."""

    specific_gravity: Numbers
    temperature: Water
    reference_temperature: Pure | None = Field(
        default=None, description="Required: of the pure water that the scale compares with, as printed on it."
    )
    calibration_temperature: Pure | None = Field(
        default=None,
        description="At which the glass was calibrated, the first of two printed numbers; left out, the reference "
        "temperature, or of a scale such as 25/4 the water's own.",
    )


class StandardSent(Shape):
    """A solution of known salinity, and what the instrument showed in it on the same day."""

    salinity: Annotated[Number, Field(gt=0, le=60)]
    reads: Annotated[Number, Field(gt=0, le=100)]


class RefractometerSent(Shape):
    """A refractometer's reading on its own scale, and its check against a standard."""

    value: Numbers
    scale: Literal["seawater", "table_salt"]
    standard: StandardSent | None = None


class ConductivitySent(Shape):
    """A conductivity and its temperature: 25 for a meter that compensates to 25, whatever the water's was."""

    value: Numbers
    unit: str = Field(min_length=1, max_length=40, examples=["mS/cm"])
    temperature: Annotated[Number, Field(ge=-2, le=40)]


class SalinitySent(Shape):
    """Exactly one reading, or list of readings, of one instrument."""

    hydrometer: HydrometerSent | None = None
    refractometer: RefractometerSent | None = None
    conductivity: ConductivitySent | None = None


class DerivedRead(Shape):
    """A derived value or list, and its unit."""

    value: float | list[float | None] | None
    unit: str


class SalinityRead(Answer):
    """Practical salinity, and what other instruments would show in that water at 25 C."""

    salinity: float | list[float | None] | None
    density: DerivedRead
    conductivity: DerivedRead
    specific_gravity: DerivedRead = Field(description="By a glass hydrometer with a scale of 25/25 C.")


@router.post("/salinity", response_model=SalinityRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_salinity(sent: SalinitySent, door: DoorOf) -> Any:
    """Practical salinity from what an instrument showed."""
    door.require()
    given = [name for name in WAYS if getattr(sent, name) is not None]
    if len(given) != 1:
        detail = f"Send exactly one of {', '.join(WAYS)}; {len(given)} came."
        raise Unacceptable(detail, tuple(Fault(f"/{name}", detail) for name in given) or (Fault("", detail),))
    found, length = {
        "hydrometer": lambda: _by_hydrometer(sent.hydrometer),
        "refractometer": lambda: _by_refractometer(sent.refractometer),
        "conductivity": lambda: _by_conductivity(sent.conductivity),
    }[given[0]]()
    conductivity = conductivity_pss78(salinity=found, temperature_c=25.0)
    shown = hydrometer_reading(salinity=found, temperature_c=25.0, reference_temperature_c=25.0)
    return {
        **without_records(
            sources=sources_of(*_formulas(given[0])),
            assumptions=_assumptions(sent),
            findings=_findings(sent, found),
            cautions=[
                "Change a system's salinity slowly, by no more than 1 a day (common practice): animals feel a jump "
                "more than an instrument's error.",
            ],
        ),
        "salinity": spread(found, length),
        "density": {"value": spread(density(salinity=found, temperature_c=25.0), length), "unit": "kg/m3"},
        "conductivity": {
            "value": spread(conductivity, length),
            "unit": "mS/cm",
        },
        "specific_gravity": {"value": spread(shown, length), "unit": "SG"},
    }


def _by_hydrometer(sent: HydrometerSent | None) -> tuple[Values, int | None]:
    assert sent is not None
    if sent.reference_temperature is None:
        raise refused("/hydrometer/reference_temperature", UNKNOWN_REFERENCE)
    length = same_length({"/hydrometer/specific_gravity": sent.specific_gravity})
    gravity = np.asarray(sent.specific_gravity, dtype=np.float64)
    if np.any((gravity < 0.98) | (gravity > 1.1)):
        raise refused(
            "/hydrometer/specific_gravity", "A specific gravity from 0.98 to 1.1 is expected, such as 1.0264."
        )
    found = salinity_from_hydrometer(
        specific_gravity=gravity,
        temperature_c=sent.temperature,
        reference_temperature_c=sent.reference_temperature,
        calibration_temperature_c=sent.calibration_temperature,
    )
    return found, length


def _by_refractometer(sent: RefractometerSent | None) -> tuple[Values, int | None]:
    """Its own check where there is one, else its scale."""
    assert sent is not None
    length = same_length({"/refractometer/value": sent.value})
    value = np.asarray(sent.value, dtype=np.float64)
    if np.any((value < 0) | (value > 100)):
        raise refused("/refractometer/value", "0 to 100 on the instrument's own scale is expected.")
    if sent.standard is not None:
        return value * (sent.standard.salinity / sent.standard.reads), length
    return (value if sent.scale == "seawater" else value * (35.0 / TABLE_SALT_READS)), length


def _by_conductivity(sent: ConductivitySent | None) -> tuple[Values, int | None]:
    assert sent is not None
    length = same_length({"/conductivity/value": sent.value})
    value = np.asarray(sent.value, dtype=np.float64)
    try:
        ms_cm = np.asarray(convert(value, unit=sent.unit, to="mS/cm"), dtype=np.float64)
    except UnitError as error:
        raise refused("/conductivity/unit", str(error), sent.unit) from error
    if np.any((ms_cm < 0) | (ms_cm > 150)):
        raise refused("/conductivity/value", "0 to 150 mS/cm is expected: check the unit.")
    return salinity_from_conductivity_pss78(conductivity_ms_cm=ms_cm, temperature_c=sent.temperature), length


def _formulas(way: str) -> tuple[Any, ...]:
    first: tuple[Any, ...] = {
        "hydrometer": (salinity_from_hydrometer,),
        "refractometer": (),
        "conductivity": (salinity_from_conductivity_pss78,),
    }[way]
    return (*first, density, conductivity_pss78, hydrometer_reading)


def _findings(sent: SalinitySent, found: Values) -> list[dict[str, Any]]:
    said = []
    unsolved = int(np.count_nonzero(~np.isfinite(found)))
    if unsolved:
        said.append(remark("no_solution", f"{unsolved} of the readings belong to no salinity: check what was sent."))
    low, high = COVERED
    outside = int(np.count_nonzero(np.isfinite(found) & ((found < low) | (found > high))))
    if outside:
        detail = f"{outside} of the salinities lie outside {low:g} to {high:g}, where the equations were fitted."
        said.append(remark("outside_fitted_range", detail))
    refractometer = sent.refractometer
    if refractometer is not None and refractometer.standard is None:
        detail = (
            "Without a check against a standard of 35 a refractometer is off by 1 to 2 as a rule (common practice): "
            "check it, and send `standard`."
        )
        said.append(remark("unchecked_refractometer", detail))
    return said


def _assumptions(sent: SalinitySent) -> list[str]:
    said = ["Composition is that of seawater; a salt mix differs a little in density at the same conductivity."]
    if sent.hydrometer is not None:
        said.append("A glass hydrometer: a plastic swing arm follows no such law.")
    if sent.refractometer is not None:
        said.append(
            f"A scale for table salt shows {TABLE_SALT_READS:g} in seawater of 35 (common practice, no source); a "
            "standard's check is taken as a factor."
        )
    if sent.conductivity is not None:
        said.append("At atmospheric pressure; the temperature is the one that the meter refers its value to.")
    return said
