"""Units against their definitions; round trips; refusals.

Exact factors: NIST Special Publication 811, appendix B. dKH: 10 mg/L CaO. Molar masses: IUPAC 2005.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science.constants import MOLAR_MASS_G_MOL
from service.science.units import (
    UNITS,
    IncompatibleUnits,
    MissingCondition,
    UnitError,
    UnknownUnit,
    accepted_with,
    convert,
    unit_named,
)

WATER = {"salinity": 35.0, "temperature_c": 25.0}


def test_german_degrees_are_their_definition(check) -> None:
    assert check("unit-01") == convert(1.0, unit="dKH", to="meq/L")
    assert check("unit-02") == convert(1.0, unit="dKH", to="mg/L CaCO3")
    assert check("unit-05") == convert(8.0, unit="dKH", to="umol/kg", **WATER)


def test_calcium_leaves_with_alkalinity_as_calcium_carbonate(check) -> None:
    mmol_l = convert(1.0, unit="dKH", to="mmol/L CaCO3")
    assert check("unit-04") == convert(mmol_l, unit="mmol/L", to="mg/L", substance="Ca")


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected"),
    [
        (1.0, "gal US", "L", 3.785411784),  # NIST SP 811 B.8, exact
        (1.0, "gal imp", "L", 4.54609),  # NIST SP 811 B.8, exact
        (1.0, "lb", "kg", 0.45359237),  # NIST SP 811 B.8, exact
        (1.0, "oz", "g", 28.349523125),  # NIST SP 811 B.8, exact
        (1.0, "in", "mm", 25.4),  # NIST SP 811 B.8, exact
        (1.0, "psi", "kPa", 6.894757293168362),  # NIST SP 811 B.8 prints 6.894757
        (1.0, "atm", "bar", 1.01325),  # exact
        (400.0, "uatm", "atm", 400e-6),
        (212.0, "degF", "Cel", 100.0),
        (77.0, "degF", "K", 298.15),
        (-40.0, "Cel", "degF", -40.0),
        (57.3, "mL/min", "L/d", 82.512),
        (1.0, "gal US/h", "L/d", 90.849882816),
        (90.0, "{bubble}/min", "{bubble}/s", 1.5),
        (0.5, "%", "ppm", 5000.0),
        (1.0, "S/m", "mS/cm", 10.0),
        (35.16504, "g/kg", "1", 35.0),  # reference-composition salinity, TEOS-10 manual
        (1.0, "mg/L NO3-N", "mg/L NO3", 4.4268),  # 62.0049 / 14.0067
        (1.0, "mg/L PO4-P", "mg/L PO4", 3.0662),  # 94.9714 / 30.9738
        (1.0, "mg/L NH4-N", "mg/L NH4", 1.28785),  # 18.0385 / 14.0067
        (1.0, "degree f", "mg/L CaCO3", 10.0),
        (1.0, "degree e", "mg/L CaCO3", 14.2538),  # one grain in an imperial gallon
        (1.0, "mmol/L CaCO3", "meq/L", 2.0),
        (1.0, "mmol/L", "meq/L", 1.0),
        (1.0, "mol/L Ca(OH)2", "meq/L", 2000.0),
        (2.8, "dKH/d", "meq/L/d", 0.99862),
        (3.0, "d", "h", 72.0),
    ],
)
def test_factors_are_those_of_their_definitions(value: float, unit: str, to: str, expected: float) -> None:
    assert convert(value, unit=unit, to=to) == pytest.approx(expected, rel=2e-5)


def test_a_gas_flow_in_millilitres_is_that_of_carbon_dioxide() -> None:
    """Density of CO2 at 0 C and 1 atm 1.9768 kg/m3 (Span & Wagner 1996 by CoolProp): 1 g/d is 0.351 mL/min."""
    assert convert(1.0, unit="g/d", to="mL/min (0 C, 1 atm)") == pytest.approx(0.3513, abs=5e-5)


def test_molar_masses_are_those_of_the_handbook() -> None:
    """CRC handbook values, from memory: CaCO3 100.087, CO2 44.010, Ca(OH)2 74.093, NaHCO3 84.007, Na2CO3 105.988."""
    handbook = {"CaCO3": 100.087, "CO2": 44.010, "Ca(OH)2": 74.093, "NaHCO3": 84.007, "Na2CO3": 105.988}
    for formula, mass in handbook.items():
        assert MOLAR_MASS_G_MOL[formula] == pytest.approx(mass, abs=7e-4)


def test_newer_atomic_weights_change_little() -> None:
    """Abridged weights of 2021 (IUPAC, from memory): no molar mass differs by 1 in 10,000, some by 3 in 100,000."""
    h, c, n, o, na, mg, p, s, cl, ca = (
        1.008, 12.011, 14.007, 15.999, 22.98976928, 24.305, 30.973762, 32.06, 35.45, 40.078,
    )  # fmt: skip
    water = 2 * h + o
    newer = {
        "N": n, "P": p, "NO3": n + 3 * o, "PO4": p + 4 * o, "NH4": n + 4 * h, "NH3": n + 3 * h, "CaO": ca + o,
        "CaCO3": ca + c + 3 * o, "MgCO3": mg + c + 3 * o, "Ca(OH)2": ca + 2 * (o + h), "CO2": c + 2 * o, "O2": 2 * o,
        "Cl": cl, "SO4": s + 4 * o, "NaCl": na + cl, "NaHCO3": na + h + c + 3 * o, "Na2CO3": 2 * na + c + 3 * o,
        "CaCl2": ca + 2 * cl, "CaCl2.2H2O": ca + 2 * cl + 2 * water, "CaCl2.6H2O": ca + 2 * cl + 6 * water,
        "MgCl2.6H2O": mg + 2 * cl + 6 * water, "MgSO4.7H2O": mg + s + 4 * o + 7 * water,
    }  # fmt: skip
    unchanged = {"Ca", "Mg", "Sr", "K", "Na"}
    assert newer.keys() | unchanged == MOLAR_MASS_G_MOL.keys()
    off = {formula: abs(mass / MOLAR_MASS_G_MOL[formula] - 1.0) for formula, mass in newer.items()}
    assert 2e-5 < off["NH4"] < max(off.values()) < 1e-4


def pairs() -> list[tuple[str, str]]:
    return [(code, other) for code in UNITS for other in accepted_with(code) if other != code]


@settings(derandomize=True, max_examples=400, deadline=None)
@given(st.sampled_from(pairs()), st.floats(1e-3, 1e4), st.floats(0.0, 42.0), st.floats(5.0, 35.0))
def test_there_and_back_is_the_same_number(pair: tuple[str, str], value: float, s: float, t: float) -> None:
    unit, to = pair
    there = convert(value, unit=unit, to=to, substance="Ca", salinity=s, temperature_c=t)
    back = convert(there, unit=to, to=unit, substance="Ca", salinity=s, temperature_c=t)
    offset = abs(float(UNITS[unit].offset)) + abs(float(UNITS[to].offset))
    assert back == pytest.approx(value, rel=5e-16, abs=4e-16 * offset)


def test_the_same_unit_is_the_same_number() -> None:
    assert convert(8.1, unit="dKH", to="dKH") == 8.1


def test_arrays_keep_their_shape() -> None:
    converted = convert(np.array([[7.0, 8.0], [9.0, 10.0]]), unit="dKH", to="meq/L")
    assert converted.shape == (2, 2)
    assert converted[0, 1] == convert(8.0, unit="dKH", to="meq/L")
    assert isinstance(convert(np.array(8.0), unit="dKH", to="meq/L"), np.ndarray)
    assert type(convert(8.0, unit="dKH", to="meq/L")) is float


def test_ucum_spellings_and_aliases_are_understood() -> None:
    assert unit_named("[lb_av]").code == "lb"
    assert unit_named("°C").code == "Cel"
    assert unit_named("mg{NO3}/L").code == "mg/L NO3"
    assert unit_named("pH").code == "[pH]"


def test_no_spelling_means_two_units() -> None:
    spellings = [spelling for unit in UNITS.values() for spelling in {unit.code, unit.ucum, *unit.aliases} - {None}]
    assert len(spellings) == len(set(spellings))


def test_an_unknown_unit_is_refused_with_the_known_ones() -> None:
    with pytest.raises(UnknownUnit, match=r"'furlong'.*dKH.*degF"):
        convert(1.0, unit="furlong", to="L")


@pytest.mark.parametrize(
    ("unit", "to"),
    [
        ("dKH", "L/d"),
        ("dKH", "dKH/d"),
        ("mg/L NO3", "mg/L PO4"),
        ("mg/L NO3", "dKH"),
        ("meq", "g"),  # how much salt a milliequivalent weighs depends on the salt
        ("g/d", "L/d"),
        ("mL/min", "mL/min (0 C, 1 atm)"),
        ("SG", "1"),  # needs a hydrometer's temperatures: a reading, not a conversion
        ("Cel", "bar"),
    ],
)
def test_different_things_do_not_convert(unit: str, to: str) -> None:
    with pytest.raises(IncompatibleUnits, match="does not convert"):
        convert(1.0, unit=unit, to=to)


@pytest.mark.parametrize(
    ("unit", "to", "given_conditions", "missing"),
    [
        ("dKH", "umol/kg", {}, "salinity"),
        ("dKH", "umol/kg", {"salinity": 35.0}, "temperature"),
        ("umol/kg", "mg/L", {"salinity": 35.0, "temperature_c": 25.0}, "substance"),
        ("mg/L", "mmol/L", {}, "substance"),
    ],
)
def test_a_missing_condition_is_named(unit: str, to: str, given_conditions: dict[str, float], missing: str) -> None:
    with pytest.raises(MissingCondition, match=missing) as refusal:
        convert(1.0, unit=unit, to=to, **given_conditions)
    assert refusal.value.condition == missing


def test_an_unknown_substance_is_refused() -> None:
    with pytest.raises(UnitError, match="unobtainium"):
        convert(1.0, unit="mg/L", to="mmol/L", substance="unobtainium")
