"""The only conversions between units.

Factors are exact fractions, so a conversion is one multiplication or division, rounded once. What a conversion may
cross, and what it then needs:
    per litre <-> per kilogram      salinity and temperature at which the volume was taken (density by TEOS-10)
    mass <-> amount                 the substance, unless the unit names it
    milliequivalent <-> millimole   alkalinity only, where a mole is a mole of charge
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from types import MappingProxyType
from typing import overload

import numpy as np

from service.science import Numbers, Values
from service.science.constants import EXACT_MOLAR_MASS_G_MOL
from service.science.seawater import density
from service.science.unit_table import UNITS, Unit

__all__ = [
    "UNITS",
    "IncompatibleUnits",
    "MissingCondition",
    "Unit",
    "UnitError",
    "UnknownUnit",
    "accepted_with",
    "convert",
    "unit_named",
]


class UnitError(ValueError):
    """A conversion that cannot be done; the message says why and what would do."""


class UnknownUnit(UnitError):
    """No such unit in the table."""


class IncompatibleUnits(UnitError):
    """Two units that measure different things."""


class MissingCondition(UnitError):
    """The conversion needs something that was not given; `condition` names it."""

    def __init__(self, condition: str, message: str) -> None:
        super().__init__(message)
        self.condition = condition


_CROSSINGS = {
    f"{counted}{f' per {per}' if per else ''}{' and time' if timed else ''}": (counted, per, timed)
    for counted in ("amount", "mass")
    for per, timed in (("", False), ("volume", False), ("mass", False), ("volume", True), ("mass", True))
}
"""Dimensions that density or a molar mass can bridge: what is counted, per what, and whether per day."""


def _spellings() -> dict[str, str]:
    """Every accepted spelling -> code. A code wins over another unit's UCUM spelling or alias."""
    known = {code: code for code in UNITS}
    for unit in UNITS.values():
        for spelling in (unit.ucum, *unit.aliases):
            if spelling is not None:
                known.setdefault(spelling, unit.code)
    return known


_CODES = MappingProxyType(_spellings())


def unit_named(spelling: str) -> Unit:
    """The unit of that code, UCUM spelling or alias; UnknownUnit otherwise."""
    try:
        return UNITS[_CODES[spelling]]
    except KeyError:
        raise UnknownUnit(f"unknown unit {spelling!r}; known units: {', '.join(UNITS)}") from None


def accepted_with(spelling: str) -> tuple[str, ...]:
    """Codes of the units that the named one converts to, conditions permitting."""
    unit = unit_named(spelling)
    return tuple(code for code, other in UNITS.items() if _convertible(unit, other))


def _convertible(one: Unit, other: Unit) -> bool:
    """Whether two units measure the same thing, conditions aside.

    Units that name different things never convert; nor does a unit that names its substance to a plain mass, because
    how many grams a milliequivalent weighs depends on the salt.
    """
    if one.of is not None and other.of is not None and one.of != other.of:
        return False
    if one.dimension == other.dimension:
        return True
    if one.dimension not in _CROSSINGS or other.dimension not in _CROSSINGS:
        return False
    counted, per, timed = _CROSSINGS[one.dimension]
    other_counted, other_per, other_timed = _CROSSINGS[other.dimension]
    if timed != other_timed or bool(per) != bool(other_per):
        return False
    return counted == other_counted or (one.of is None and other.of is None)


@overload
def convert(
    value: float,
    *,
    unit: str,
    to: str,
    substance: str | None = None,
    salinity: float | None = None,
    temperature_c: float | None = None,
) -> float: ...
@overload
def convert(
    value: Values,
    *,
    unit: str,
    to: str,
    substance: str | None = None,
    salinity: Numbers | None = None,
    temperature_c: Numbers | None = None,
) -> Values: ...
def convert(
    value: Numbers,
    *,
    unit: str,
    to: str,
    substance: str | None = None,
    salinity: Numbers | None = None,
    temperature_c: Numbers | None = None,
) -> Numbers:
    """A value in another unit: a float for a float, an array of the same shape for an array.

    `substance` is a formula of `constants.MOLAR_MASS_G_MOL` ("Ca"), needed between a plain mass and an amount;
    salinity and temperature_c (of the water when its volume was taken) between per litre and per kilogram.
    UnknownUnit, IncompatibleUnits or MissingCondition when it cannot be done.

    Source: UCUM, DIN, IUPAC05, IOC10, NIST811, SPAN96.
    Check value: 0.35665 at value=1, unit="dKH", to="meq/L" (+-5e-5).
    Check value: 17.848 at value=1, unit="dKH", to="mg/L CaCO3" (+-0.001).
    Check value: 2788.12 at value=8, unit="dKH", to="umol/kg", salinity=35, temperature_c=25 (+-0.02).
    Check value: 0.351 at value=1, unit="g/d", to="mL/min (0 C, 1 atm)" (+-5e-4).
    Check value: 77 at value=25, unit="Cel", to="degF" (+-1e-12).
    """
    way = _way(unit, to, substance)
    if way is None:
        return value if isinstance(value, np.ndarray) else float(value)
    shifted = value + way.offset
    result = (shifted / way.factor if way.divides else shifted * way.factor) - way.offset_of_wanted
    if way.density_power:
        result = result * _kg_per_litre(way.given, way.wanted, salinity, temperature_c) ** way.density_power
    if isinstance(value, np.ndarray):
        return np.asarray(result, dtype=np.float64)
    return float(result) if np.ndim(result) == 0 else np.asarray(result, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Way:
    """From one unit to another; divides: by the factor, where its inverse is the float that is rounded once."""

    given: Unit
    wanted: Unit
    offset: float
    divides: bool
    factor: float
    offset_of_wanted: float
    density_power: int


@lru_cache(maxsize=4096)
def _way(unit: str, to: str, substance: str | None) -> _Way | None:
    """Worked out once for each pair of units: exact fractions cost more than the conversion. None: it is the same."""
    given, wanted = unit_named(unit), unit_named(to)
    if given is wanted:
        return None
    ratio = _ratio(given, wanted, substance)
    divides = ratio < 1
    factor = float(1 / ratio) if divides else float(ratio)
    power = _density_power(given, wanted)
    return _Way(given, wanted, float(given.offset), divides, factor, float(wanted.offset), power)


def _ratio(given: Unit, wanted: Unit, substance: str | None) -> Fraction:
    ratio = given.factor / wanted.factor
    if not _convertible(given, wanted):
        raise IncompatibleUnits(
            f"{given.code!r} does not convert to {wanted.code!r}; it converts to {', '.join(accepted_with(given.code))}"
        )
    if given.dimension == wanted.dimension:
        return ratio
    (counted, per, _), (wanted_counted, _, _) = _CROSSINGS[given.dimension], _CROSSINGS[wanted.dimension]
    if counted == wanted_counted:
        return ratio
    if substance is None:
        raise MissingCondition(
            "substance", f"{given.code!r} to {wanted.code!r} needs the substance whose mass and amount are meant"
        )
    if substance not in EXACT_MOLAR_MASS_G_MOL:
        raise UnitError(f"unknown substance {substance!r}; known: {', '.join(EXACT_MOLAR_MASS_G_MOL)}")
    mg_per_mmol = EXACT_MOLAR_MASS_G_MOL[substance]
    if not per:
        mg_per_mmol /= 1_000_000  # plain masses count from the kilogram
    return ratio * mg_per_mmol if counted == "amount" else ratio / mg_per_mmol


def _density_power(given: Unit, wanted: Unit) -> int:
    """-1 from per litre to per kilogram, +1 back, 0 otherwise."""
    if given.dimension not in _CROSSINGS or wanted.dimension not in _CROSSINGS:
        return 0
    per, wanted_per = _CROSSINGS[given.dimension][1], _CROSSINGS[wanted.dimension][1]
    return 0 if per == wanted_per else (-1 if per == "volume" else 1)


def _kg_per_litre(given: Unit, wanted: Unit, salinity: Numbers | None, temperature_c: Numbers | None) -> Values:
    for condition, sent in (("salinity", salinity), ("temperature", temperature_c)):
        if sent is None:
            raise MissingCondition(
                condition,
                f"{given.code!r} to {wanted.code!r} needs the {condition} of the water when its volume was taken",
            )
    assert salinity is not None
    assert temperature_c is not None
    return density(salinity=salinity, temperature_c=temperature_c) / 1000.0
