"""POST /v1/calculations/limewater: sharing a demand with a reactor, and one dose.

Worked by an independent prototype (chamber by PyCO2SYS 1.8.3.4); saturation by Bates, Bower & Smith 1956.
"""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House

PATH = "/v1/calculations/limewater"
TANK = {"alkalinity": {"value": 8, "unit": "dKH"}, "ph": 8.1, "water_volume": {"value": 1000, "unit": "L"}}
EFFLUENT = {"alkalinity": {"value": 25, "unit": "dKH"}, "ph": 6.6}
WORKED = {"tank": TANK, "effluent": EFFLUENT, "demand": {"value": 500, "unit": "meq/d"}}


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_the_worked_splits(house: House) -> None:
    """500 meq/d: 170 meq/d in 4.2 L/d with the drip at 54.5 L/d (lime-10), or 321 in 7.9 with 29.5 (lime-11)."""
    answer = house.call("POST", PATH, WORKED)
    for part, limewater, litres, drip in (
        ("carry_over_only", 170, 4.2, 54.5),
        ("all_gas", 321, 7.9, 29.5),
    ):
        found = answer[part]
        assert found["limewater"]["value"] == pytest.approx(limewater, abs=1)
        assert found["limewater_volume"]["value"] == pytest.approx(litres, abs=0.05)
        assert found["drip"]["value"] == pytest.approx(drip, abs=0.1)
        assert found["limewater"]["value"] + found["reactor"]["value"] == pytest.approx(500)
        assert found["limewater_volume"]["low"] < litres < found["limewater_volume"]["high"]
        assert found["is_limited"] is False
    assert answer["strength"] == {"value": pytest.approx(40.6), "unit": "meq/L"}  # 2 x 20.3 mmol/L
    assert codes(answer["missing"]) == ["evaporation"]


def test_a_demand_by_volume_is_the_same_demand(house: House) -> None:
    by_volume = {**WORKED, "demand": {"value": 0.5, "unit": "meq/L/d"}}
    assert house.call("POST", PATH, by_volume)["all_gas"]["drip"]["value"] == pytest.approx(29.5, abs=0.1)
    tank = {name: value for name, value in TANK.items() if name != "water_volume"}
    problem = house.call("POST", PATH, {**by_volume, "tank": tank}, status=422)
    assert problem["errors"][0]["pointer"] == "/tank/water_volume"


def test_no_more_is_dosed_than_evaporates(house: House) -> None:
    """5 L/d: the carry-over still balances, all the gas does not; the reactor makes up the rest of the 500."""
    answer = house.call("POST", PATH, {**WORKED, "evaporation": {"value": 5, "unit": "L/d"}})
    assert answer["carry_over_only"]["is_limited"] is False
    limited = answer["all_gas"]
    assert (limited["is_limited"], limited["limewater_volume"]["value"]) == (True, 5)
    assert limited["reactor"]["value"] == pytest.approx(500 - 5 * 40.6)
    assert "limited_by_evaporation" in codes(answer["findings"])


def test_half_strength_takes_twice_the_volume(house: House) -> None:
    for strength in ({"value": 20.3, "unit": "meq/L"}, {"value": 10.15, "unit": "mmol/L Ca(OH)2"}):
        answer = house.call("POST", PATH, {**WORKED, "strength": strength})
        assert answer["carry_over_only"]["limewater_volume"]["value"] == pytest.approx(8.4, abs=0.1)
        assert answer["carry_over_only"]["drip"]["value"] == pytest.approx(54.5, abs=0.1)


def test_one_dose_lifts_the_ph(house: House) -> None:
    """5 L of saturated limewater into 1000 L at 8 dKH: pH 8.1 to 8.343 (lime-03, PyCO2SYS)."""
    answer = house.call("POST", PATH, {"tank": TANK, "dose": {"value": 5, "unit": "L"}})
    assert answer["dose"]["ph_after"] == pytest.approx(8.343, abs=0.003)
    assert answer["dose"]["alkalinity_rise"]["value"] == pytest.approx(5 * 40.6 / 1000)
    assert codes(answer["findings"]) == ["large_ph_step"]
    small = house.call("POST", PATH, {"tank": TANK, "dose": {"value": 1, "unit": "L"}})
    assert (round(small["dose"]["ph_after"], 3), small["findings"]) == (pytest.approx(8.156, abs=0.002), [])
    cold = {**TANK, "temperature": 2, "salinity": 10}
    flood = house.call("POST", PATH, {"tank": cold, "dose": {"value": 490, "unit": "L"}, "limewater_temperature": 0})
    assert flood["dose"]["ph_after"] is None
    assert "above 12" in flood["findings"][0]["detail"]
    # the cap of a day: 1 dKH, 0.35665 meq/L, in 1000 L by 40.6 meq/L
    assert answer["most_a_day"]["value"] == pytest.approx(356.65 / 40.6, rel=1e-3)


def test_the_cautions_name_what_hurts(house: House) -> None:
    said = " ".join(house.call("POST", PATH, WORKED)["cautions"])
    for words in ("caustic", "slowly, at night", "cap it by the day", "Never added on top of a reactor"):
        assert words in said


def test_an_effluent_without_carry_over_has_nothing_to_bind(house: House) -> None:
    answer = house.call("POST", PATH, {**WORKED, "effluent": {**EFFLUENT, "ph": 8.6}})
    assert answer["carry_over_only"] is None
    assert "nothing_to_bind" in codes(answer["findings"])


def test_without_effluent_or_demand_the_splits_are_null(house: House) -> None:
    answer = house.call("POST", PATH, {"tank": TANK})
    assert (answer["carry_over_only"], answer["all_gas"], answer["dose"]) == (None, None, None)
    assert codes(answer["missing"]) == ["effluent", "demand", "evaporation"]
    assert answer["binds"]["value"] == pytest.approx(33.0 / 20, rel=2e-3)  # 20 L bind 33.0 g at pH 8.1


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        ({**WORKED, "effluent": {**EFFLUENT, "alkalinity": {"value": 7, "unit": "dKH"}}}, "/effluent/alkalinity"),
        ({**WORKED, "tank": {**TANK, "ph": 13}}, "/tank/ph"),
        ({**WORKED, "tank": {**TANK, "ph": 11.5}}, "/tank/ph"),
        ({**WORKED, "demand": {"value": 0, "unit": "meq/d"}}, "/demand/value"),
        ({**WORKED, "demand": {"value": 5, "unit": "kg"}}, "/demand/unit"),
        ({**WORKED, "strength": {"value": 120, "unit": "meq/L"}}, "/strength/value"),
        ({**WORKED, "strength": {"value": 0, "unit": "meq/L"}}, "/strength/value"),
        ({**WORKED, "evaporation": {"value": -1, "unit": "L/d"}}, "/evaporation/value"),
        ({"tank": TANK, "dose": {"value": 600, "unit": "L"}}, "/dose/value"),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, sent, status=422)
    assert problem["errors"][0]["pointer"] == pointer
