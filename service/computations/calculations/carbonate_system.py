"""POST /v1/calculations/carbonate-system: the whole carbonate system from any two of its quantities."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import Answer, remark, sources_of, without_records
from service.computations.calculations.lists import Amounts, Numbers, same_length, spread
from service.errors import Fault, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Number, Shape
from service.resources.keeping.amounts import refused
from service.science import Values
from service.science.carbonate import CarbonateState, carbonate_system, covered, ph_total_from_nbs
from service.science.units import UnitError, convert

router = APIRouter()

PAIR = ("alkalinity", "ph", "dic", "pco2")
IN_UMOL_KG = ("alkalinity", "dic", "co2", "bicarbonate", "carbonate")
Result = float | None | list[float | None]


class Ph(Shape):
    """pH and the scale of the buffers or dye it was read with."""

    value: Numbers
    scale: Literal["nbs", "total"] = "nbs"


class CarbonateSystemSent(Shape):
    """Exactly two of alkalinity, pH, DIC and pCO2, with the water they are in. Any value may be a list."""

    alkalinity: Amounts | None = None
    ph: Ph | None = None
    dic: Amounts | None = None
    pco2: Amounts | None = None
    salinity: Numbers
    temperature: Numbers = Field(description="Degrees Celsius, at which pH and volumes were read.")
    calcium: Amounts | None = None
    boron_factor: Annotated[Number, Field(gt=0, le=20)] = 1.0


class ResultIn(Shape):
    """A computed value or list, and its unit."""

    value: Result
    unit: str


class CarbonateSystemRead(Answer):
    """Every part of the carbonate system; null where no pH from 3 to 12 gives what was sent."""

    alkalinity: ResultIn
    dic: ResultIn
    pco2: ResultIn
    co2: ResultIn
    bicarbonate: ResultIn
    carbonate: ResultIn
    omega_aragonite: Result
    omega_calcite: Result
    ph_total: Result
    ph_nbs: Result


@router.post("/carbonate-system", response_model=CarbonateSystemRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_carbonate_system(sent: CarbonateSystemSent, door: DoorOf) -> Any:
    """The carbonate system from any two of alkalinity, pH, DIC and pCO2."""
    door.require()
    length = same_length(_lists(sent))
    salinity, temperature = (
        _bounded(sent.salinity, "/salinity", 0, 60),
        _bounded(sent.temperature, "/temperature", -2, 50),
    )
    state = carbonate_system(
        salinity=salinity,
        temperature_c=temperature,
        boron_factor=sent.boron_factor,
        calcium_mol_kg=_mol_kg(sent.calcium, "/calcium", salinity, temperature, substance="Ca"),
        **_pair(sent, salinity, temperature),
    )
    is_covered = covered(
        salinity=salinity, temperature_c=temperature, alkalinity_mol_kg=state.alkalinity_mol_kg, ph_total=state.ph_total
    )
    return {
        **{name: {"value": _umol_kg(state, name, length), "unit": "umol/kg"} for name in IN_UMOL_KG},
        "pco2": {"value": spread(1e6 * state.pco2_atm, length), "unit": "uatm"},
        **{
            name: spread(getattr(state, name), length)
            for name in ("omega_aragonite", "omega_calcite", "ph_total", "ph_nbs")
        },
        **without_records(
            sources=sources_of(carbonate_system, ph_total_from_nbs),
            assumptions=_assumptions(sent),
            findings=_findings(is_covered, state),
        ),
    }


def _pair(sent: CarbonateSystemSent, salinity: Values, temperature: Values) -> dict[str, Values]:
    """The two quantities sent, in the units of the core. Raises Unacceptable unless they are exactly two."""
    given = [name for name in PAIR if getattr(sent, name) is not None]
    if len(given) != 2:
        detail = f"Send exactly two of {', '.join(PAIR)}; {len(given)} came."
        raise Unacceptable(detail, tuple(Fault(f"/{name}", detail) for name in given) or (Fault("", detail),))
    pair: dict[str, Values] = {}
    for name in given:
        if name == "ph":
            assert sent.ph is not None
            pair["ph_total"] = _total(sent.ph, salinity, temperature)
        elif name == "pco2":
            assert sent.pco2 is not None
            pair["pco2_atm"] = _in_unit(sent.pco2, "atm", "/pco2")
        else:
            value = _mol_kg(getattr(sent, name), f"/{name}", salinity, temperature)
            assert value is not None
            pair[f"{name}_mol_kg"] = value
    return pair


def _total(ph: Ph, salinity: Values, temperature: Values) -> Values:
    value = _bounded(ph.value, "/ph/value", 0, 14)
    return (
        value if ph.scale == "total" else ph_total_from_nbs(ph_nbs=value, salinity=salinity, temperature_c=temperature)
    )


def _mol_kg(
    amounts: Amounts | None, pointer: str, salinity: Values, temperature: Values, substance: str | None = None
) -> Values | None:
    if amounts is None:
        return None
    return _in_unit(amounts, "mol/kg", pointer, substance=substance, salinity=salinity, temperature_c=temperature)


def _in_unit(amounts: Amounts, unit: str, pointer: str, **conditions: Any) -> Values:
    value = _bounded(amounts.value, f"{pointer}/value", 0, np.inf)
    try:
        return np.asarray(convert(value, unit=amounts.unit, to=unit, **conditions), dtype=np.float64)
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), amounts.unit) from error


def _bounded(value: Numbers, pointer: str, least: float, most: float) -> Values:
    values = np.asarray(value, dtype=np.float64)
    if np.any((values < least) | (values > most)):
        raise refused(
            pointer, f"A value from {least:g} to {most:g} is expected.", value if isinstance(value, float) else None
        )
    return values


def _umol_kg(state: CarbonateState, name: str, length: int | None) -> Result:
    return spread(1e6 * getattr(state, f"{name}_mol_kg"), length)


def _lists(sent: CarbonateSystemSent) -> dict[str, Numbers | None]:
    return {
        **{f"/{name}/value": part.value for name in (*PAIR, "calcium") if (part := getattr(sent, name)) is not None},
        "/salinity": sent.salinity,
        "/temperature": sent.temperature,
    }


def _assumptions(sent: CarbonateSystemSent) -> list[str]:
    said = [
        "pCO2 is a partial pressure in moist air, neither a fugacity nor a mole fraction.",
        "Phosphate, silicate and organic alkalinity are left out.",
    ]
    if sent.calcium is None:
        said.append("Calcium is natural seawater's at this salinity.")
    if sent.boron_factor == 1:
        said.append("Total boron is natural seawater's at this salinity; artificial salt may hold more.")
    if sent.ph is not None and sent.ph.scale == "nbs":
        said.append("pH was read with an electrode in NBS buffers; its liquid junction adds 0.02 to 0.05.")
    return said


def _findings(is_covered: np.ndarray[Any, np.dtype[np.bool_]], state: CarbonateState) -> list[dict[str, Any]]:
    findings = []
    unsolved = int(np.count_nonzero(~np.isfinite(state.ph_total)))
    if unsolved:
        findings.append(
            remark("no_solution", f"{unsolved} of the states have no pH from 3 to 12: check what was sent.")
        )
    outside = int(np.count_nonzero(~is_covered)) - unsolved
    if outside > 0:
        findings.append(
            remark(
                "outside_checked_range",
                f"{outside} of the states lie outside S 28-40, 10-32 C, 1000-14000 umol/kg, pH 6-8.8.",
            )
        )
    return findings
