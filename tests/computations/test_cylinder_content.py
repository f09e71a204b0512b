"""POST /v1/calculations/cylinder-content: what weight or pressure say of a cylinder.

Saturation and densities: Span & Wagner 1996 (doi 10.1063/1.555991), gas densities by Peng & Robinson 1976.
"""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/cylinder-content"
CYLINDER = {"water_capacity": {"value": 6.617647, "unit": "L"}, "charge": {"value": 4.5, "unit": "kg"}}
TARE = {"stamped_tare": {"value": 6.85, "unit": "kg"}}
AT_20 = {"lowest_temperature": 20, "highest_temperature": 20}


def by_mass(net_kg: float, **more: Any) -> dict[str, Any]:
    """A weighing."""
    return {**CYLINDER, **TARE, "gross_mass": {"value": 6.85 + net_kg, "unit": "kg"}, **AT_20, **more}


def by_pressure(bar: float, **more: Any) -> dict[str, Any]:
    """A reading of an absolute pressure known to 1 bar."""
    pressure = {"value": bar, "unit": "bar", "reference": "absolute", "error": 1}
    return {**CYLINDER, "pressure": pressure, **AT_20, **more}


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_a_full_cylinder_by_weight(house: House) -> None:
    answer = house.call("POST", PATH, by_mass(4.5, use={"value": 20, "unit": "g/d"}))
    assert answer["remaining"]["value"] == pytest.approx(4.5, abs=1e-9)
    assert answer["remaining"]["high"] - answer["remaining"]["value"] == pytest.approx(1.96 * 0.0283, rel=0.01)
    assert answer["state"] == "liquid_and_gas"
    assert answer["pressure"]["value"] == pytest.approx(57.3, abs=0.05)
    # (m - rho_v V) rho_l/(rho_l - rho_v), rho_v 194.2 and rho_l 773.4 kg/m3 at 20 C
    assert answer["liquid"]["value"] == pytest.approx((4.5 - 1.285) * 773.4 / (773.4 - 194.2), rel=2e-3)
    assert answer["liquid_gone_below"]["value"] == pytest.approx(1.285, abs=0.002)
    assert answer["one_phase_above"]["value"] == pytest.approx(26.8, abs=0.05)
    assert answer["liquid_gone_in"]["value"] == pytest.approx((4.5 - 1.285) / 0.020, abs=0.2)
    assert answer["empty_in"]["value"] == pytest.approx((4.5 - 0.127) / 0.020, abs=0.5)
    assert answer["empty_in"]["low"] < answer["empty_in"]["value"] < answer["empty_in"]["high"]
    assert "toxic" in " ".join(answer["cautions"])
    assert answer["sources"]


@pytest.mark.parametrize(("bar", "kg"), [(50, 0.950), (30, 0.444), (10, 0.127)])
def test_gas_alone_by_pressure(house: House, bar: float, kg: float) -> None:
    answer = house.call("POST", PATH, by_pressure(bar))
    assert answer["remaining"]["value"] == pytest.approx(kg, abs=0.003)
    assert answer["remaining"]["low"] < kg < answer["remaining"]["high"]
    assert (answer["state"], answer["liquid"]["value"]) == ("gas", 0)
    # the other way round: the same mass on a scale gives that pressure back
    assert house.call("POST", PATH, by_mass(kg))["pressure"]["value"] == pytest.approx(bar, rel=0.01)


def test_a_gauge_reads_one_atmosphere_less(house: House) -> None:
    gauge = {"value": 30 - 1.01325, "unit": "bar", "reference": "gauge", "error": 1}
    same = [house.call("POST", PATH, by_pressure(30, **more))["remaining"] for more in ({}, {"pressure": gauge})]
    assert same[0] == pytest.approx(same[1])


def test_with_liquid_present_a_pressure_says_nothing(house: House) -> None:
    answer = house.call("POST", PATH, by_pressure(57.3, use={"value": 20, "unit": "g/d"}))
    remaining = answer["remaining"]
    assert remaining["value"] is None
    assert remaining["low"] < 1.285
    assert remaining["high"] == pytest.approx(4.5)
    assert (answer["state"], answer["liquid"], answer["empty_in"]) == ("undecided", None, None)
    assert codes(answer["findings"]) == ["pressure_says_nothing"]
    assert codes(answer["missing"]) == ["gross_mass"]


def test_a_range_of_temperature_widens_what_is_told(house: House) -> None:
    narrow, wide = (
        house.call("POST", PATH, by_pressure(30, lowest_temperature=low, highest_temperature=high))["remaining"]
        for low, high in ((20, 20), (15, 28))
    )
    assert wide["low"] < narrow["low"] < narrow["high"] < wide["high"]
    levels = house.call("POST", PATH, by_mass(3, lowest_temperature=15, highest_temperature=30))["liquid_gone_below"]
    assert levels["low"] < levels["value"] < levels["high"]


def test_above_31_degrees_there_is_no_liquid(house: House) -> None:
    warm = {"lowest_temperature": 31, "highest_temperature": 35}
    answer = house.call("POST", PATH, by_mass(4.5, use={"value": 20, "unit": "g/d"}, **warm))
    assert (answer["liquid_gone_below"], answer["liquid_gone_in"], answer["pressure"]) == (None, None, None)
    assert answer["state"] == "one_phase"
    assert answer["empty_in"]["value"] == pytest.approx(219, abs=2)
    assert codes(answer["findings"]) == ["no_liquid"]


def test_a_weighing_a_little_above_the_charge_is_a_finding(house: House) -> None:
    assert codes(house.call("POST", PATH, by_mass(4.8))["findings"]) == ["heavier_than_charge"]
    assert house.call("POST", PATH, by_mass(4.52))["findings"] == []


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        (CYLINDER, "/gross_mass"),
        ({**by_mass(3), "pressure": by_pressure(30)["pressure"]}, "/pressure"),
        ({**CYLINDER, "gross_mass": {"value": 9, "unit": "kg"}}, "/stamped_tare"),
        (by_mass(6.0), "/gross_mass/value"),  # 0.91 kg/L: no cylinder is filled so
        (by_mass(-0.5), "/gross_mass/value"),
        (by_mass(3, charge={"value": 6, "unit": "kg"}), "/charge/value"),
        (by_mass(3, dip_tube=True), "/dip_tube"),
        (by_mass(3, lowest_temperature=25), "/highest_temperature"),
        (by_mass(3, highest_temperature=80), "/highest_temperature"),
        (by_mass(3, use={"value": 0, "unit": "g/d"}), "/use/value"),
        (by_mass(3, water_capacity={"value": 6, "unit": "bar"}), "/water_capacity/unit"),
        ({**by_pressure(30), "pressure": {"value": 30, "unit": "bar"}}, "/pressure/reference"),
        ({**by_pressure(30), "pressure": {"value": "30", "unit": "bar", "reference": "gauge"}}, "/pressure/value"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    refused = house.call("POST", PATH, sent, status=422)
    assert pointer in [fault["pointer"] for fault in refused["errors"]]


def test_beyond_what_the_gas_equation_knows_nothing_is_told(house: House) -> None:
    answer = house.call("POST", PATH, by_pressure(140, lowest_temperature=40, highest_temperature=45))
    assert answer["remaining"] is None
    assert codes(answer["findings"]) == ["too_dense", "no_liquid"]
