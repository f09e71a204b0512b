"""POST /v1/calculations/net-calcification: a worked incubation, every option by name, intervals from stated sds.

The incubation and its numbers are invented here; the hand calculation stands beside it. No published table is used.
"""

from __future__ import annotations

import copy
import math
from typing import Any

import gsw
import pytest
from support.house import House

PATH = "/v1/calculations/net-calcification"


def umol(value: float, **more: Any) -> dict[str, Any]:
    return {"value": value, "unit": "umol/kg", **more}


def incubation() -> dict[str, Any]:
    """Ten litres over a colony for two hours in the light."""
    return {
        "start": {
            "alkalinity": umol(2300.0, sd=2.0),
            "ammonium": umol(1.2),
            "nitrate": umol(0.5),
            "nitrite": umol(0.05),
            "phosphate": umol(0.1),
        },
        "end": {
            "alkalinity": umol(2200.0, sd=2.0),
            "ammonium": umol(0.4),
            "nitrate": umol(1.0),
            "nitrite": umol(0.10),
            "phosphate": umol(0.2),
        },
        "volume": {"value": 10.0, "unit": "L", "sd": 0.1},
        "duration": {"value": 2.0, "unit": "h"},
        "salinity": 35.0,
        "temperature": 25.0,
        "density": {"value": 1.0233},
    }


def asked(house: House, **changed: Any) -> dict[str, Any]:
    answer: dict[str, Any] = house.call("POST", PATH, {**incubation(), **changed})
    return answer


def rate(house: House, **changed: Any) -> float:
    return float(asked(house, **changed)["net_calcification"]["value"])


def test_the_worked_incubation_is_the_hand_calculation(house: House) -> None:
    """By hand, per kilogram:

    dTA  2200 - 2300      = -100
    -dNH4  -(0.4 - 1.2)   =   +0.8
    dNO3   1.0 - 0.5      =   +0.5
    dNO2   0.10 - 0.05    =   +0.05
    dPO4   0.2 - 0.1      =   +0.1
                            -98.55 umol/kg; half of it, with the other sign: 49.275 umol CaCO3 a kilogram
    mass   10 L x 1.0233  =  10.233 kg
    G      49.275 x 10.233 / 2 h = 252.1155 umol/h;  x 100.0869 g/mol = 25.2335 mg/h
    sd     of dTA sqrt(2^2 + 2^2) = 2.8284: 2.8284/2 x 10.233/2 = 7.2358;  of volume 1 %: 2.5212
           sqrt(7.2358^2 + 2.5212^2) = 7.6624;  x 1.959964 = 15.018
    """
    answer = asked(house)
    found = answer["net_calcification"]
    interval = f"{found['low']:.2f} to {found['high']:.2f} umol/h"
    print(f"net calcification {found['value']:.4f} (by hand 252.1155), {interval}")
    assert found["value"] == pytest.approx(252.1155375, rel=1e-6)
    assert found["high"] - found["value"] == pytest.approx(15.018, abs=0.002)
    assert found["value"] - found["low"] == pytest.approx(15.018, abs=0.002)
    assert answer["calcium_carbonate"]["value"] == pytest.approx(25.2335, abs=1e-3)
    assert answer["alkalinity_change"]["value"] == pytest.approx(-98.55, rel=1e-9)
    assert answer["changes"]["ammonium"]["value"] == pytest.approx(-0.8)
    assert {source["key"] for source in answer["sources"]} >= {"SMITH75", "CHISHOLM91"}
    assert answer["missing"] == []


def test_dissolution_is_negative(house: House) -> None:
    sent = incubation()
    sent["start"], sent["end"] = sent["end"], sent["start"]
    assert house.call("POST", PATH, sent)["net_calcification"]["value"] == pytest.approx(-252.1155375, rel=1e-6)


@pytest.mark.parametrize(
    ("terms", "change"),
    [
        (["ammonium", "nitrate", "nitrite", "phosphate"], -98.55),
        ([], -100.0),
        (["ammonium"], -99.2),
        (["nitrate"], -99.5),
        (["nitrite"], -99.95),
        (["phosphate"], -99.9),
    ],
)
def test_each_nutrient_counts_as_named(house: House, terms: list[str], change: float) -> None:
    answer = asked(house, nutrient_terms=terms)
    assert answer["alkalinity_change"]["value"] == pytest.approx(change, rel=1e-9)
    assert answer["net_calcification"]["value"] == pytest.approx(-change / 2 * 10.233 / 2, rel=1e-9)
    assert any(line.startswith("nutrient_terms:") for line in answer["assumptions"])


def test_density_is_computed_or_fixed(house: House) -> None:
    fixed, computed = rate(house), rate(house, density="computed")
    absolute = gsw.SA_from_SP(35.0, 0.0, 0.0, 0.0)  # the ocean's own composition anomaly is nil there
    expected = 98.55 / 2 * 10 * gsw.rho_t_exact(absolute, 25.0, 0.0) / 1000 / 2
    assert computed == pytest.approx(expected, rel=2e-6)
    assert abs(computed - fixed) > 0.005


def test_the_basis_matters_when_the_water_warms(house: House) -> None:
    """By hand: 2300 and 2200 umol/kg at 24 and 28 C are 2300 rho(24) and 2200 rho(28) per litre: another change."""
    sent = {**incubation(), "density": "computed", "nutrient_terms": []}
    sent["start"]["temperature"], sent["end"]["temperature"] = 24.0, 28.0
    per_kilogram = house.call("POST", PATH, sent)["net_calcification"]["value"]
    answer = house.call("POST", PATH, {**sent, "basis": "per_litre"})
    cold, warm = (gsw.rho_t_exact(gsw.SA_from_SP(35.0, 0.0, 0.0, 0.0), t, 0.0) / 1000 for t in (24.0, 28.0))
    assert answer["net_calcification"]["value"] == pytest.approx((2300 * cold - 2200 * warm) / 2 * 10 / 2, rel=1e-5)
    assert per_kilogram == pytest.approx(100 / 2 * 10 * cold / 2, rel=1e-5)
    assert answer["net_calcification"]["value"] / per_kilogram > 1.02


def test_per_litre_contents_need_no_density(house: House) -> None:
    """By hand: 100 umol/L / 2 x 10 L / 2 h = 250 umol/h."""
    sent = {
        "start": {"alkalinity": {"value": 2.3, "unit": "meq/L"}},
        "end": {"alkalinity": {"value": 2.2, "unit": "meq/L"}},
        "volume": {"value": 10, "unit": "L"},
        "duration": {"value": 120, "unit": "min"},
        "basis": "per_litre",
    }
    answer = house.call("POST", PATH, sent)
    assert answer["net_calcification"]["value"] == pytest.approx(250.0, rel=1e-9)
    assert answer["net_calcification"]["low"] is None
    assert answer["density"] is None
    assert [remark["code"] for remark in answer["missing"]] == ["sd"]


def test_a_control_is_taken_off_as_a_change_or_as_a_rate(house: House) -> None:
    """By hand: the control, 5 L for 4 h, lost 8 umol/kg: 4 in the incubation's 2 h, or 4 x 5.1165 / 4 = 5.1165 umol/h.

    change: (98.55 - 4) / 2 x 10.233 / 2 = 241.8825;  rate: 252.1155 - 5.1165 = 246.9990.
    """
    control = {
        "start": {"alkalinity": umol(2300.0, sd=1.0)},
        "end": {"alkalinity": umol(2292.0, sd=1.0)},
        "duration": {"value": 4, "unit": "h"},
        "volume": {"value": 5, "unit": "L"},
    }
    by_change = asked(house, control=control)
    by_rate = asked(house, control=control, control_as="rate")
    assert by_change["net_calcification"]["value"] == pytest.approx(241.8825375, rel=1e-6)
    assert by_rate["net_calcification"]["value"] == pytest.approx(246.9990375, rel=1e-6)
    assert by_rate["control"]["value"] == pytest.approx(5.1165, rel=1e-6)
    alone = asked(house)["net_calcification"]
    for answer in (by_change, by_rate):
        wider = answer["net_calcification"]
        assert wider["high"] - wider["low"] > alone["high"] - alone["low"]


def test_flows_are_averaged_as_asked(house: House) -> None:
    """By hand: 4 and 12 L/h through 10 L. V x mean(1/Q) = 10/6 h = 1.6667 h; V / mean(Q) = 1.25 h."""
    flow = {"value": [4.0, 12.0], "unit": "L/h", "relative_sd": 0.05}
    sent = {key: value for key, value in incubation().items() if key != "duration"}
    by_inverse = house.call("POST", PATH, {**sent, "flow": flow})
    by_mean = house.call("POST", PATH, {**sent, "flow": flow, "flow_average": "inverse_of_mean"})
    assert by_inverse["duration"] == {"value": pytest.approx(10 / 6), "unit": "h"}
    assert by_inverse["net_calcification"]["value"] == pytest.approx(98.55 / 2 * 10.233 / (10 / 6), rel=1e-9)
    assert by_mean["net_calcification"]["value"] == pytest.approx(98.55 / 2 * 10.233 / 1.25, rel=1e-9)
    found = by_inverse["net_calcification"]
    relative = math.hypot(math.sqrt(8) / 98.55, 0.05)  # the volume cancels, its sd with it
    assert found["high"] / found["value"] - 1 == pytest.approx(1.959964 * relative, rel=1e-6)


@pytest.mark.parametrize(
    ("path", "sd", "unit"),
    [
        (("volume",), 0.5, None),
        (("duration",), 0.1, None),
        (("start", "alkalinity"), 6.0, None),
        (("end", "nitrate"), 3.0, None),
        (("density",), 0.02, None),
    ],
)
def test_every_stated_sd_widens_the_interval(house: House, path: tuple[str, ...], sd: float, unit: None) -> None:
    sent = copy.deepcopy(incubation())
    place: Any = sent
    for step in path:
        place = place[step]
    place["sd"] = sd
    narrow, wide = asked(house)["net_calcification"], house.call("POST", PATH, sent)["net_calcification"]
    assert wide["value"] == pytest.approx(narrow["value"], rel=1e-12)
    assert wide["high"] - wide["low"] > 1.02 * (narrow["high"] - narrow["low"])


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"duration": None}, "/duration"),
        ({"flow": {"value": [1.0], "unit": "L/h"}}, "/duration"),
        ({"volume": {"value": 0.0, "unit": "L"}}, "/volume/value"),
        ({"volume": {"value": 1.0, "unit": "kg"}}, "/volume/unit"),
        ({"duration": {"value": 1.0, "unit": "L"}}, "/duration/unit"),
        ({"density": "computed", "salinity": None}, "/salinity"),
        ({"end": {"alkalinity": umol(2200.0), "ammonium": umol(1.0)}}, "/end/nitrate"),
        ({"end": {"alkalinity": {"value": 8.0, "unit": "mg/L"}}}, "/end/alkalinity/unit"),
        ({"nutrient_terms": ["silicate"]}, "/nutrient_terms/0"),
        ({"basis": "per_gallon"}, "/basis"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, changed: dict[str, Any], pointer: str) -> None:
    answer = house.call("POST", PATH, {**incubation(), **changed}, status=422)
    assert answer["errors"][0]["pointer"] == pointer
