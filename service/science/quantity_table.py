"""The table of what can be measured: unit, conditions, bounds and where it applies, one row a quantity.

Bounds come in two pairs, in the canonical unit. Outside `possible` the reading is refused: no instrument in this use
can be right about it. Outside `plausible` it wants confirming. Both are common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args

WATER = frozenset({"system", "tank", "reservoir"})
EquipmentKind = Literal[
    "calcium_reactor",
    "co2_cylinder",
    "co2_regulator",
    "pump",
    "limewater_stirrer",
    "dosing_pump",
    "probe",
    "gas_monitor",
    "controller",
    "other",
]
EQUIPMENT_KINDS: frozenset[str] = frozenset(get_args(EquipmentKind))
SUBJECT_KINDS = WATER | EQUIPMENT_KINDS | {"room"}
"""Everything a reading can be about."""


@dataclass(frozen=True, slots=True)
class Condition:
    """Something about a reading that its value depends on.

    A condition with `choices` is a word, one with a `unit` a number in that unit, one with neither is free text.
    `required` always, or `required_for` these units; `default` stands in when it is not sent.
    """

    name: str
    title: str
    unit: str | None = None
    choices: tuple[str, ...] = ()
    default: str | float | None = None
    required: bool = False
    required_for: frozenset[str] = frozenset()
    possible: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Quantity:
    """One row: `units` are the accepted ones, the canonical `unit` first; `substance` where mass and amount meet."""

    code: str
    title: str
    units: tuple[str, ...]
    possible: tuple[float, float]
    plausible: tuple[float, float]
    subjects: frozenset[str]
    conditions: tuple[Condition, ...] = ()
    substance: str | None = None

    @property
    def unit(self) -> str:
        """The canonical unit."""
        return self.units[0]

    def needs_conditions(self, unit: str) -> bool:
        """Whether a value in this unit means nothing without saying more: per kilogram, a hydrometer's scale."""
        return any(unit in condition.required_for for condition in self.conditions)

    def condition(self, name: str) -> Condition | None:
        """The condition of that name, if this quantity has it."""
        return next((condition for condition in self.conditions if condition.name == name), None)


_PER_KG = frozenset({"umol/kg", "mmol/kg", "meq/kg", "mol/kg", "mg/kg", "ug/kg"})

TEMPERATURE = Condition("temperature", "water temperature at the reading", "Cel", possible=(-2.0, 60.0))
SALINITY = Condition("salinity", "practical salinity of the sample", "1", possible=(0.0, 70.0))
_DENSITY = (
    Condition("salinity", "practical salinity of the sample", "1", required_for=_PER_KG, possible=(0.0, 70.0)),
    Condition(
        "temperature",
        "temperature of the water when its volume was taken",
        "Cel",
        required_for=_PER_KG,
        possible=(-2.0, 60.0),
    ),
)
_PH = (
    Condition("scale", "pH scale of the buffers or dye", choices=("nbs", "total"), default="nbs"),
    Condition("temperature", "temperature at which pH was read", "Cel", possible=(-2.0, 60.0)),
    Condition("salinity", "practical salinity of the sample", "1", default=35.0, possible=(0.0, 70.0)),
)
_PRESSURE = (
    Condition(
        "pressure_reference", "gauge (zero in open air) or absolute", choices=("gauge", "absolute"), required=True
    ),
    Condition("atmospheric_pressure", "air pressure at the gauge", "bar", default=1.01325, possible=(0.5, 1.1)),
)
_HYDROMETER = frozenset({"SG"})


def _standard(unit: str, largest: float) -> Condition:
    """What a check standard, read with the same kit and lot, is said to hold."""
    return Condition("stated_value", "stated value of the check standard", unit, possible=(0.0, largest))


_ALKALINITY_UNITS = (
    "meq/L", "dKH", "mmol/L", "mmol/L CaCO3", "mg/L CaCO3", "degree f", "degree e",
    "umol/L", "umol/kg", "mmol/kg", "meq/kg", "mol/kg",
)  # fmt: skip
_ION_UNITS = ("mg/L", "mg/kg", "mmol/L", "umol/L", "mmol/kg", "umol/kg", "mol/kg", "g/L", "ug/L", "ug/kg")
_NITRATE_UNITS = ("mg/L NO3", "mg/L NO3-N", "mmol/L", "umol/L", "umol/kg")
_PHOSPHATE_UNITS = ("mg/L PO4", "mg/L PO4-P", "ug/L PO4-P", "mmol/L", "umol/L", "umol/kg")
_AMMONIA_UNITS = ("mg/L NH4-N", "mg/L NH4", "mg/L NH3", "mmol/L", "umol/L", "umol/kg")
_FLOW_UNITS = (
    "L/d",
    "L/h",
    "L/min",
    "mL/h",
    "mL/min",
    "mL/s",
    "m3/d",
    "m3/h",
    "gal US/d",
    "gal US/h",
    "gal imp/d",
    "gal imp/h",
)
_PRESSURE_UNITS = ("bar", "mbar", "kPa", "MPa", "psi", "atm")
_GAS_FLOW_UNITS = (
    "g/d",
    "g/h",
    "kg/d",
    "mL/min (0 C, 1 atm)",
    "L/min (0 C, 1 atm)",
    "L/h (0 C, 1 atm)",
    "mL/min (20 C, 1 atm)",
    "L/min (20 C, 1 atm)",
    "L/h (20 C, 1 atm)",
)


def _reactor(*others: str) -> frozenset[str]:
    return frozenset({"calcium_reactor", *others})


_ROWS = (
    Quantity("alkalinity", "alkalinity", _ALKALINITY_UNITS, (0.0, 100.0), (1.4, 6.0), WATER,
             (*_DENSITY, _standard("meq/L", 100.0))),
    Quantity("calcium", "calcium", _ION_UNITS, (0.0, 5000.0), (250.0, 650.0), WATER,
             (*_DENSITY, _standard("mg/L", 5000.0)), "Ca"),
    Quantity("magnesium", "magnesium", _ION_UNITS, (0.0, 10_000.0), (900.0, 2000.0), WATER,
             (*_DENSITY, _standard("mg/L", 10_000.0)), "Mg"),
    Quantity("strontium", "strontium", _ION_UNITS, (0.0, 500.0), (2.0, 20.0), WATER, _DENSITY, "Sr"),
    Quantity("potassium", "potassium", _ION_UNITS, (0.0, 5000.0), (250.0, 550.0), WATER, _DENSITY, "K"),
    Quantity("nitrate", "nitrate", _NITRATE_UNITS, (0.0, 5000.0), (0.0, 100.0), WATER,
             (*_DENSITY, _standard("mg/L NO3", 5000.0))),
    Quantity("phosphate", "phosphate", _PHOSPHATE_UNITS, (0.0, 500.0), (0.0, 1.0), WATER,
             (*_DENSITY, _standard("mg/L PO4", 500.0))),
    Quantity("ammonia", "total ammonia", _AMMONIA_UNITS, (0.0, 500.0), (0.0, 0.5), WATER, _DENSITY),
    Quantity("ph", "pH", ("[pH]",), (0.0, 14.0), (7.4, 8.8), WATER, _PH),
    Quantity(
        "temperature", "temperature", ("Cel", "degF", "K"), (-40.0, 80.0), (15.0, 32.0),
        WATER | _reactor("co2_cylinder", "limewater_stirrer", "room"),
    ),
    Quantity(
        "salinity", "practical salinity", ("1", "g/kg", "SG", "mS/cm", "uS/cm", "S/m"), (0.0, 70.0), (28.0, 40.0),
        WATER,
        (
            Condition(
                "temperature", "temperature of the sample (25 for a meter that compensates to 25)", "Cel",
                required_for=frozenset({"SG", "mS/cm", "uS/cm", "S/m"}), possible=(-2.0, 60.0),
            ),
            Condition(
                "reference_temperature", "temperature of the pure water the hydrometer's scale compares with", "Cel",
                required_for=_HYDROMETER, possible=(0.0, 40.0),
            ),
            Condition(
                "calibration_temperature", "temperature the hydrometer's glass was calibrated at, if another", "Cel",
                possible=(0.0, 40.0),
            ),
            _standard("1", 70.0),
        ),
    ),
    Quantity(
        "conductivity", "conductivity", ("mS/cm", "uS/cm", "S/m"), (0.0, 150.0), (40.0, 62.0),
        WATER | {"limewater_stirrer"}, (TEMPERATURE,),
    ),
    Quantity("effluent_alkalinity", "effluent alkalinity", _ALKALINITY_UNITS, (0.0, 100.0), (3.0, 25.0), _reactor(),
             _DENSITY),
    Quantity("effluent_ph", "effluent pH", ("[pH]",), (0.0, 14.0), (5.8, 8.0), _reactor(), _PH),
    Quantity(
        "effluent_flow", "effluent flow", (*_FLOW_UNITS, "{drop}/min", "{drop}/s"), (0.0, 100_000.0), (2.0, 2000.0),
        _reactor(),
        (
            Condition(
                "drops_per_ml", "drops that fill one millilitre", "{drop}/mL",
                required_for=frozenset({"{drop}/min", "{drop}/s"}), possible=(5.0, 100.0),
            ),
        ),
    ),
    Quantity("chamber_ph", "chamber pH", ("[pH]",), (0.0, 14.0), (5.8, 7.6), _reactor(), _PH),
    Quantity("chamber_pressure", "chamber pressure", _PRESSURE_UNITS, (0.0, 20.0), (0.9, 2.0), _reactor(), _PRESSURE),
    Quantity(
        "delivery_pressure", "delivery pressure", _PRESSURE_UNITS, (0.0, 50.0), (1.0, 4.0),
        _reactor("co2_regulator", "co2_cylinder"), _PRESSURE,
    ),
    Quantity("bubble_rate", "bubble rate", ("{bubble}/s", "{bubble}/min"), (0.0, 100.0), (0.0, 6.0),
             _reactor("co2_regulator")),
    Quantity("gas_flow", "gas flow", _GAS_FLOW_UNITS, (0.0, 1e6), (0.0, 1000.0), _reactor("co2_regulator")),
    Quantity(
        "cylinder_pressure", "cylinder pressure", _PRESSURE_UNITS, (0.0, 400.0), (0.9, 150.0),
        frozenset({"co2_cylinder", "co2_regulator"}), _PRESSURE,
    ),
    Quantity(
        "cylinder_gross_mass", "cylinder gross mass", ("kg", "g", "lb", "oz"), (0.0, 1000.0), (0.5, 150.0),
        frozenset({"co2_cylinder"}),
        (Condition("hung_on_scale", "what was on the scale with the cylinder: cap, regulator, hose"),),
    ),
    Quantity("media_level", "media level", ("%",), (0.0, 100.0), (0.0, 100.0), _reactor()),
    Quantity(
        "limewater_strength", "limewater strength, as alkalinity",
        ("meq/L", "dKH", "mmol/L Ca(OH)2", "mol/L Ca(OH)2", "mg/L CaCO3"), (0.0, 100.0), (10.0, 46.0),
        frozenset({"limewater_stirrer", "reservoir"}),
    ),
    Quantity("top_off_volume", "top-off volume", ("L", "mL", "m3", "gal US", "gal imp"), (0.0, 1e6), (0.0, 1000.0),
             WATER | {"limewater_stirrer"}),
    Quantity("water_level", "water level against its mark", ("mm", "cm", "m", "in"), (-20_000.0, 20_000.0),
             (-500.0, 3000.0), WATER),
    Quantity("room_co2", "carbon dioxide in room air", ("ppm", "%"), (0.0, 1e6), (300.0, 5000.0),
             frozenset({"room", "gas_monitor"})),
    Quantity("oxygen", "oxygen in room air", ("%", "ppm"), (0.0, 100.0), (19.0, 21.5),
             frozenset({"room", "gas_monitor"})),
    Quantity("dissolved_oxygen", "dissolved oxygen", ("mg/L", "mmol/L", "umol/L", "umol/kg"), (0.0, 60.0), (4.0, 14.0),
             WATER, _DENSITY, "O2"),
    Quantity("pco2", "partial pressure of carbon dioxide in the water", ("uatm",), (0.0, 1e6), (50.0, 3000.0),
             WATER),
    Quantity("inflow", "flow of new water into a tank", _FLOW_UNITS, (0.0, 1e8), (0.0, 1e6), WATER),
    Quantity("orp", "oxidation-reduction potential", ("mV", "V"), (-2000.0, 2000.0), (100.0, 550.0), WATER),
)  # fmt: skip

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({row.code: row for row in _ROWS})
"""Every quantity of the service by its code; a site's own ones are further `Quantity` rows."""
