"""POST /v1/calculations/correction: salts for a wanted change. Allowed changes a day are common practice, no source."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/correction"
VOLUME = {"value": 1000, "unit": "L"}
DKH = 0.35665  # meq/L: 10 mg/L CaO by definition


def wanted(salt: str, low: float, high: float, unit: str, **more: Any) -> dict[str, Any]:
    """One correction."""
    return {"salt": salt, "from": {"value": low, "unit": unit}, "to": {"value": high, "unit": unit}, **more}


def ask(house: House, *corrections: dict[str, Any], **more: Any) -> dict[str, Any]:
    """The answer for 1000 L."""
    return house.call("POST", PATH, {"water_volume": VOLUME, "corrections": list(corrections), **more})


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_alkalinity_by_bicarbonate_in_days_of_one_dkh(house: House) -> None:
    """6 to 9 dKH in 1000 L: 3 x 0.35665 meq/L x 84.007 mg are 89.9 g in three days of 30.0."""
    answer = ask(house, wanted("NaHCO3", 6, 9, "dKH"), water={"ph": 8.1})
    done = answer["corrections"][0]
    assert done["total"]["value"] == pytest.approx(3 * DKH * 84.007, rel=1e-4)
    assert done["days"] == 3
    assert [stage["mass"]["value"] for stage in done["stages"]] == pytest.approx([29.96] * 3, abs=0.01)
    assert [stage["level"]["value"] for stage in done["stages"]] == pytest.approx([7 * DKH, 8 * DKH, 9 * DKH], rel=1e-4)
    assert done["left_behind"]["as_sodium_chloride"]["value"] == pytest.approx(3 * DKH * 58.443, rel=1e-4)
    assert done["stages"][0]["ph_before"] == pytest.approx(8.1)
    # the second stage starts where pCO2 is again what it was at 6 dKH and pH 8.1
    assert done["stages"][1]["ph_before"] > done["stages"][1]["ph_after"]
    assert answer["findings"] == []


def test_a_stages_ph_is_that_of_the_reference_program(house: House) -> None:
    """7 to 8 dKH from pH 8.1 at once: 8.056 by bicarbonate, 8.310 by carbonate (PyCO2SYS 1.8.3.4)."""
    for salt, ph in (("NaHCO3", 8.056), ("Na2CO3", 8.310)):
        answer = ask(house, wanted(salt, 7, 8, "dKH"), water={"ph": 8.1})
        (stage,) = answer["corrections"][0]["stages"]
        assert stage["ph_after"] == pytest.approx(ph, abs=0.001)
        assert ("large_ph_step" in codes(answer["findings"])) is (salt == "Na2CO3")


def test_calcium_and_magnesium(house: House) -> None:
    """By hand: 60 mg/L calcium are 1.497 mmol/L, 220.1 g dihydrate in 1000 L; 120 mg/L magnesium 1003.8 g chloride."""
    answer = ask(
        house, wanted("CaCl2.2H2O", 360, 420, "mg/L"), wanted("MgCl2.6H2O", 1180, 1300, "mg/L"),
        wanted("MgSO4.7H2O", 1180, 1300, "mg/L", purity=0.98),
    )  # fmt: skip
    calcium, chloride, sulphate = answer["corrections"]
    assert calcium["total"]["value"] == pytest.approx(60 / 40.078 * 147.0146, rel=1e-5)
    assert chloride["total"]["value"] == pytest.approx(120 / 24.305 * 203.3027, rel=1e-5)
    assert sulphate["total"]["value"] == pytest.approx(120 / 24.305 * 246.4746 / 0.98, rel=1e-5)
    assert (calcium["days"], chloride["days"]) == (3, 2)
    assert calcium["left_behind"]["as_sodium_chloride"]["value"] == pytest.approx(2 * 60 / 40.078 * 58.443, rel=1e-4)
    assert sulphate["left_behind"]["sulphate"]["value"] == pytest.approx(120 / 24.305 * 96.0626, rel=1e-5)
    assert {stage["ph_after"] for stage in calcium["stages"]} == {None}
    assert codes(answer["findings"]) == ["one_after_another"]
    assert answer["missing"] == []


def test_an_uncertain_volume_gives_intervals_and_its_small_end_the_days(house: House) -> None:
    """Known to 10 %: 2 dKH would be 2.49 in the smallest volume, three days; the level reached lies 7.67 to 8.49."""
    sent = {
        "water_volume": {**VOLUME, "relative_sd": 0.10}, "corrections": [wanted("NaHCO3", 6, 8, "dKH")],
    }  # fmt: skip
    done = house.call("POST", PATH, sent)["corrections"][0]
    assert done["days"] == 3
    assert done["total"]["low"] == pytest.approx(done["total"]["value"] * (1 - 0.196), rel=1e-3)
    assert done["reaches"]["low"] / DKH == pytest.approx(6 + 2 / 1.196, rel=1e-3)
    assert done["reaches"]["high"] / DKH == pytest.approx(6 + 2 / 0.804, rel=1e-3)
    exact = ask(house, wanted("NaHCO3", 6, 8, "dKH"))["corrections"][0]
    assert exact["days"] == 2
    assert exact["total"]["high"] == pytest.approx(exact["total"]["value"] * 1.098, rel=1e-3)


def test_an_allowed_change_of_ones_own(house: House) -> None:
    half = {"allowed_per_day": {"value": 0.5, "unit": "dKH"}}
    assert ask(house, wanted("NaHCO3", 6, 9, "dKH", **half))["corrections"][0]["days"] == 6


def test_units_by_mass_need_the_waters_density(house: House) -> None:
    """1000 umol/kg at S 35 and 25 C are 1.0233 meq/L (density 1023.34 kg/m3)."""
    done = ask(house, wanted("NaHCO3", 2000, 3000, "umol/kg"))["corrections"][0]
    assert done["change"]["value"] == pytest.approx(1.02334, abs=2e-5)


@pytest.mark.parametrize(
    ("correction", "pointer"),
    [
        (wanted("NaHCO3", 9, 8, "dKH"), "/corrections/0/to/value"),
        (wanted("NaHCO3", 8, 8, "dKH"), "/corrections/0/to/value"),
        (wanted("NaHCO3", 6, 9, "mg/L"), "/corrections/0/from/unit"),
        (wanted("CaCl2", 400, 420, "dKH"), "/corrections/0/from/unit"),
        (wanted("CaCl2", -1, 420, "mg/L"), "/corrections/0/from/value"),
        (wanted("KOH", 6, 8, "dKH"), "/corrections/0/salt"),
        (wanted("NaHCO3", 6, 8, "dKH", purity=0), "/corrections/0/purity"),
        (
            wanted("NaHCO3", 6, 8, "dKH", allowed_per_day={"value": 0, "unit": "dKH"}),
            "/corrections/0/allowed_per_day/value",
        ),
        (
            wanted("NaHCO3", 6, 8, "dKH", allowed_per_day={"value": 0.001, "unit": "dKH"}),
            "/corrections/0/to/value",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, correction: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, {"water_volume": VOLUME, "corrections": [correction]}, status=422)
    assert problem["errors"][0]["pointer"] == pointer
    no_such_water = {
        "water_volume": VOLUME, "water": {"ph": 11.5}, "corrections": [wanted("NaHCO3", 6, 8, "dKH")],
    }  # fmt: skip
    assert house.call("POST", PATH, no_such_water, status=422)["errors"][0]["pointer"] == "/water/ph"
    no_water = {"water_volume": {"value": 0, "unit": "L"}, "corrections": [wanted("NaHCO3", 6, 8, "dKH")]}
    assert house.call("POST", PATH, no_water, status=422)["errors"][0]["pointer"] == "/water_volume/value"
