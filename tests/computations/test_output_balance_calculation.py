"""POST /v1/calculations/output-balance: a reactor's balance from what is sent."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/output-balance"
TANK = {"alkalinity": {"value": 8, "unit": "dKH"}, "ph": {"value": 8.1}, "temperature": 25, "salinity": 35}
EFFLUENT = {
    "flow": {"value": 82.467, "unit": "L/d"}, "alkalinity": {"value": 25, "unit": "dKH"}, "ph": {"value": 6.6},
}  # fmt: skip
WORKED = {
    "tank": {**TANK, "water_volume": {"value": 1000, "unit": "L"}},
    "effluent": EFFLUENT,
    "demand": {"value": 500, "unit": "meq/d"},
}


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_the_worked_case(house: House) -> None:
    """By an independent prototype with PyCO2SYS 1.8.3: D 2.962, C 5.319 mmol/kg, use 0.557, Omega 0.556."""
    answer = house.call("POST", PATH, WORKED)
    whole = answer["chambers"][0]
    assert whole["dissolved"] == {"value": pytest.approx(2.962, abs=0.001), "unit": "mmol/kg"}
    assert whole["added"]["value"] == pytest.approx(5.319, abs=0.002)
    assert whole["use_fraction"] == pytest.approx(0.557, abs=0.001)
    assert answer["gas"]["use_fraction"]["value"] == pytest.approx(0.557, abs=0.001)
    assert answer["effluent"]["omega_aragonite"]["value"] == pytest.approx(0.556, abs=0.001)
    assert answer["supply"]["alkalinity"]["value"] == pytest.approx(500, abs=0.1)
    assert answer["supply"]["media"]["value"] == pytest.approx(25.0, abs=0.05)
    assert answer["gas"]["added"]["value"] == pytest.approx(19.8, abs=0.05)
    # X 2.810 mmol/kg in 82.467 L/d at 1.02334 kg/L
    assert answer["gas"]["carry_over"]["value"] == pytest.approx(10.44, abs=0.03)
    assert answer["required"]["flow"]["value"] == pytest.approx(82.5, abs=0.1)
    assert answer["required"]["effluent_alkalinity"]["value"] == pytest.approx(8.916, abs=0.002)
    assert answer["supply_over_demand"]["value"] == pytest.approx(1.0, abs=1e-3)
    assert answer["settles_at"]["mode"] == "gas_limited"
    assert answer["missing"] == answer["findings"] == []
    assert "toxic" in " ".join(answer["cautions"])


@pytest.mark.parametrize(("ph", "ceiling_dkh"), [(6.5, 44.8), (6.6, 38.3), (6.7, 32.6), (6.8, 27.6), (7.0, 19.5)])
def test_the_ceiling_at_a_chamber_ph(house: House, ph: float, ceiling_dkh: float) -> None:
    """Omega aragonite 1 with its own calcium, by bisection with PyCO2SYS 1.8.3 (Mucci 1983)."""
    sent = {**WORKED, "effluent": {**EFFLUENT, "ph": {"value": ph}}}
    ceiling = house.call("POST", PATH, sent)["effluent"]["ceiling_alkalinity"]
    assert ceiling["value"] / 0.35665 == pytest.approx(ceiling_dkh, rel=0.004)
    assert ceiling["low"] < ceiling["value"] < ceiling["high"]


def test_an_effluent_above_its_ceiling_is_flagged_never_clipped(house: House) -> None:
    answer = house.call("POST", PATH, {**WORKED, "effluent": {**EFFLUENT, "ph": {"value": 7.2}}})
    assert answer["effluent"]["omega_aragonite"]["value"] > 1.5
    assert answer["effluent"]["alkalinity"]["value"] > answer["effluent"]["ceiling_alkalinity"]["value"]
    assert answer["effluent"]["against_ceiling"] == "above"
    assert "above_ceiling" in codes(answer["findings"])


def test_an_effluent_perhaps_above_its_ceiling_shows_it_and_is_no_finding(house: House) -> None:
    """0.1 of pH is 17 % of the ceiling: an Omega of 1.1 with a pH known to 0.1 may as well be 0.9."""
    stands = {}
    for ph in (6.6, 6.9, 7.2):
        answer = house.call("POST", PATH, {**WORKED, "effluent": {**EFFLUENT, "ph": {"value": ph}}})
        omega = answer["effluent"]["omega_aragonite"]
        stands[answer["effluent"]["against_ceiling"]] = (omega["low"], omega["value"], omega["high"])
        named = "above_ceiling" in codes(answer["findings"])
        assert named == (omega["low"] > 1)
    assert list(stands) == ["below", "perhaps_above", "above"]
    assert stands["perhaps_above"][0] < 1 < stands["perhaps_above"][1]


def test_chambers_in_series_add_up_to_the_whole(house: House) -> None:
    between = [{"alkalinity": {"value": 20, "unit": "dKH"}, "ph": 6.2}]
    one = house.call("POST", PATH, WORKED)["chambers"]
    two = house.call("POST", PATH, {**WORKED, "between_chambers": between})["chambers"]
    assert (len(one), len(two)) == (1, 2)
    for part in ("dissolved", "added"):
        assert sum(each[part]["value"] for each in two) == pytest.approx(one[0][part]["value"], rel=1e-9)
    assert two[1]["added"]["value"] < 0  # the second has no gas of its own and lets some go
    assert two[1]["use_fraction"] is None


def test_errors_that_are_sent_are_the_errors_used(house: House) -> None:
    exact = {
        "tank": {**WORKED["tank"], "alkalinity": {"value": 8, "unit": "dKH", "relative_sd": 0.001}},
        "effluent": {
            "flow": {**EFFLUENT["flow"], "relative_sd": 0.02}, "ph": {"value": 6.6, "sd": 0.02},
            "alkalinity": {**EFFLUENT["alkalinity"], "relative_sd": 0.001},
        },
    }  # fmt: skip
    usual, sent = (house.call("POST", PATH, {**WORKED, **more}) for more in ({}, exact))
    half = (sent["supply"]["alkalinity"]["high"] - sent["supply"]["alkalinity"]["low"]) / 2
    assert half == pytest.approx(500 * 1.96 * 0.02, rel=0.01)
    span = [each["gas"]["added"]["high"] - each["gas"]["added"]["low"] for each in (usual, sent)]
    assert span[1] < span[0] / 3


def test_weighed_gas_that_does_not_show_names_the_degassed_sample(house: House) -> None:
    def weighed(g_d: float) -> Any:
        sent = {**WORKED, "gas_weighed": {"value": g_d, "unit": "g/d"}}
        return house.call("POST", PATH, sent)["gas_check"]["finding"]

    assert weighed(20) is None
    finding = weighed(45)
    assert finding["code"] == "gas_missing"
    assert "leak" in finding["detail"]
    assert "lost gas" in finding["detail"]


def test_more_gas_in_the_water_than_was_weighed_is_the_ph_until_no_ph_would_do(house: House) -> None:
    """The effluent takes 16.2 +- 1.8 g/d at the least; at pH 6.4 the chemistry shows half as much again."""

    def weighed(g_d: float) -> str:
        sent = {**WORKED, "effluent": {**EFFLUENT, "ph": {"value": 6.4}}, "gas_weighed": {"value": g_d, "unit": "g/d"}}
        return str(house.call("POST", PATH, sent)["gas_check"]["finding"]["code"])

    assert weighed(13) == "gas_unweighed"
    assert weighed(8) == "wrong_flow"


def test_a_demand_by_volume_needs_the_volume(house: House) -> None:
    by_volume = {**WORKED, "demand": {"value": 0.5, "unit": "meq/L/d"}}
    assert house.call("POST", PATH, by_volume)["demand"]["alkalinity"]["value"] == pytest.approx(500)
    refused = house.call("POST", PATH, {**by_volume, "tank": TANK}, status=422)
    assert refused["errors"][0]["pointer"] == "/tank/water_volume"


def test_what_is_not_sent_is_null_and_missing(house: House) -> None:
    least = {
        "tank": {"alkalinity": {"value": 8, "unit": "dKH"}},
        "effluent": {"alkalinity": {"value": 25, "unit": "dKH"}},
    }
    answer, full = house.call("POST", PATH, least), house.call("POST", PATH, WORKED)
    assert set(answer) == set(full)
    assert set(answer["gas"].values()) == set(answer["supply"].values()) == {None}
    assert set(codes(answer["missing"])) == {"effluent_flow", "effluent_ph", "ph", "water_volume"}
    assert answer["required"] == {"flow": None, "effluent_alkalinity": None}
    assert answer["chambers"] == []


def test_no_drip_meets_a_demand_from_an_effluent_below_the_target(house: House) -> None:
    low = {**EFFLUENT, "alkalinity": {"value": 6, "unit": "dKH"}, "ph": {"value": 7.6}}
    answer = house.call("POST", PATH, {**WORKED, "effluent": low})
    assert answer["required"]["flow"] is None
    assert "effluent_below_tank" in codes(answer["findings"])
    nothing = {**EFFLUENT, "flow": {"value": 0, "unit": "L/d"}}
    answer = house.call("POST", PATH, {**WORKED, "effluent": nothing})
    assert "no_drip" in codes(answer["findings"])
    assert answer["supply"]["alkalinity"]["value"] == 0


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({**WORKED, "mode": "by_feel"}, "/mode"),
        ({**WORKED, "effluent": {**EFFLUENT, "alkalinity": {"value": 0, "unit": "dKH"}}}, "/effluent/alkalinity/value"),
        ({**WORKED, "effluent": {**EFFLUENT, "flow": {"value": -1, "unit": "L/d"}}}, "/effluent/flow/value"),
        ({**WORKED, "effluent": {**EFFLUENT, "flow": {"value": 1, "unit": "kg"}}}, "/effluent/flow/unit"),
        ({**WORKED, "effluent": {**EFFLUENT, "ph": {"value": 20}}}, "/effluent/ph/value"),
        ({**WORKED, "tank": {**TANK, "salinity": 90}}, "/tank/salinity"),
        ({**WORKED, "demand": {"value": -5, "unit": "meq/d"}}, "/demand/value"),
        ({**WORKED, "between_chambers": [{"alkalinity": {"value": 0, "unit": "dKH"}, "ph": 6.4}]},
         "/between_chambers/0/alkalinity/value"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    refused = house.call("POST", PATH, sent, status=422)
    assert pointer in [fault["pointer"] for fault in refused["errors"]]
