"""POST /v1/calculations/carbonate-system: any two quantities in, the whole system out."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/carbonate-system"
UMOL_KG = "umol/kg"
WATER = {"salinity": 35, "temperature": 25}
# PyCO2SYS 1.8.3.4 (Humphreys et al. 2022, doi 10.5194/gmd-15-15-2022), Lueker 2000 constants, Uppstrom 1974 borate
TA, PH_NBS, PH_TOTAL, DIC, PCO2, OMEGA = 2300.0, 8.1, 7.963016, 2046.708, 500.316, 2.91388

PAIRS = [
    {"alkalinity": {"value": TA, "unit": UMOL_KG}, "ph": {"value": PH_NBS, "scale": "nbs"}},
    {"alkalinity": {"value": TA, "unit": UMOL_KG}, "ph": {"value": PH_TOTAL, "scale": "total"}},
    {"alkalinity": {"value": TA, "unit": UMOL_KG}, "dic": {"value": DIC, "unit": UMOL_KG}},
    {"alkalinity": {"value": TA, "unit": UMOL_KG}, "pco2": {"value": PCO2, "unit": "uatm"}},
    {"dic": {"value": DIC, "unit": UMOL_KG}, "ph": {"value": PH_NBS}},
    {"dic": {"value": DIC, "unit": UMOL_KG}, "pco2": {"value": PCO2, "unit": "uatm"}},
    {"ph": {"value": PH_NBS}, "pco2": {"value": PCO2, "unit": "uatm"}},
]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda pair: " and ".join(pair))
def test_every_pair_leads_to_the_published_state(house: House, pair: dict[str, Any]) -> None:
    answer = house.call("POST", PATH, {**pair, **WATER})
    assert answer["alkalinity"]["value"] == pytest.approx(TA, abs=0.5)
    assert answer["dic"]["value"] == pytest.approx(DIC, abs=0.5)
    assert answer["pco2"]["value"] == pytest.approx(PCO2, abs=0.3)
    assert answer["omega_aragonite"] == pytest.approx(OMEGA, abs=0.002)
    assert answer["ph_total"] == pytest.approx(PH_TOTAL, abs=2e-4)
    parts = sum(answer[name]["value"] for name in ("co2", "bicarbonate", "carbonate"))
    assert parts == pytest.approx(answer["dic"]["value"], rel=1e-9)
    assert answer["dic"]["unit"] == "umol/kg"
    assert answer["pco2"]["unit"] == "uatm"
    assert answer["sources"]


def test_lists_answer_with_lists_of_their_length(house: House) -> None:
    sent = {"alkalinity": {"value": [7, 8, 9], "unit": "dKH"}, "ph": {"value": 8.1}, **WATER}
    answer = house.call("POST", PATH, sent)
    assert len(answer["omega_aragonite"]) == len(answer["dic"]["value"]) == 3
    assert answer["omega_aragonite"] == sorted(answer["omega_aragonite"])
    one = house.call("POST", PATH, {**sent, "alkalinity": {"value": 8, "unit": "dKH"}})
    assert answer["dic"]["value"][1] == one["dic"]["value"]


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({"alkalinity": {"value": 8, "unit": "dKH"}}, "/alkalinity"),
        ({**PAIRS[0], "dic": {"value": DIC, "unit": UMOL_KG}}, "/alkalinity"),
        ({"alkalinity": {"value": 8, "unit": "furlong"}, "ph": {"value": 8}}, "/alkalinity/unit"),
        ({"alkalinity": {"value": -1, "unit": "dKH"}, "ph": {"value": 8}}, "/alkalinity/value"),
        ({"alkalinity": {"value": "8", "unit": "dKH"}, "ph": {"value": 8}}, "/alkalinity/value"),
        ({"alkalinity": {"value": 8, "unit": "dKH"}, "ph": {"value": 15}}, "/ph/value"),
        ({"alkalinity": {"value": [7, 8], "unit": "dKH"}, "ph": {"value": [8, 8, 8]}}, "/ph/value"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    refused = house.call("POST", PATH, {**sent, **WATER}, status=422)
    assert pointer in [fault["pointer"] for fault in refused["errors"]]


def test_a_state_outside_the_checked_range_says_so(house: House) -> None:
    answer = house.call("POST", PATH, {"alkalinity": {"value": 60, "unit": "dKH"}, "ph": {"value": 6.5}, **WATER})
    assert [finding["code"] for finding in answer["findings"]] == ["outside_checked_range"]


def test_a_pair_without_a_solution_is_null_and_said(house: House) -> None:
    sent = {"dic": {"value": 1, "unit": UMOL_KG}, "pco2": {"value": 5000, "unit": "uatm"}, **WATER}
    answer = house.call("POST", PATH, sent)
    assert answer["ph_total"] is None
    assert answer["findings"][0]["code"] == "no_solution"
