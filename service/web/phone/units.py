"""Units as people on a site see them: which one, how it is written, and numbers turned into it."""

from __future__ import annotations

from collections.abc import Mapping

from service.science.quantities import Quantity
from service.science.units import UnitError, convert, unit_named

SYMBOLS = {"[pH]": "", "1": "", "Cel": "°C", "degF": "°F"}
FEW_DIGITS, FEWER_DIGITS = 4, 3  # of a value, and of a band that is rough anyway


def shown_unit(quantity: Quantity, units: Mapping[str, str]) -> str:
    """The unit a site shows a quantity in: its choice where readings are taken in it, else the canonical one."""
    chosen = units.get(quantity.code)
    if chosen is None:
        return quantity.unit
    code = unit_named(chosen).code
    return code if code in quantity.units else quantity.unit


def symbol(unit: str) -> str:
    """A unit as written beside a number; nothing for what has none."""
    if unit in SYMBOLS:
        return SYMBOLS[unit]
    return unit.replace("{drop}", "drops").replace("{bubble}", "bubbles")


def turned(value: float, quantity: Quantity, unit: str) -> float | None:
    """A canonical value in another unit; None where that needs to be told more (per kilogram, drops, hydrometers)."""
    if quantity.needs_conditions(unit):
        return None
    try:
        return float(convert(value, unit=quantity.unit, to=unit, substance=quantity.substance))
    except UnitError:
        return None


def pair(bounds: tuple[float, float], quantity: Quantity, unit: str) -> tuple[float, float] | None:
    """Two canonical bounds in another unit, or None where they cannot be said in it."""
    low, high = (turned(bound, quantity, unit) for bound in bounds)
    return None if low is None or high is None else (low, high)


def plain(value: float, digits: int = FEW_DIGITS) -> str:
    """A number to a few digits, without an exponent: `8.2`, `1320`, `0.03`."""
    return f"{float(f'{value:.{digits}g}'):.10f}".rstrip("0").rstrip(".")
