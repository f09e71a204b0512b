"""The fields of a reading set: one a quantity, with what the page needs to tell at once what cannot be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.resources.catalogue.methods.repeatability import common_methods
from service.resources.places.set_points.codes import OWN_CODES, TARGET
from service.resources.records.readings.queries import Known
from service.science.quantities import QUANTITIES, Condition, Quantity
from service.web.phone.units import FEWER_DIGITS, pair, plain, shown_unit, symbol, turned

ALWAYS_OFFERED: Mapping[str, tuple[str, ...]] = {
    "system": ("alkalinity", "calcium", "magnesium", "temperature", "salinity", "ph"),
    "tank": ("alkalinity", "temperature", "salinity", "ph"),
    "calcium_reactor": ("effluent_flow", "effluent_alkalinity", "effluent_ph"),
    "co2_cylinder": ("cylinder_gross_mass",),
}
OWN_SETTINGS = {
    "calcium_reactor": {"low_ph_cut_off": "low-pH cut-off"},
    "controller": {"low_ph_cut_off": "low-pH cut-off"},
    "dosing_pump": {"dosing_rate": "dosing rate"},
}
HAS_SETTINGS = {"system", "pump", "co2_regulator", "limewater_stirrer", *OWN_SETTINGS}
OF_THE_FORM = "hung_on_scale"  # a condition that the weighing asks for itself
MOST_IN_FRONT = 7
TIMED_FLOW_UNIT = "mL/min"  # what a measuring cylinder and a stopwatch give, whatever the site shows elsewhere


@dataclass(frozen=True)
class Last:
    """The last value, in the field's unit and as text."""

    text: str
    value: float
    at: datetime
    id: UUID
    version: int


@dataclass(frozen=True)
class Field:
    """One quantity as a field: bounds in its unit (None where they cannot be said in it), conditions, last value."""

    code: str
    title: str
    unit: str
    symbol: str
    possible: tuple[float, float] | None
    plausible: tuple[float, float] | None
    needed: tuple[Condition, ...]
    optional: tuple[Condition, ...]
    methods: tuple[str, ...]
    last: Last | None
    usual: tuple[str, str] | None

    @property
    def plausible_text(self) -> tuple[str, str] | None:
        """The plausible band as text."""
        return None if self.plausible is None else (_rough(self.plausible[0]), _rough(self.plausible[1]))


def fields_of(kind: str, units: Mapping[str, str], known: Sequence[Known]) -> tuple[list[Field], list[Field]]:
    """The fields for a kind of subject: those in front (what is read here anyway), and all others."""
    by_code: dict[str, Known] = {}
    for each in known:
        by_code.setdefault(each.quantity, each)
    here = [quantity for quantity in QUANTITIES.values() if kind in quantity.subjects]
    wanted = [*ALWAYS_OFFERED.get(kind, ()), *by_code] or [quantity.code for quantity in here]
    front = list(dict.fromkeys(code for code in wanted if kind in QUANTITIES[code].subjects))[:MOST_IN_FRONT]
    fields = {quantity.code: _field(quantity, units, by_code.get(quantity.code)) for quantity in here}
    return [fields[code] for code in front], [field for code, field in fields.items() if code not in front]


@dataclass(frozen=True)
class Setting:
    """Something that can be set on a subject: its code, title and unit."""

    code: str
    title: str
    unit: str
    symbol: str


def settings_of(kind: str, units: Mapping[str, str]) -> list[Setting]:
    """What can be set on a kind of subject; nothing on what has no knob."""
    if kind not in HAS_SETTINGS:
        return []
    here = [quantity for quantity in QUANTITIES.values() if kind in quantity.subjects]
    if kind == "system":
        return [_setting(TARGET + quantity.code, quantity, units) for quantity in here]
    own = [
        Setting(code, title, OWN_CODES[code], symbol(OWN_CODES[code]))
        for code, title in OWN_SETTINGS.get(kind, {}).items()
    ]
    return [*own, *(_setting(quantity.code, quantity, units) for quantity in here)]


def _setting(code: str, quantity: Quantity, units: Mapping[str, str]) -> Setting:
    unit = quantity.unit if quantity.needs_conditions(shown_unit(quantity, units)) else shown_unit(quantity, units)
    return Setting(code, quantity.title, unit, symbol(unit))


def _field(quantity: Quantity, units: Mapping[str, str], known: Known | None) -> Field:
    unit = shown_unit(quantity, units)
    if quantity.code == "effluent_flow" and quantity.code not in units:
        unit = TIMED_FLOW_UNIT
    needed = tuple(each for each in quantity.conditions if each.required or unit in each.required_for)
    return Field(
        code=quantity.code,
        title=quantity.title,
        unit=unit,
        symbol=symbol(unit),
        possible=pair(quantity.possible, quantity, unit),
        plausible=pair(quantity.plausible, quantity, unit),
        needed=needed,
        optional=tuple(
            c for c in quantity.conditions if c not in needed and not c.required_for and c.name != OF_THE_FORM
        ),
        methods=tuple(common_methods(quantity.code)),
        last=None if known is None else _last(known, quantity, unit),
        usual=None if known is None else _usual(known, quantity, unit),
    )


def _is_asked(condition: Condition) -> bool:
    return not condition.required_for and condition.name != OF_THE_FORM


def _last(known: Known, quantity: Quantity, unit: str) -> Last | None:
    value = turned(known.value, quantity, unit)
    return None if value is None else Last(plain(value), value, known.at, known.id, known.version)


def _usual(known: Known, quantity: Quantity, unit: str) -> tuple[str, str] | None:
    bounds = None if known.usual is None else pair(known.usual, quantity, unit)
    return None if bounds is None else (_rough(bounds[0]), _rough(bounds[1]))


def _rough(value: float) -> str:
    return plain(value, FEWER_DIGITS)
