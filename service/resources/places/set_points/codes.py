"""What can be set: some codes of their own, targets, and every quantity that can be read."""

from __future__ import annotations

from service.resources.keeping.amounts import refused
from service.science.quantities import QUANTITIES
from service.science.units import UnitError, convert

OWN_CODES = {
    "water_volume": "L",
    "reference_salinity": "1",
    "low_ph_cut_off": "[pH]",
    "dosing_rate": "L/d",
}
POSITIVE = {"water_volume", "reference_salinity", "low_ph_cut_off"}
TARGET = "target_"


def canonical_setting(code: str, value: float, unit: str) -> tuple[float, str]:
    """A setting in its canonical unit, and that unit. Raises Unacceptable naming the field."""
    canonical_unit = _unit_of(code)
    try:
        canonical = float(convert(value, unit=unit, to=canonical_unit))
    except UnitError as error:
        raise refused("/unit", str(error), unit) from error
    if canonical < 0 or (code in POSITIVE and canonical == 0):
        raise refused("/value", f"A {code.replace('_', ' ')} above zero is expected.", value)
    return canonical, canonical_unit


def _unit_of(code: str) -> str:
    if code in OWN_CODES:
        return OWN_CODES[code]
    quantity = QUANTITIES.get(code.removeprefix(TARGET))
    if quantity is None:
        known = ", ".join([*OWN_CODES, f"{TARGET}<quantity>", "or a quantity of /v1/quantities"])
        raise refused("/quantity", f"Not something that can be set. Known: {known}.", code)
    return quantity.unit
