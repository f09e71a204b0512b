"""What can be measured: every quantity of the contract, entered in every way staff enter it, and refused clearly."""

import numpy as np
import pytest

from service.science import quantities
from service.science.quantities import (
    EQUIPMENT_KINDS,
    QUANTITIES,
    SUBJECT_KINDS,
    ConditionMissing,
    ConditionRefused,
    EntryError,
    Impossible,
    Quantity,
    UnitNotAccepted,
    UnknownQuantity,
    canonical,
    is_plausible,
    is_possible,
)
from service.science.units import UNITS, accepted_with

CONTRACT = [
    "alkalinity",
    "calcium",
    "magnesium",
    "strontium",
    "potassium",
    "nitrate",
    "phosphate",
    "ammonia",
    "ph",
    "temperature",
    "salinity",
    "conductivity",
    "effluent_alkalinity",
    "effluent_ph",
    "effluent_flow",
    "chamber_ph",
    "chamber_pressure",
    "delivery_pressure",
    "bubble_rate",
    "gas_flow",
    "cylinder_pressure",
    "cylinder_gross_mass",
    "media_level",
    "limewater_strength",
    "top_off_volume",
    "water_level",
    "room_co2",
    "oxygen",
    "dissolved_oxygen",
    "pco2",
    "inflow",
    "orp",
]
CANONICAL = {
    "alkalinity": "meq/L",
    "effluent_alkalinity": "meq/L",
    "calcium": "mg/L",
    "magnesium": "mg/L",
    "strontium": "mg/L",
    "potassium": "mg/L",
    "ph": "[pH]",
    "temperature": "Cel",
    "salinity": "1",
    "effluent_flow": "L/d",
    "gas_flow": "g/d",
    "cylinder_gross_mass": "kg",
    "cylinder_pressure": "bar",
    "delivery_pressure": "bar",
    "chamber_pressure": "bar",
}
SAMPLE = {"salinity": 35, "temperature": 25}


def test_every_quantity_of_the_contract_is_there() -> None:
    assert sorted(QUANTITIES) == sorted(CONTRACT)
    assert {code: QUANTITIES[code].unit for code in CANONICAL} == CANONICAL


def test_rows_hold_together() -> None:
    for row in QUANTITIES.values():
        assert set(row.units) <= set(UNITS), row.code
        assert len(set(row.units)) == len(row.units), row.code
        assert row.subjects <= SUBJECT_KINDS, row.code
        assert row.subjects, row.code
        assert len({condition.name for condition in row.conditions}) == len(row.conditions), row.code
        for condition in row.conditions:
            assert condition.required_for <= set(UNITS), condition.name
            assert condition.default is None or not condition.required, condition.name
            assert not condition.choices or condition.default in {None, *condition.choices}, condition.name
        special = {"SG", "mS/cm", "uS/cm", "S/m", "{drop}/min", "{drop}/s"}
        for unit in set(row.units) - special:
            assert unit in accepted_with(row.unit), (row.code, unit)


def test_every_kind_that_is_read_has_something_to_read() -> None:
    """Controllers, pumps and probes carry settings and calibrations, not readings of their own."""
    read = set().union(*(row.subjects for row in QUANTITIES.values()))
    assert SUBJECT_KINDS - read == {"pump", "dosing_pump", "probe", "controller", "other"}
    assert read & EQUIPMENT_KINDS


def test_bounds_enclose_what_each_quantity_can_be() -> None:
    for row in QUANTITIES.values():
        assert row.possible[0] <= row.plausible[0] < row.plausible[1] <= row.possible[1], row.code
        middle = 0.5 * (row.plausible[0] + row.plausible[1])
        assert is_plausible(row, middle), row.code
        assert is_possible(row, row.plausible[0]), row.code
        assert not is_possible(row, np.nan), row.code
        assert not is_possible(row, row.possible[1] + 1.0), row.code
        assert not is_plausible(row, row.plausible[1] * 1.001 + 1e-6), row.code


def test_natural_seawater_is_plausible() -> None:
    """Reference seawater, S 35: 2.35 meq/L, Ca 422, Mg 1314, Sr 8.1, K 409 mg/L (oceanographic tables, from memory)."""
    sea = {"calcium": 422.0, "magnesium": 1314.0, "strontium": 8.1, "potassium": 409.0, "ph": 8.2, "salinity": 35.0}
    for code, value in {**sea, "alkalinity": 2.35}.items():
        assert is_plausible(code, value), code


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "conditions", "expected"),
    [
        ("alkalinity", 8.0, "dKH", {}, 2.8532),  # 8 x 0.35665
        ("alkalinity", 2788.12, "umol/kg", SAMPLE, 2.8532),  # the same water: unit-05 of checks.csv
        ("alkalinity", 142.78, "ppm CaCO3", {}, 2.8532),  # 8 x 17.848
        ("alkalinity", 1.4266, "mmol/L CaCO3", {}, 2.8532),
        ("alkalinity", 14.278, "degree f", {}, 2.8532),
        ("effluent_alkalinity", 25.0, "dKH", {}, 8.91625),
        ("calcium", 10.4795, "mmol/L", {}, 420.0),  # x 40.078
        ("calcium", 412.2, "mg/kg", SAMPLE, 421.8),  # reference seawater, per kilogram and per litre
        ("magnesium", 52.82, "mmol/kg", SAMPLE, 1313.8),
        ("nitrate", 1.0, "mg/L NO3-N", {}, 4.4268),
        ("phosphate", 10.0, "ug/L PO4-P", {}, 0.030662),
        ("ammonia", 1.28785, "mg/L NH4", {}, 1.0),
        ("temperature", 77.0, "degF", {}, 25.0),
        ("salinity", 35.16504, "g/kg", {}, 35.0),
        ("salinity", 1.0250, "SG", {"temperature": 25, "reference_temperature": 25}, 33.188),  # sw-12
        ("salinity", 34.5487, "mS/cm", {"temperature": 28.7856}, 20.0099),  # sw-08, 10 dbar apart
        ("conductivity", 53_071.0, "uS/cm", {}, 53.071),
        ("ph", 8.1, "pH", {}, 8.1),
        ("ph", 8.1, "[pH]", {"scale": "nbs", "temperature": 25}, 8.1),
        ("ph", 7.963016, "[pH]", {"scale": "total", **SAMPLE}, 8.1),  # carb-15
        ("chamber_ph", 6.6, "[pH]", {"temperature": {"value": 77, "unit": "degF"}}, 6.6),
        ("effluent_flow", 57.3, "mL/min", {}, 82.512),
        ("effluent_flow", 20.0, "{drop}/min", {"drops_per_ml": 20}, 1.44),
        ("bubble_rate", 90.0, "{bubble}/min", {}, 1.5),
        ("gas_flow", 0.3513, "mL/min (0 C, 1 atm)", {}, 1.0),
        ("cylinder_pressure", 57.3, "bar", {"pressure_reference": "absolute"}, 57.3),
        ("cylinder_pressure", 10.0, "bar", {"pressure_reference": "gauge"}, 11.01325),
        ("delivery_pressure", 10.0, "psi", {"pressure_reference": "gauge", "atmospheric_pressure": 0.9}, 1.589476),
        ("chamber_pressure", 0.0, "kPa", {"pressure_reference": "gauge"}, 1.01325),
        ("cylinder_gross_mass", 20.0, "lb", {"hung_on_scale": "cap"}, 9.0718474),
        ("alkalinity", 8.0, "dKH", {"stated_value": {"value": 8.0, "unit": "dKH"}}, 2.8532),
        ("limewater_strength", 20.3, "mmol/L Ca(OH)2", {}, 40.6),
        ("top_off_volume", 1.0, "gal US", {}, 3.785411784),
        ("room_co2", 0.5, "%", {}, 5000.0),
        ("oxygen", 209_000.0, "ppm", {}, 20.9),
        ("dissolved_oxygen", 0.25, "mmol/L", {}, 7.9997),  # O2 31.9988 g/mol
        ("inflow", 12.0, "L/min", {}, 17_280.0),
        ("orp", 0.35, "V", {}, 350.0),
    ],
)
def test_entered_values_become_canonical(
    quantity: str, value: float, unit: str, conditions: dict[str, object], expected: float
) -> None:
    found = canonical(quantity, value, unit, conditions)
    assert type(found) is float
    tolerance = 5e-3 if unit in {"SG", "mS/cm"} else 1e-4 * max(1.0, abs(expected))
    assert found == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "conditions", "error", "field", "says"),
    [
        ("hardness", 8.0, "dKH", {}, UnknownQuantity, "quantity", "alkalinity"),
        ("alkalinity", 8.0, "furlong", {}, UnitNotAccepted, "unit", "dKH"),
        ("alkalinity", 8.0, "L/d", {}, UnitNotAccepted, "unit", "meq/L"),
        ("nitrate", 8.0, "mg/L", {}, UnitNotAccepted, "unit", "mg/L NO3-N"),
        ("nitrate", 8.0, "mg/L PO4", {}, UnitNotAccepted, "unit", "mg/L NO3"),
        ("alkalinity", 2300.0, "umol/kg", {}, ConditionMissing, "salinity", "salinity"),
        ("alkalinity", 2300.0, "umol/kg", {"salinity": 35}, ConditionMissing, "temperature", "volume was taken"),
        ("salinity", 1.025, "SG", {"temperature": 25}, ConditionMissing, "reference_temperature", "hydrometer"),
        ("salinity", 53.0, "mS/cm", {}, ConditionMissing, "temperature", "sample"),
        ("cylinder_pressure", 57.0, "bar", {}, ConditionMissing, "pressure_reference", "gauge or absolute"),
        ("effluent_flow", 20.0, "{drop}/min", {}, ConditionMissing, "drops_per_ml", "millilitre"),
        ("ph", 8.0, "pH", {"scale": "total"}, ConditionMissing, "temperature", "pH was read"),
        ("ph", 8.0, "pH", {"scale": "free"}, ConditionRefused, "scale", "nbs, total"),
        ("ph", 8.0, "pH", {"colour": "red"}, ConditionRefused, "colour", "scale, temperature"),
        ("bubble_rate", 1.0, "{bubble}/s", {"scale": "nbs"}, ConditionRefused, "scale", "none"),
        ("ph", 8.0, "pH", {"temperature": "25"}, ConditionRefused, "temperature", "number in Cel"),
        ("ph", 8.0, "pH", {"temperature": True}, ConditionRefused, "temperature", "number in Cel"),
        ("ph", 8.0, "pH", {"temperature": float("nan")}, ConditionRefused, "temperature", "number in Cel"),
        ("ph", 8.0, "pH", {"temperature": 250}, ConditionRefused, "temperature", "between -2 and 60"),
        ("ph", 8.0, "pH", {"temperature": {"value": 25, "unit": "bar"}}, ConditionRefused, "temperature", "Cel"),
        ("ph", 8.0, "pH", {"temperature": {"value": 25, "unit": 7}}, ConditionRefused, "temperature", "unit"),
        ("cylinder_gross_mass", 8.0, "kg", {"hung_on_scale": 3}, ConditionRefused, "hung_on_scale", "text"),
        (
            "alkalinity",
            8.0,
            "dKH",
            {"stated_value": {"value": 8, "unit": "mg/L"}},
            ConditionRefused,
            "stated_value",
            "mg/L",
        ),
        ("calcium", 420.0, "mg/L", {"stated_value": 9000}, ConditionRefused, "stated_value", "between 0 and 5000"),
        ("ph", 15.0, "pH", {}, Impossible, "value", "between 0 and 14"),
        ("alkalinity", -1.0, "dKH", {}, Impossible, "value", "got -1 dKH"),
        ("alkalinity", float("nan"), "dKH", {}, Impossible, "value", "nan"),
        ("alkalinity", float("inf"), "dKH", {}, Impossible, "value", "inf"),
        ("salinity", 1.5, "SG", {"temperature": 25, "reference_temperature": 25}, Impossible, "value", "1.5 SG"),
    ],
)
def test_a_refusal_names_what_to_mend(
    quantity: str,
    value: float,
    unit: str,
    conditions: dict[str, object],
    error: type[EntryError],
    field: str,
    says: str,
) -> None:
    with pytest.raises(error) as refusal:
        canonical(quantity, value, unit, conditions)
    assert refusal.value.field == field
    assert says in str(refusal.value)


def test_arrays_are_canonicalised_whole() -> None:
    found = canonical("alkalinity", np.array([7.0, 8.0]), "dKH")
    assert found.tolist() == [canonical("alkalinity", value, "dKH") for value in (7.0, 8.0)]
    with pytest.raises(Impossible, match="2 of 3 do not, the first at index 1"):
        canonical("ph", np.array([8.0, 15.0, np.nan]), "pH")
    kept = canonical("ph", np.array([8.0, 15.0, np.nan]), "pH", refuse=False)
    assert is_possible("ph", kept).tolist() == [True, False, False]


def test_a_sites_own_quantity_works_like_the_others() -> None:
    iodine = Quantity("iodine", "iodine", ("ug/L", "mg/L"), (0.0, 10_000.0), (10.0, 200.0), quantities.SUBJECT_KINDS)
    assert canonical(iodine, 0.06, "mg/L") == pytest.approx(60.0)
    with pytest.raises(Impossible):
        canonical(iodine, -0.06, "mg/L")
