"""/v1/quantities"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path

from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Shape
from service.resources.catalogue.methods.repeatability import common_methods
from service.science.quantities import QUANTITIES, Condition, Quantity

router = APIRouter(prefix="/quantities", tags=["quantities"])


class ConditionRead(Shape):
    """Something a reading of this quantity may or must say beside its value."""

    name: str
    title: str
    unit: str | None
    choices: list[str]
    default: str | float | None
    required: bool
    required_for_units: list[str]


class QuantityRead(Shape):
    """What can be measured: its units, conditions and bounds (in the canonical unit)."""

    code: str
    title: str
    unit: str
    accepted_units: list[str]
    possible: list[float]
    plausible: list[float]
    subjects: list[str]
    conditions: list[ConditionRead]
    common_methods: list[str]


@router.get("", response_model=list[QuantityRead])
def list_quantities(door: DoorOf) -> Any:
    """Everything that can be measured."""
    with door.read():
        return [_shown(quantity) for quantity in QUANTITIES.values()]


@router.get("/{code}", response_model=QuantityRead, responses=may_refuse(NotFound, Unacceptable))
def read_quantity(code: Annotated[str, Path(max_length=40)], door: DoorOf) -> Any:
    """One quantity."""
    with door.read():
        if code not in QUANTITIES:
            raise NotFound("There is no quantity of this code. GET /v1/quantities lists them all.")
        return _shown(QUANTITIES[code])


def _shown(quantity: Quantity) -> dict[str, Any]:
    return {
        "code": quantity.code,
        "title": quantity.title,
        "unit": quantity.unit,
        "accepted_units": list(quantity.units),
        "possible": list(quantity.possible),
        "plausible": list(quantity.plausible),
        "subjects": sorted(quantity.subjects),
        "conditions": [_condition(condition) for condition in quantity.conditions],
        "common_methods": common_methods(quantity.code),
    }


def _condition(condition: Condition) -> dict[str, Any]:
    return {
        "name": condition.name,
        "title": condition.title,
        "unit": condition.unit,
        "choices": list(condition.choices),
        "default": condition.default,
        "required": condition.required,
        "required_for_units": sorted(condition.required_for),
    }
