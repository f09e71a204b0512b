"""The one closed table of units: codes, symbols, dimensions and exact factors.

A unit's code is what people and scripts send; its basis is part of it (`mg/L NO3` is not `mg/L NO3-N`). Where the
Unified Code for Units of Measure can say it, `ucum` holds that spelling, accepted too. Sources: UCUM, NIST811, DIN,
IUPAC05, SPAN96 (gas volumes).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from service.science.constants import (
    CO2_GAS_KG_M3_0C,
    CO2_GAS_KG_M3_20C,
    EXACT_MOLAR_MASS_G_MOL,
    REFERENCE_SALINITY_G_KG,
)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: base value = factor x (value + offset), in the base unit of its dimension.

    `of` names what is counted when the unit says so; units of different things never convert.
    """

    code: str
    symbol: str
    dimension: str
    factor: Fraction
    ucum: str | None = None
    of: str | None = None
    offset: Fraction = Fraction(0)
    aliases: tuple[str, ...] = ()


BASE_UNITS = MappingProxyType(
    {
        "amount per volume": "mmol/L",
        "amount per mass": "mmol/kg",
        "mass per volume": "mg/L",
        "mass per mass": "mg/kg",
        "amount per volume and time": "mmol/L/d",
        "amount per mass and time": "mmol/kg/d",
        "mass per volume and time": "mg/L/d",
        "mass per mass and time": "mg/kg/d",
        "amount": "mmol",
        "mass": "kg",
        "volume": "L",
        "length": "mm",
        "time": "d",
        "temperature": "Cel",
        "salinity": "1",
        "specific gravity": "SG",
        "acidity": "[pH]",
        "conductivity": "mS/cm",
        "flow": "L/d",
        "drops": "{drop}/min",
        "drop size": "{drop}/mL",
        "gas flow": "g/d",
        "pressure": "bar",
        "bubbles": "{bubble}/s",
        "volume fraction": "ppm",
        "potential": "mV",
    }
)
"""Dimension -> the unit its factors refer to."""

_LITRE_PER_US_GALLON = Fraction("3.785411784")
_LITRE_PER_IMPERIAL_GALLON = Fraction("4.54609")
_KG_PER_POUND = Fraction("0.45359237")
_BAR_PER_PSI = _KG_PER_POUND * Fraction("9.80665") / Fraction("0.0254") ** 2 / 100_000
_MG_PER_GRAIN = Fraction("64.79891")
_MMOL_CHARGE_PER_MG_CACO3 = 2 / EXACT_MOLAR_MASS_G_MOL["CaCO3"]
_MMOL_CHARGE_PER_MG_CAO = 2 / EXACT_MOLAR_MASS_G_MOL["CaO"]


def _concentrations() -> Iterable[Unit]:
    volume, mass = "amount per volume", "amount per mass"
    one, kilo, micro = Fraction(1), Fraction(1000), Fraction(1, 1000)
    yield Unit("meq/L", "meq/L", volume, one, "meq/L", aliases=("mval/L",), of="alkalinity")
    yield Unit("dKH", "dKH", volume, 10 * _MMOL_CHARGE_PER_MG_CAO, aliases=("°dKH", "degree d"), of="alkalinity")
    yield Unit(
        "mg/L CaCO3",
        "mg/L CaCO3",
        volume,
        _MMOL_CHARGE_PER_MG_CACO3,
        "mg{CaCO3}/L",
        "alkalinity",
        aliases=("ppm CaCO3",),
    )
    yield Unit("mmol/L CaCO3", "mmol/L CaCO3", volume, Fraction(2), "mmol{CaCO3}/L", of="alkalinity")
    yield Unit("degree f", "°fH", volume, 10 * _MMOL_CHARGE_PER_MG_CACO3, aliases=("°fH",), of="alkalinity")
    clark = _MG_PER_GRAIN / _LITRE_PER_IMPERIAL_GALLON * _MMOL_CHARGE_PER_MG_CACO3
    yield Unit("degree e", "°e", volume, clark, aliases=("°e",), of="alkalinity")
    yield Unit("mmol/L Ca(OH)2", "mmol/L Ca(OH)2", volume, Fraction(2), "mmol{Ca(OH)2}/L", of="alkalinity")
    yield Unit("mol/L Ca(OH)2", "mol/L Ca(OH)2", volume, 2 * kilo, "mol{Ca(OH)2}/L", of="alkalinity")
    yield Unit("mmol/L", "mmol/L", volume, one, "mmol/L", aliases=("mol/m3",))
    yield Unit("umol/L", "µmol/L", volume, micro, "umol/L", aliases=("µmol/L",))
    yield Unit("mol/L", "mol/L", volume, kilo, "mol/L")
    yield Unit("meq/kg", "meq/kg", mass, one, "meq/kg", of="alkalinity")
    yield Unit("umol/kg", "µmol/kg", mass, micro, "umol/kg", aliases=("µmol/kg",))
    yield Unit("mmol/kg", "mmol/kg", mass, one, "mmol/kg")
    yield Unit("mol/kg", "mol/kg", mass, kilo, "mol/kg")
    for label, formula, of in (
        ("NO3", "NO3", "nitrogen"),
        ("NO3-N", "N", "nitrogen"),
        ("NH4", "NH4", "nitrogen"),
        ("NH3", "NH3", "nitrogen"),
        ("NH4-N", "N", "nitrogen"),
        ("PO4", "PO4", "phosphorus"),
        ("PO4-P", "P", "phosphorus"),
    ):
        code, spelt, trade = f"mg/L {label}", f"mg{{{label}}}/L", f"ppm {label}"
        yield Unit(code, code, volume, 1 / EXACT_MOLAR_MASS_G_MOL[formula], spelt, of, aliases=(trade,))
    per_ug_phosphorus = micro / EXACT_MOLAR_MASS_G_MOL["P"]
    yield Unit("ug/L PO4-P", "µg/L PO4-P", volume, per_ug_phosphorus, "ug{PO4-P}/L", "phosphorus", aliases=("ppb P",))
    yield Unit("mg/L", "mg/L", "mass per volume", one, "mg/L")
    yield Unit("ug/L", "µg/L", "mass per volume", micro, "ug/L", aliases=("µg/L",))
    yield Unit("g/L", "g/L", "mass per volume", kilo, "g/L")
    yield Unit("mg/kg", "mg/kg", "mass per mass", one, "mg/kg")
    yield Unit("ug/kg", "µg/kg", "mass per mass", micro, "ug/kg", aliases=("µg/kg",))


def _rates() -> Iterable[Unit]:
    """What is used or supplied in a day: a concentration, per day."""
    for unit in _concentrations():
        if "OH" in unit.code:
            continue
        head, space, basis = unit.code.partition(" ")
        code = f"{unit.code}/d" if head == "degree" else f"{head}/d{space}{basis}"
        symbol = code if unit.code == unit.symbol else f"{unit.symbol}/d"
        ucum = f"{unit.ucum}/d" if unit.ucum else None
        yield Unit(code, symbol, f"{unit.dimension} and time", unit.factor, ucum, unit.of)


def _quantities_of_stuff() -> Iterable[Unit]:
    yield Unit("mmol", "mmol", "amount", Fraction(1), "mmol")
    yield Unit("meq", "meq", "amount", Fraction(1), "meq", of="alkalinity")
    yield Unit("mol", "mol", "amount", Fraction(1000), "mol")
    yield Unit("umol", "µmol", "amount", Fraction(1, 1000), "umol", aliases=("µmol",))
    yield Unit("meq/d", "meq/d", "amount and time", Fraction(1), "meq/d", of="alkalinity")
    yield Unit("mmol/d", "mmol/d", "amount and time", Fraction(1), "mmol/d")
    yield Unit("mol/d", "mol/d", "amount and time", Fraction(1000), "mol/d")
    yield Unit("mg", "mg", "mass", Fraction(1, 1_000_000), "mg")
    yield Unit("g", "g", "mass", Fraction(1, 1000), "g")
    yield Unit("kg", "kg", "mass", Fraction(1), "kg")
    yield Unit("lb", "lb", "mass", _KG_PER_POUND, "[lb_av]")
    yield Unit("oz", "oz", "mass", _KG_PER_POUND / 16, "[oz_av]")
    yield Unit("mL", "mL", "volume", Fraction(1, 1000), "mL", aliases=("ml",))
    yield Unit("L", "L", "volume", Fraction(1), "L", aliases=("l",))
    yield Unit("m3", "m³", "volume", Fraction(1000), "m3", aliases=("m³",))
    yield Unit("gal US", "US gal", "volume", _LITRE_PER_US_GALLON, "[gal_us]")
    yield Unit("gal imp", "imp gal", "volume", _LITRE_PER_IMPERIAL_GALLON, "[gal_br]")
    yield Unit("mm", "mm", "length", Fraction(1), "mm")
    yield Unit("cm", "cm", "length", Fraction(10), "cm")
    yield Unit("m", "m", "length", Fraction(1000), "m")
    yield Unit("in", "in", "length", Fraction("25.4"), "[in_i]")
    yield Unit("s", "s", "time", Fraction(1, 86_400), "s")
    yield Unit("min", "min", "time", Fraction(1, 1440), "min")
    yield Unit("h", "h", "time", Fraction(1, 24), "h")
    yield Unit("d", "d", "time", Fraction(1), "d")
    yield Unit("wk", "wk", "time", Fraction(7), "wk")


def _states_of_water() -> Iterable[Unit]:
    yield Unit("Cel", "°C", "temperature", Fraction(1), "Cel", aliases=("°C", "degC"))
    yield Unit("K", "K", "temperature", Fraction(1), "K", offset=Fraction("-273.15"))
    yield Unit("degF", "°F", "temperature", Fraction(5, 9), "[degF]", offset=Fraction(-32), aliases=("°F",))
    yield Unit("1", "S", "salinity", Fraction(1), "1", aliases=("PSU", "psu", "ppt"))
    yield Unit("g/kg", "g/kg", "salinity", 35 / Fraction(str(REFERENCE_SALINITY_G_KG)), "g/kg")
    yield Unit("SG", "SG", "specific gravity", Fraction(1))
    yield Unit("[pH]", "pH", "acidity", Fraction(1), "[pH]", aliases=("pH",))
    yield Unit("mS/cm", "mS/cm", "conductivity", Fraction(1), "mS/cm")
    yield Unit("uS/cm", "µS/cm", "conductivity", Fraction(1, 1000), "uS/cm", aliases=("µS/cm",))
    yield Unit("S/m", "S/m", "conductivity", Fraction(10), "S/m")
    yield Unit("mV", "mV", "potential", Fraction(1), "mV")
    yield Unit("V", "V", "potential", Fraction(1000), "V")


def _flows_and_gas() -> Iterable[Unit]:
    for volume, litres, ucum in (
        ("L", Fraction(1), "L"),
        ("mL", Fraction(1, 1000), "mL"),
        ("m3", Fraction(1000), "m3"),
        ("gal US", _LITRE_PER_US_GALLON, "[gal_us]"),
        ("gal imp", _LITRE_PER_IMPERIAL_GALLON, "[gal_br]"),
    ):
        for time, per_day in (("d", 1), ("h", 24), ("min", 1440), ("s", 86_400)):
            yield Unit(f"{volume}/{time}", f"{volume}/{time}", "flow", litres * per_day, f"{ucum}/{time}")
    yield Unit("{drop}/min", "drops/min", "drops", Fraction(1), "{drop}/min", aliases=("drops/min",))
    yield Unit("{drop}/s", "drops/s", "drops", Fraction(60), "{drop}/s", aliases=("drops/s",))
    yield Unit("{drop}/mL", "drops/mL", "drop size", Fraction(1), "{drop}/mL", aliases=("drops/mL",))
    yield Unit("{bubble}/s", "bubbles/s", "bubbles", Fraction(1), "{bubble}/s", aliases=("bubbles/s",))
    yield Unit("{bubble}/min", "bubbles/min", "bubbles", Fraction(1, 60), "{bubble}/min", aliases=("bubbles/min",))
    yield Unit("g/d", "g/d", "gas flow", Fraction(1), "g/d")
    yield Unit("g/h", "g/h", "gas flow", Fraction(24), "g/h")
    yield Unit("kg/d", "kg/d", "gas flow", Fraction(1000), "kg/d")
    for celsius, kg_m3 in (("0 C", CO2_GAS_KG_M3_0C), ("20 C", CO2_GAS_KG_M3_20C)):
        state = f"({celsius}, 1 atm)"
        yield Unit(f"mL/min {state}", f"mL/min {state}", "gas flow", kg_m3 * 1440 / 1000)
        yield Unit(f"L/min {state}", f"L/min {state}", "gas flow", kg_m3 * 1440)
        yield Unit(f"L/h {state}", f"L/h {state}", "gas flow", kg_m3 * 24)
    yield Unit("bar", "bar", "pressure", Fraction(1), "bar")
    yield Unit("mbar", "mbar", "pressure", Fraction(1, 1000), "mbar", aliases=("hPa",))
    yield Unit("kPa", "kPa", "pressure", Fraction(1, 100), "kPa")
    yield Unit("MPa", "MPa", "pressure", Fraction(10), "MPa")
    yield Unit("psi", "psi", "pressure", _BAR_PER_PSI, "[psi]")
    yield Unit("atm", "atm", "pressure", Fraction("1.01325"), "atm")
    yield Unit("uatm", "µatm", "pressure", Fraction("1.01325e-6"), "uatm", aliases=("µatm",))
    yield Unit("ppm", "ppm", "volume fraction", Fraction(1), "[ppm]")
    yield Unit("%", "%", "volume fraction", Fraction(10_000), "%")


UNITS: Mapping[str, Unit] = MappingProxyType(
    {
        unit.code: unit
        for family in (_concentrations, _rates, _quantities_of_stuff, _states_of_water, _flows_and_gas)
        for unit in family()
    }
)
"""Every unit by its code."""
