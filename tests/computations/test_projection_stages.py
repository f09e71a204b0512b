"""Stages: the fewest equal ones, three days apart, with no day's change above the allowed."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from support.house import House
from support.plant import codes, the_worked_case
from support.projections import ask, turned

MUCH = {"dosing_change": {"value": 800, "unit": "meq/d"}}
ALLOWED = 0.35665  # meq/L a day: 1 dKH, common practice


def largest(values: list[float]) -> float:
    return max(abs(after - before) for before, after in pairwise(values))


def test_no_day_moves_more_than_allowed_and_one_stage_less_does_not_do(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(house, plant, **MUCH, days=45)
    stages = answer["stages"]
    assert [each["day"] for each in stages] == [3 * index for index in range(len(stages))]
    assert len(stages) > 2
    assert largest(answer["course"]["value"]) <= ALLOWED
    assert largest(answer["ph"]["value"]) <= 0.1
    assert "too_fast" not in codes(answer["findings"])
    fewer = ask(house, plant, **MUCH, days=45, stages=len(stages) - 1)
    assert largest(fewer["course"]["value"]) > ALLOWED or largest(fewer["ph"]["value"]) > 0.1
    assert codes(fewer["findings"])[0] == "too_fast"
    at_once = ask(house, plant, **MUCH, days=45, stages=1)
    assert largest(at_once["course"]["value"]) > 2 * ALLOWED
    assert "leave `stages` out" in at_once["findings"][0]["detail"]


def test_stages_are_equal_and_the_last_is_the_whole_plan(house: House) -> None:
    plant = the_worked_case(house)
    plan = {
        **MUCH, "reactors": turned(plant, gas_factor=1.3, flow={"value": 100, "unit": "L/d"}),
        "limewater_change": {"volume": {"value": 3, "unit": "L/d"}},
    }  # fmt: skip
    answer = ask(house, plant, **plan, stages=4, days=20)
    rows = answer["stages"]
    at = [datetime.fromisoformat(each["at"]) for each in rows]
    assert at == [datetime.fromisoformat(answer["at"]) + timedelta(days=3 * index) for index in range(4)]
    for index, row in enumerate(rows, 1):
        share = index / 4
        reactor = row["reactors"][0]
        assert row["share"] == share
        assert row["dosing_change"] == {"value": pytest.approx(800 * share), "unit": "meq/d"}
        assert row["limewater_change"] == {"value": pytest.approx(3 * share), "unit": "L/d"}
        assert reactor["flow"]["value"] == pytest.approx(82.467 + share * (100 - 82.467), abs=1e-3)
        assert reactor["gas_factor"] == pytest.approx(1 + 0.3 * share, rel=1e-4)
        assert reactor["gas"]["value"] == pytest.approx(19.8 * (1 + 0.3 * share), rel=0.03)
    assert rows[-1]["reactors"][0]["gas"] == answer["reactors"][0]["gas"]
    detail = next(each["detail"] for each in answer["advice"] if each["code"] == "in_stages")
    assert "day 9: drip 100.0 L/d" in detail
    assert "limewater +3.0 L/d" in detail


def test_until_the_second_stage_the_water_goes_as_under_half_the_plan(house: House) -> None:
    """What a chamber does half way is asked of it, not half of what it does at the end."""
    plant = the_worked_case(house)
    staged, half, whole = (
        ask(house, plant, days=9, gas_exchange={"low": 1, "high": 1}, **plan)
        for plan in (
            {"reactors": turned(plant, gas_factor=2.0), "stages": 2},
            {"reactors": turned(plant, gas_factor=1.5), "stages": 1},
            {"reactors": turned(plant, gas_factor=2.0), "stages": 1},
        )
    )
    assert staged["course"]["value"][:4] == pytest.approx(half["course"]["value"][:4], abs=1e-9)
    gained = [each["course"]["value"][1] - each["unchanged"]["value"][1] for each in (half, whole)]
    assert gained[0] > 1.02 * gained[1] / 2
    steps = [after - before for before, after in pairwise(staged["course"]["value"])]
    assert steps[3] > steps[2]
    assert staged["ph"]["value"][:4] == pytest.approx(half["ph"]["value"][:4], abs=1e-9)
    assert staged["ph"]["value"][5] < half["ph"]["value"][5] - 0.05


def test_a_ph_that_would_jump_asks_for_stages_too(house: House) -> None:
    plant = the_worked_case(house)
    lime: dict[str, Any] = {
        "limewater_change": {"volume": {"value": 5, "unit": "L/d"}, "strength": {"value": 40, "unit": "meq/L"}},
        "gas_exchange": {"low": 1, "high": 1}, "days": 20,
    }  # fmt: skip
    at_once = ask(house, plant, **lime, stages=1)
    assert largest(at_once["course"]["value"]) < ALLOWED
    assert largest(at_once["ph"]["value"]) > 0.1
    answer = ask(house, plant, **lime)
    assert len(answer["stages"]) > 1
    assert largest(answer["ph"]["value"]) <= 0.1


def test_nothing_planned_is_no_stage_and_what_no_stages_avoid_is_said(house: House) -> None:
    plant = the_worked_case(house)
    assert ask(house, plant)["stages"] == []
    little = {"value": 0.02, "unit": "meq/L"}
    answer = ask(house, plant, reactors=turned(plant, gas_factor=2.0), most_a_day=little, days=3)
    assert len(answer["stages"]) == 1
    assert codes(answer["findings"]) == ["too_fast"]
    assert "not even 20 stages" in answer["findings"][0]["detail"]
    assert ask(house, plant, 422, stages=0)["errors"][0]["pointer"] == "/stages"
    change = {"volume": {"value": 500, "unit": "L"}, "alkalinity": {"value": 5, "unit": "dKH"}}
    answer = ask(house, plant, water_changes=[change])
    assert answer["stages"] == []
    assert "less water at a time" in answer["findings"][0]["detail"]


def test_a_level_beyond_the_usual_is_said_however_slowly_it_is_reached(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(house, plant, **MUCH, days=45, unit="dKH")
    assert answer["course"]["value"][-1] > 11
    assert "alkalinity_high" in codes(answer["findings"])
    less = ask(house, plant, dosing_change={"value": -300, "unit": "meq/d"}, days=20, unit="dKH")
    assert less["course"]["value"][-1] < 7
    assert "alkalinity_low" in codes(less["findings"])
    assert "usual 7.00 to 11.00" in next(
        each["detail"] for each in less["findings"] if each["code"] == "alkalinity_low"
    )
