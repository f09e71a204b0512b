"""POST /v1/calculations/conversion: a value in another unit, with the conditions that the step needs."""

from __future__ import annotations

from typing import Any

import numpy as np
from fastapi import APIRouter

from service.computations.answers import Answer, sources_of, without_records
from service.computations.calculations.lists import Numbers, same_length, spread
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Code, Line, Number, Shape, UnitName
from service.resources.keeping.amounts import refused
from service.science import Values
from service.science.quantities import EntryError, Quantity, canonical, quantity_named
from service.science.units import MissingCondition, UnitError, convert

router = APIRouter()


class ConversionSent(Shape):
    """A value or list in one unit, wanted in another. `quantity` says what it is, where units alone do not."""

    value: Numbers
    unit: UnitName
    to: UnitName
    quantity: Code | None = None
    conditions: dict[Code, Number | Amount | Line] = {}


class ConversionRead(Answer):
    """The value in the unit asked for."""

    value: float | list[float | None] | None
    unit: str


@router.post("/conversion", response_model=ConversionRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_conversion(sent: ConversionSent, door: DoorOf) -> Any:
    """A value in another unit."""
    door.require()
    length = same_length({"/value": sent.value})
    values = np.asarray(sent.value, dtype=np.float64)
    quantity = None if sent.quantity is None else _quantity(sent.quantity)
    converted = _by_units(sent, values, quantity) if quantity is None or sent.unit != sent.to else values
    return {
        "value": spread(converted, length),
        "unit": sent.to,
        **without_records(sources=sources_of(convert, canonical), assumptions=[]),
    }


def _quantity(code: str) -> Quantity:
    try:
        return quantity_named(code)
    except EntryError as error:
        raise refused("/quantity", str(error), code) from error


def _by_units(sent: ConversionSent, values: Values, quantity: Quantity | None) -> Values:
    """By the quantity's own rules into its canonical unit where it has some (a hydrometer's scale), then by factors."""
    conditions = {
        name: value.model_dump() if isinstance(value, Amount) else value for name, value in sent.conditions.items()
    }
    unit = sent.unit
    if quantity is not None and unit in quantity.units and _has_rules(quantity, unit):
        values, unit = _canonical(quantity, values, unit, conditions), quantity.unit
    plain = {name: float(value) for name, value in conditions.items() if isinstance(value, float)}
    try:
        return np.asarray(
            convert(
                values,
                unit=unit,
                to=sent.to,
                substance=quantity.substance if quantity else None,
                salinity=plain.get("salinity"),
                temperature_c=plain.get("temperature"),
            ),
            dtype=np.float64,
        )
    except MissingCondition as error:
        raise refused(f"/conditions/{error.condition.removesuffix('_c')}", str(error)) from error
    except UnitError as error:
        raise refused("/to", str(error), sent.to) from error


def _has_rules(quantity: Quantity, unit: str) -> bool:
    return any(condition.required or unit in condition.required_for for condition in quantity.conditions)


def _canonical(quantity: Quantity, values: Values, unit: str, conditions: dict[str, Any]) -> Values:
    try:
        return np.asarray(canonical(quantity, values, unit, conditions), dtype=np.float64)
    except EntryError as error:
        place = "" if error.field in {"value", "unit", "quantity"} else "/conditions"
        raise refused(f"{place}/{error.field}", str(error)) from error
