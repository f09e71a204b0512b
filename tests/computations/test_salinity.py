"""POST /v1/calculations/salinity: hydrometers, refractometers, conductivity (PSS-78, TEOS-10; UNESCO 44)."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/salinity"


def hydrometer(gravity: Any, temperature: float = 25, reference: float | None = 25) -> dict[str, Any]:
    """A glass hydrometer's reading."""
    sent = {"specific_gravity": gravity, "temperature": temperature}
    return {"hydrometer": sent if reference is None else {**sent, "reference_temperature": reference}}


def conductivity(value: Any, temperature: float, unit: str = "mS/cm") -> dict[str, Any]:
    """A meter's reading."""
    return {"conductivity": {"value": value, "unit": unit, "temperature": temperature}}


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_the_scales_reference_temperature_decides(house: House) -> None:
    """Seawater of 35 reads 1.0264 by 25/25 and 1.0234 by 25/4; 1.0250 by 25/25 is 33.188 (sw-12)."""
    assert house.call("POST", PATH, hydrometer(1.0250))["salinity"] == pytest.approx(33.188, abs=0.005)
    assert house.call("POST", PATH, hydrometer(1.0264))["salinity"] == pytest.approx(35, abs=0.06)
    # the glass was calibrated at 25 as well, though the scale compares with water of 4
    by_four = hydrometer(1.0234, reference=4)
    by_four["hydrometer"]["calibration_temperature"] = 25
    assert house.call("POST", PATH, by_four)["salinity"] == pytest.approx(35, abs=0.06)
    # and nobody calibrates glass at 4, so that it need not be said
    assert house.call("POST", PATH, hydrometer(1.0234, reference=4))["salinity"] == pytest.approx(35, abs=0.06)


def test_an_unknown_reference_temperature_has_its_own_answer(house: House) -> None:
    problem = house.call("POST", PATH, hydrometer(1.0264, reference=None), status=422)
    fault = problem["errors"][0]
    assert fault["pointer"] == "/hydrometer/reference_temperature"
    assert "25/25" in fault["detail"]
    assert "printed" in fault["detail"]


def test_conductivity_by_the_practical_scale(house: House) -> None:
    """42.914 mS/cm at 15 C (IPTS-68; 14.9964 ITS-90) is 35 by definition; 53.06 compensated to 25 C likewise."""
    assert house.call("POST", PATH, conductivity(42.914, 14.9964))["salinity"] == pytest.approx(35, abs=1e-3)
    answer = house.call("POST", PATH, conductivity([53065, 48000], 25, "uS/cm"))
    assert answer["salinity"][0] == pytest.approx(35, abs=0.02)
    assert answer["density"]["value"][0] == pytest.approx(1023.34, abs=0.02)
    assert answer["conductivity"]["value"][1] == pytest.approx(48.0, abs=1e-6)
    assert answer["specific_gravity"]["value"][0] == pytest.approx(1.0264, abs=1e-4)


def test_a_refractometer_goes_by_its_own_check(house: House) -> None:
    """Common practice, no source: a scale for table salt shows 36.5 in seawater of 35; a standard says it better."""
    sent = {"value": [36.5, 33], "scale": "table_salt"}
    answer = house.call("POST", PATH, {"refractometer": sent})
    assert answer["salinity"] == pytest.approx([35, 33 * 35 / 36.5])
    assert codes(answer["findings"]) == ["unchecked_refractometer"]
    checked = {**sent, "standard": {"salinity": 35, "reads": 34}}
    answer = house.call("POST", PATH, {"refractometer": checked})
    assert (answer["salinity"][0], answer["findings"]) == (pytest.approx(36.5 * 35 / 34), [])


def test_a_reading_of_no_salinity_is_null_and_said(house: House) -> None:
    answer = house.call("POST", PATH, hydrometer([1.0264, 0.99]))
    assert answer["salinity"][1] is None
    assert codes(answer["findings"]) == ["no_solution"]


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({}, ""),
        ({**hydrometer(1.025), **conductivity(50, 25)}, "/hydrometer"),
        (hydrometer(35), "/hydrometer/specific_gravity"),
        (hydrometer(1.025, temperature=60), "/hydrometer/temperature"),
        (conductivity(5300, 25), "/conductivity/value"),
        (conductivity(53, 25, "bar"), "/conductivity/unit"),
        ({"conductivity": {"value": 53, "unit": "mS/cm"}}, "/conductivity/temperature"),
        ({"refractometer": {"value": 35}}, "/refractometer/scale"),
        ({"refractometer": {"value": -1, "scale": "seawater"}}, "/refractometer/value"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, sent, status=422)
    assert problem["errors"][0]["pointer"] == pointer
