"""From what was entered to the canonical unit, and whether it can be.

A value arrives with its unit and the conditions it was read under; it leaves in the one unit everything else uses.
"""

from collections.abc import Mapping
from math import isfinite
from typing import TypeAlias, overload

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.carbonate import ph_nbs_from_total
from service.science.quantity_table import (
    EQUIPMENT_KINDS,
    QUANTITIES,
    SUBJECT_KINDS,
    Condition,
    Quantity,
)
from service.science.seawater import salinity_from_conductivity_pss78, salinity_from_hydrometer
from service.science.units import IncompatibleUnits, UnknownUnit, convert, unit_named

Conditions: TypeAlias = Mapping[str, object]
"""Condition name -> a word, a number in the condition's own unit, or {"value": number, "unit": unit}."""


__all__ = [
    "EQUIPMENT_KINDS",
    "QUANTITIES",
    "SUBJECT_KINDS",
    "Condition",
    "ConditionMissing",
    "ConditionRefused",
    "Conditions",
    "EntryError",
    "Impossible",
    "Quantity",
    "UnitNotAccepted",
    "UnknownQuantity",
    "canonical",
    "is_plausible",
    "is_possible",
    "quantity_named",
]


class EntryError(ValueError):
    """An entered value that cannot be taken; `field` is "quantity", "unit", "value" or the condition's name."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


class UnknownQuantity(EntryError):
    """No such quantity."""


class UnitNotAccepted(EntryError):
    """A unit that this quantity is not entered in."""


class ConditionMissing(EntryError):
    """A condition the value depends on was not sent."""


class ConditionRefused(EntryError):
    """A condition that this quantity does not have, or whose value cannot be."""


class Impossible(EntryError):
    """A value outside the physical bounds."""


@overload
def canonical(
    quantity: str | Quantity, value: float, unit: str, conditions: Conditions | None = None, *, refuse: bool = True
) -> float: ...
@overload
def canonical(
    quantity: str | Quantity, value: Values, unit: str, conditions: Conditions | None = None, *, refuse: bool = True
) -> Values: ...
def canonical(
    quantity: str | Quantity, value: Numbers, unit: str, conditions: Conditions | None = None, *, refuse: bool = True
) -> Numbers:
    """An entered value, or an array of them, in the quantity's canonical unit.

    Alkalinity comes out in meq/L, ions in mg/L, pH as an electrode in NBS buffers reads, pressures in bar absolute,
    flows in L/d, gas in g/d, salinity practical. Every failure is an EntryError whose `field` names what to mend.
    Values outside the physical bounds, NaN and infinities raise Impossible unless `refuse` is False.

    Source: UCUM, DIN, IUPAC05, IOC10, FOFONOFF83, TAKAHASHI82, PRACTICE.
    Check value: none, tested by test_entered_values_become_canonical.
    """
    row = quantity_named(quantity)
    code = _accepted_unit(row, unit)
    known = _checked_conditions(row, code, conditions or {})
    result = _in_canonical_unit(row, value, code, known)
    if refuse:
        _refuse_impossible(row, value, code, result)
    return result if isinstance(value, np.ndarray) else float(result)


def stated_value(quantity: str | Quantity, conditions: Conditions) -> float | None:
    """What a check standard is said to hold, canonical; None where its reading does not say.

    Raises EntryError for conditions that the quantity does not have.
    """
    row = quantity_named(quantity)
    return _number(_checked_conditions(row, row.unit, conditions), "stated_value")


def quantity_named(quantity: str | Quantity) -> Quantity:
    """The row of that code (or the row itself); UnknownQuantity otherwise."""
    if isinstance(quantity, Quantity):
        return quantity
    try:
        return QUANTITIES[quantity]
    except KeyError:
        known = ", ".join(QUANTITIES)
        raise UnknownQuantity("quantity", f"unknown quantity {quantity!r}; known quantities: {known}") from None


def is_possible(quantity: str | Quantity, value: Numbers) -> NDArray[np.bool_]:
    """Whether canonical values lie within the physical bounds; False for NaN.

    Source: PRACTICE. Check value: none, tested by test_bounds_enclose_what_each_quantity_can_be.
    """
    low, high = quantity_named(quantity).possible
    return (np.asarray(value) >= low) & (np.asarray(value) <= high)


def is_plausible(quantity: str | Quantity, value: Numbers) -> NDArray[np.bool_]:
    """Whether canonical values lie where readings usually do; outside, a reading wants confirming.

    Source: PRACTICE. Check value: none, tested by test_bounds_enclose_what_each_quantity_can_be.
    """
    low, high = quantity_named(quantity).plausible
    return (np.asarray(value) >= low) & (np.asarray(value) <= high)


def _accepted_unit(row: Quantity, unit: str) -> str:
    accepted = f"{row.title} is entered in {', '.join(row.units)}"
    try:
        code = unit_named(unit).code
    except UnknownUnit:
        raise UnitNotAccepted("unit", f"unknown unit {unit!r}; {accepted}") from None
    if code not in row.units:
        raise UnitNotAccepted("unit", f"unit {unit!r} does not fit; {accepted}")
    return code


def _checked_conditions(row: Quantity, unit: str, sent: Conditions) -> dict[str, str | float]:
    """Every condition that is known: as sent (numbers in the condition's unit), or its default."""
    for name in sent:
        if row.condition(name) is None:
            names = ", ".join(condition.name for condition in row.conditions) or "none"
            raise ConditionRefused(name, f"{row.title} has no condition {name!r}; it has: {names}")
    known: dict[str, str | float] = {}
    for condition in row.conditions:
        value = sent.get(condition.name)
        if value is not None:
            known[condition.name] = _condition_value(row, condition, value)
        elif condition.required or unit in condition.required_for:
            what = f" ({' or '.join(condition.choices)})" if condition.choices else ""
            raise ConditionMissing(
                condition.name, f"{row.title} in {unit} needs the condition {condition.name}: {condition.title}{what}"
            )
        elif condition.default is not None:
            known[condition.name] = condition.default
    return known


def _condition_value(row: Quantity, condition: Condition, value: object) -> str | float:
    where = f"condition {condition.name} of {row.title}"
    if condition.unit is None:
        if not isinstance(value, str):
            raise ConditionRefused(condition.name, f"{where} is a text; got {value!r}")
        if condition.choices and value not in condition.choices:
            raise ConditionRefused(condition.name, f"{where} is one of {', '.join(condition.choices)}; got {value!r}")
        return value
    unit = condition.unit
    if isinstance(value, Mapping):
        unit, value = value.get("unit", unit), value.get("value")
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise ConditionRefused(condition.name, f"{where} is a number in {condition.unit}; got {value!r}")
    try:
        number = convert(float(value), unit=unit, to=condition.unit)
    except (UnknownUnit, IncompatibleUnits) as problem:
        raise ConditionRefused(condition.name, f"{where}: {problem}") from None
    if condition.possible and not condition.possible[0] <= number <= condition.possible[1]:
        low, high = condition.possible
        raise ConditionRefused(
            condition.name, f"{where} lies between {low:g} and {high:g} {condition.unit}; got {number:g}"
        )
    return number


def _number(known: Mapping[str, str | float], name: str) -> float | None:
    value = known.get(name)
    return value if isinstance(value, float) else None


def _in_canonical_unit(row: Quantity, value: Numbers, unit: str, known: Mapping[str, str | float]) -> Numbers:
    """The value converted; the few quantities whose conditions do more than density are spelt out here."""
    dimension = unit_named(unit).dimension
    if row.unit == "[pH]":
        return _ph_as_read_in_nbs_buffers(row, value, known)
    if dimension == "specific gravity":
        return salinity_from_hydrometer(
            specific_gravity=value,
            temperature_c=_required(row, known, "temperature"),
            reference_temperature_c=_required(row, known, "reference_temperature"),
            calibration_temperature_c=_number(known, "calibration_temperature"),
        )
    if row.code == "salinity" and dimension == "conductivity":
        conductivity = convert(np.asarray(value, dtype=np.float64), unit=unit, to="mS/cm")
        return salinity_from_conductivity_pss78(
            conductivity_ms_cm=conductivity, temperature_c=_required(row, known, "temperature")
        )
    if dimension == "drops":
        per_day = convert(np.asarray(value, dtype=np.float64), unit=unit, to="{drop}/min") * 1440.0
        return per_day / _required(row, known, "drops_per_ml") / 1000.0
    result = convert(
        np.asarray(value, dtype=np.float64),
        unit=unit,
        to=row.unit,
        substance=row.substance,
        salinity=_number(known, "salinity"),
        temperature_c=_number(known, "temperature"),
    )
    if known.get("pressure_reference") == "gauge":
        return result + _required(row, known, "atmospheric_pressure")
    return result


def _ph_as_read_in_nbs_buffers(row: Quantity, value: Numbers, known: Mapping[str, str | float]) -> Numbers:
    if known.get("scale", "nbs") == "nbs":
        return value
    return ph_nbs_from_total(
        ph_total=value,
        salinity=_required(row, known, "salinity"),
        temperature_c=_required(row, known, "temperature"),
    )


def _required(row: Quantity, known: Mapping[str, str | float], name: str) -> float:
    number = _number(known, name)
    if number is None:
        condition = row.condition(name)
        title = condition.title if condition else name
        raise ConditionMissing(name, f"{row.title}, as entered, needs the condition {name}: {title}")
    return number


def _refuse_impossible(row: Quantity, entered: Numbers, unit: str, result: Numbers) -> None:
    possible = is_possible(row, result)
    if np.all(possible):
        return
    low, high = row.possible
    bounds = f"{row.title} lies between {low:g} and {high:g} {unit_named(row.unit).symbol}"
    if possible.ndim == 0:
        raise Impossible("value", f"{bounds}; got {float(entered):g} {unit}")
    first = tuple(int(i) for i in np.argwhere(~possible)[0])
    where = ", ".join(map(str, first))
    raise Impossible(
        "value", f"{bounds}; {np.count_nonzero(~possible)} of {possible.size} do not, the first at index {where}"
    )
