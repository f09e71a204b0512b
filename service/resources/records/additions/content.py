"""What an addition says, in canonical units: converted once, when it is recorded."""

from __future__ import annotations

from typing import Any

from service.http.shapes import Amount
from service.resources.keeping.amounts import amount_in, refused
from service.resources.records.additions.models import AdditionSent, NewWater
from service.science.quantities import ConditionMissing, EntryError, canonical
from service.science.units import UnitError, convert

SUBSTANCES = {"calcium": "Ca", "magnesium": "Mg"}
NEW_WATER = {
    "alkalinity": "alkalinity_meq_per_l",
    "calcium": "calcium_mg_per_l",
    "magnesium": "magnesium_mg_per_l",
    "salinity": "salinity",
}


def content(sent: AdditionSent) -> dict[str, Any]:
    """The canonical content of an addition, see `Addition`. Raises Unacceptable naming the field."""
    return _CONTENT[sent.kind](sent)


def _dose(sent: AdditionSent) -> dict[str, Any]:
    return {
        "alkalinity_meq": sent.alkalinity and amount_in(sent.alkalinity, "meq", pointer="/alkalinity", above=0),
        "calcium_mg": _dosed(sent.calcium, "calcium"),
        "magnesium_mg": _dosed(sent.magnesium, "magnesium"),
    }


def _water_change(sent: AdditionSent) -> dict[str, Any]:
    return {"volume_l": _litres(sent), "mode": sent.mode or "drained", **_new_water(sent.new_water)}


def _top_off(sent: AdditionSent) -> dict[str, Any]:
    strength = sent.strength and _known(sent.strength, "limewater_strength", "/strength")
    return {"volume_l": _litres(sent), "liquid": sent.liquid, "strength_meq_per_l": strength}


def _exchange(sent: AdditionSent) -> dict[str, Any]:
    assert sent.flow is not None
    return {"flow_l_per_day": amount_in(sent.flow, "L/d", pointer="/flow", above=0), **_new_water(sent.new_water)}


def _salt(sent: AdditionSent) -> dict[str, Any]:
    assert sent.mass is not None
    return {"mass_kg": amount_in(sent.mass, "kg", pointer="/mass", above=0)}


def _media(sent: AdditionSent) -> dict[str, Any]:
    return {**_salt(sent), "batch": sent.batch, "replaces": bool(sent.replaces)}


_CONTENT = {
    "dose": _dose,
    "water_change": _water_change,
    "top_off": _top_off,
    "exchange": _exchange,
    "salt": _salt,
    "media": _media,
}


def _litres(sent: AdditionSent) -> float:
    assert sent.volume is not None
    return amount_in(sent.volume, "L", pointer="/volume", above=0)


def _dosed(amount: Amount | None, name: str) -> float | None:
    """A total of an ion in mg: entered as its own mass or amount, not as that of a salt."""
    if amount is None:
        return None
    try:
        in_kg = convert(amount.value, unit=amount.unit, to="kg", substance=SUBSTANCES[name])
    except UnitError as error:
        raise refused(f"/{name}/unit", str(error), amount.unit) from error
    if in_kg <= 0:
        raise refused(f"/{name}/value", "More than 0 mg is expected.", amount.value)
    return float(convert(in_kg, unit="kg", to="mg"))


def _new_water(sent: NewWater | None) -> dict[str, Any]:
    sent = sent or NewWater()
    known = {key: _known(getattr(sent, name), name, f"/new_water/{name}") for name, key in NEW_WATER.items()}
    return {**known, "new_water_relative_sd": sent.relative_sd}


def _known(amount: Amount | None, quantity: str, pointer: str) -> float | None:
    """As a reading of that quantity would be converted and bounded."""
    if amount is None:
        return None
    try:
        return float(canonical(quantity, amount.value, amount.unit))
    except ConditionMissing as error:
        detail = "Here the unit must not need a temperature: state it per litre, and salinity as practical salinity."
        raise refused(f"{pointer}/unit", detail, amount.unit) from error
    except EntryError as error:
        raise refused(f"{pointer}/{error.field}", str(error), getattr(amount, error.field)) from error
