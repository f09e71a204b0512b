"""POST /v1/systems/{id}/projection: the days to come, with a plan and without."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from support.diary import dosed
from support.house import House
from support.plant import DKH, Plant, codes, the_worked_case
from support.projections import ask, lacks, turned

from service.computations.output_balance.chemistry import omegas_per_meq_l
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Fed
from service.computations.projection.course import USUAL_OMEGA_PER_MEQ_L


def test_a_steady_system_stays_where_it_is_with_a_band_that_opens(house: House) -> None:
    answer = ask(house, the_worked_case(house), days=30, unit="dKH")
    course = answer["course"]
    assert len(course["at"]) == len(course["value"]) == 31
    assert course["unit"] == "dKH"
    assert course["value"][0] == pytest.approx(8.0, abs=0.2)
    assert abs(course["value"][-1] - course["value"][0]) < 0.5
    widths = [high - low for low, high in zip(course["low"], course["high"], strict=True)]
    assert widths[0] < widths[10] < widths[30]
    assert course == answer["unchanged"]
    at = [datetime.fromisoformat(each) for each in course["at"]]
    assert at[1] - at[0] == timedelta(days=1)
    assert answer["findings"] == lacks(answer) == []
    assert "toxic" in " ".join(answer["cautions"])


def test_dosing_more_lifts_it_until_demand_answers(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(house, plant, days=60, dosing_change={"value": 100, "unit": "meq/d"})
    rise = [a - b for a, b in zip(answer["course"]["value"], answer["unchanged"]["value"], strict=True)]
    # 100 meq/d in 1000 L: 0.1 meq/L on the first day, and ever less a day after
    assert rise[1] == pytest.approx(0.1, abs=0.01)
    assert 0.3 < rise[-1] < 6.0
    steps = [after - before for before, after in pairwise(rise)]
    assert steps[-1] < 0.5 * steps[0]


def test_a_pump_whose_log_ends_now_goes_on(house: House) -> None:
    """0.3 meq/L a day by a pump that meets the demand: without it the level would be gone in ten days."""
    system = house.a_system(water_volume={"value": 1000, "unit": "L"})
    for _ in range(28):
        house.a_reading(system["id"], 8.0)
        house.pass_time(days=1)
    dosed(house, system["id"], 300.0, 28.0)
    house.a_reading(system["id"], 8.0)
    answer: dict[str, Any] = house.call("POST", f"/v1/systems/{system['id']}/projection", {"days": 10, "unit": "dKH"})
    assert answer["course"]["value"][0] == pytest.approx(8.0, abs=0.2)
    assert answer["course"]["value"][-1] == pytest.approx(8.0, abs=0.7)


def test_a_faster_drip_at_constant_gas_only_thins_the_effluent(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(house, plant, reactors=turned(plant, flow={"value": 2 * 82.467, "unit": "L/d"}))
    reactor = answer["reactors"][0]
    assert reactor["mode"] == "gas_limited"
    assert reactor["effluent_alkalinity"]["value"] < 0.75 * 25 * DKH
    assert reactor["supply"]["value"] == pytest.approx(reactor["supply_now"]["value"], rel=0.1)


def test_more_gas_brings_more_and_too_much_is_said(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(
        house, plant, days=10, reactors=turned(plant, gas_factor=1.3), most_a_day={"value": 0.02, "unit": "meq/L"}
    )
    reactor = answer["reactors"][0]
    assert reactor["gas_factor"] == pytest.approx(1.3, rel=1e-4)
    assert 1.02 < reactor["supply"]["value"] / reactor["supply_now"]["value"] < 1.3
    assert reactor["chamber_ph"] < 6.6
    assert answer["course"]["value"][-1] > answer["unchanged"]["value"][-1]
    assert codes(answer["findings"]) == ["too_fast"]


def test_a_held_chamber_is_turned_by_drip_or_ph_not_by_gas(house: House) -> None:
    plant = the_worked_case(house, operation_mode="controlled_ph")
    faster = ask(house, plant, reactors=turned(plant, flow={"value": 1.4 * 82.467, "unit": "L/d"}))["reactors"][0]
    assert faster["supply"]["value"] > 1.15 * faster["supply_now"]["value"]
    assert faster["chamber_ph"] == pytest.approx(6.6)
    problem = ask(house, plant, 422, reactors=turned(plant, gas_factor=1.2))
    assert problem["errors"][0]["pointer"] == "/reactors/0/gas_factor"
    problem = ask(house, plant, 422, reactors=turned(plant, flow={"value": 3, "unit": "kg"}))
    assert problem["errors"][0]["pointer"] == "/reactors/0/flow/unit"
    twice = [*turned(plant, chamber_ph=6.5), *turned(plant, flow={"value": 90, "unit": "L/d"})]
    assert ask(house, plant, 422, reactors=twice)["errors"][0]["pointer"] == "/reactors/1/reactor_id"
    constant = the_worked_case(house)
    problem = ask(house, constant, 422, reactors=turned(constant, chamber_ph=6.5))
    assert problem["errors"][0]["pointer"] == "/reactors/0/chamber_ph"


def test_water_changes_are_followed_day_by_day(house: House) -> None:
    plant = the_worked_case(house)
    change = {
        "volume": {"value": 200, "unit": "L"}, "alkalinity": {"value": 7, "unit": "dKH"},
        "after_days": 3, "every_days": 7,
    }  # fmt: skip
    answer = ask(house, plant, days=14, water_changes=[change])
    course, calm = answer["course"]["value"], answer["unchanged"]["value"]
    # a fifth of 8 dKH exchanged for 7 dKH: 0.2 dKH down
    assert course[3] - course[2] - (calm[3] - calm[2]) == pytest.approx(-0.2 * DKH, abs=0.02)
    assert course[10] - course[9] < 0
    problem = ask(house, plant, 422, water_changes=[{**change, "volume": {"value": 5000, "unit": "L"}}])
    assert problem["errors"][0]["pointer"] == "/water_changes/0/volume"


def test_limewater_counts_by_its_strength(house: House) -> None:
    plant = the_worked_case(house)
    plan = {"volume": {"value": 2, "unit": "L/d"}, "strength": {"value": 40, "unit": "meq/L"}}
    answer = ask(house, plant, days=2, limewater_change=plan)
    rise = answer["course"]["value"][1] - answer["unchanged"]["value"][1]
    assert rise == pytest.approx(0.08, abs=0.01)
    assert "caustic" in " ".join(answer["cautions"])


def test_what_cannot_be_foretold_is_null_and_says_why(house: House) -> None:
    bare = Plant(house)
    answer = ask(house, bare)
    assert answer["course"] is None
    assert answer["missing"]
    no_ph = Plant(house)
    no_ph.water(no_ph.systems[0])
    no_ph.outlet(ph=None)
    answer = ask(house, no_ph, reactors=turned(no_ph, gas_factor=1.2))
    assert answer["course"] is None
    assert "chamber" in lacks(answer)
    stranger = Plant(house)
    problem = ask(house, no_ph, 422, reactors=turned(stranger, gas_factor=1.2))
    assert problem["errors"][0]["pointer"] == "/reactors/0/reactor_id"


def test_a_held_chamber_at_its_ceiling_may_still_be_planned_by_its_ph(house: House) -> None:
    """By omega it is at its ceiling, by its controller its pH is what is set: the plan is that of the controller."""
    plant = Plant(house, operation_mode="controlled_ph")
    plant.water(plant.systems[0])
    plant.outlet(dkh=36.0, ph=6.6)
    reactor = ask(house, plant, reactors=turned(plant, chamber_ph=6.5))["reactors"][0]
    assert reactor["mode"] == "at_ceiling"
    assert reactor["chamber_ph"] == pytest.approx(6.5)
    assert reactor["supply"]["value"] > reactor["supply_now"]["value"]


def test_levels_leave_in_any_unit_of_alkalinity_and_in_no_other(house: House) -> None:
    plant = the_worked_case(house)
    canonical, shown = (ask(house, plant, days=2, unit=unit)["course"] for unit in ("meq/L", "mg/L CaCO3"))
    assert shown["unit"] == "mg/L CaCO3"
    assert shown["value"][0] == pytest.approx(50.043 * canonical["value"][0], rel=1e-4)
    problem = ask(house, plant, 422, unit="kg")
    assert (problem["errors"][0]["pointer"], problem["errors"][0]["in"]) == ("/unit", "body")


def test_omega_of_a_water_whose_ph_was_never_read_is_that_of_its_stand_in() -> None:
    """pH 8.1 (NBS), 25 C, salinity 35: what the constant says it is."""
    water = Fed(1.0, None, Number(2.85, 0.1), Number(8.1, 0.05), 25.0, 35.0, 1.0, 1000.0, None)
    assert omegas_per_meq_l([water])[0] == pytest.approx(USUAL_OMEGA_PER_MEQ_L, abs=0.01)
