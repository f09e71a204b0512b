"""Calcium and magnesium under a plan: what comes with alkalinity, what skeletons take, and new water."""

from __future__ import annotations

from typing import Any

import pytest
from support.house import House
from support.plant import Plant, codes
from support.projections import ask, turned

PER_MEQ = 20.039  # mg of calcium in a meq of calcium carbonate (IUPAC05)
MG_PER_MEQ = 24.305 / 2


def a_plant(house: House) -> Plant:
    """The worked case, with calcium and magnesium read every week, as steady as the rest."""
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet()
    for days in range(56, -1, -7):
        plant.read(plant.systems[0], "calcium", 420, "mg/L", days)
        plant.read(plant.systems[0], "magnesium", 1310, "mg/L", days)
    return plant


def moved(answer: dict[str, Any], quantity: str) -> list[float]:
    """By how much the plan moves a quantity beyond what it would have been, on each day."""
    part = answer if quantity == "alkalinity" else answer[quantity]
    return [a - b for a, b in zip(part["course"]["value"], part["unchanged"]["value"], strict=True)]


def test_more_gas_brings_calcium_with_the_alkalinity_and_skeletons_take_it_back(house: House) -> None:
    """Balance by hand: what came is gain x days; what did not stay of it as alkalinity went into skeletons."""
    plant = a_plant(house)
    answer = ask(house, plant, days=20, reactors=turned(plant, gas_factor=1.3), stages=1, media_magnesium_share=0)
    calcium, alkalinity = moved(answer, "calcium"), moved(answer, "alkalinity")
    assert calcium[0] == 0.0
    assert calcium[1] == pytest.approx(PER_MEQ * alkalinity[1], rel=0.02)
    reactor = answer["reactors"][0]
    gained = (reactor["supply"]["value"] - reactor["supply_now"]["value"]) / 1000 * 20
    taken = gained - alkalinity[20]
    assert taken > 0.3 * gained
    assert calcium[20] == pytest.approx(PER_MEQ * gained - 18.52 * taken, abs=0.15)
    assert answer["calcium"]["course"]["unit"] == "mg/L"
    course = answer["calcium"]["course"]
    widths = [high - low for low, high in zip(course["low"], course["high"], strict=True)]
    assert widths[0] < widths[10] < widths[20]
    assert answer["calcium"]["course"]["value"][0] == pytest.approx(420, abs=3)


def test_a_steady_system_stays_and_its_bands_hold_the_reading(house: House) -> None:
    answer = ask(house, a_plant(house), days=14)
    for quantity, level in (("calcium", 420), ("magnesium", 1310)):
        course = answer[quantity]["course"]
        assert course == answer[quantity]["unchanged"]
        assert course["low"][-1] < level < course["high"][-1]
        assert abs(course["value"][-1] - level) < 10
    assert answer["missing"] == []


def test_limewater_brings_calcium_and_a_salt_of_alkalinity_none(house: House) -> None:
    plant = a_plant(house)
    lime = {"volume": {"value": 3, "unit": "L/d"}, "strength": {"value": 40, "unit": "meq/L"}}
    limed = ask(house, plant, days=10, limewater_change=lime, stages=1)
    salts = ask(house, plant, days=10, dosing_change={"value": 120, "unit": "meq/d"}, stages=1)
    assert moved(limed, "alkalinity") == pytest.approx(moved(salts, "alkalinity"), abs=1e-9)
    assert moved(limed, "calcium")[1] == pytest.approx(PER_MEQ * 0.12, rel=0.1)
    # skeletons take what the salts drive them to, and nothing comes of it
    assert moved(salts, "calcium")[10] < -1.0
    apart = moved(limed, "calcium")[10] - moved(salts, "calcium")[10]
    assert apart == pytest.approx(PER_MEQ * 0.12 * 10, rel=1e-3)


def test_magnesium_comes_by_the_medias_share(house: House) -> None:
    plant = a_plant(house)
    plan = {"reactors": turned(plant, gas_factor=1.3), "stages": 1, "days": 1}
    rich, poor, usual = (
        ask(house, plant, **plan, **({} if share is None else {"media_magnesium_share": share}))
        for share in (0.1, 0.0, None)
    )
    reactor = rich["reactors"][0]
    gained = (reactor["supply"]["value"] - reactor["supply_now"]["value"]) / 1000
    assert moved(rich, "magnesium")[1] - moved(poor, "magnesium")[1] == pytest.approx(
        0.1 * MG_PER_MEQ * gained, rel=1e-6
    )
    assert moved(poor, "calcium")[1] - moved(rich, "calcium")[1] == pytest.approx(0.1 * PER_MEQ * gained, rel=0.05)
    assert moved(poor, "magnesium")[1] < moved(usual, "magnesium")[1] < moved(rich, "magnesium")[1]
    assert ask(house, plant, 422, media_magnesium_share=0.5)["errors"][0]["pointer"] == "/media_magnesium_share"


def test_new_water_brings_its_own_or_as_much_as_the_sea(house: House) -> None:
    plant = a_plant(house)
    change = {"volume": {"value": 200, "unit": "L"}, "alkalinity": {"value": 8, "unit": "dKH"}}
    stated = {**change, "calcium": {"value": 500, "unit": "mg/L"}, "magnesium": {"value": 1210, "unit": "mg/L"}}
    answer = ask(house, plant, days=3, water_changes=[stated])
    assert moved(answer, "calcium")[3] == pytest.approx(0.2 * (500 - 420), abs=1.0)
    assert moved(answer, "magnesium")[3] == pytest.approx(0.2 * (1210 - 1310), abs=1.0)
    unstated = ask(house, plant, days=3, water_changes=[change])
    assert moved(unstated, "calcium")[3] == pytest.approx(0.2 * (421.8 - 420), abs=1.0)
    half = [
        (each["calcium"]["course"]["high"][3] - each["calcium"]["course"]["value"][3]) for each in (unstated, answer)
    ]
    assert half[0] > 1.05 * half[1]
    wrong = {**change, "calcium": {"value": 1, "unit": "kg"}}
    problem = ask(house, plant, 422, water_changes=[wrong])
    assert problem["errors"][0]["pointer"] == "/water_changes/0/calcium/unit"


def test_a_held_chamber_brings_less_calcium_as_the_tank_rises(house: House) -> None:
    """At constant effluent what the drip brings of both falls with the tank's alkalinity, by the drip's own part."""
    answers = []
    for mode in ("controlled_ph", "constant_gas"):
        plant = Plant(house, operation_mode=mode)
        plant.water(plant.systems[0])
        plant.outlet()
        for days in range(56, -1, -7):
            plant.read(plant.systems[0], "calcium", 420, "mg/L", days)
        lime = {"volume": {"value": 4, "unit": "L/d"}, "strength": {"value": 40, "unit": "meq/L"}}
        answers.append(ask(house, plant, days=20, limewater_change=lime, stages=1))
    held, free = answers
    # on average the two stand so far apart as the drip's share of a day took off
    assert moved(held, "alkalinity")[20] < moved(free, "alkalinity")[20] - 0.2
    less = moved(free, "calcium")[20] - moved(held, "calcium")[20]
    assert 0.5 * PER_MEQ * 0.2 < less < 2 * PER_MEQ * (moved(free, "alkalinity")[20] - moved(held, "alkalinity")[20])


def test_unread_they_are_null_and_say_so(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet()
    answer = ask(house, plant)
    assert answer["calcium"] is answer["magnesium"] is None
    assert codes(answer["missing"]) == ["calcium_readings", "magnesium_readings"]
    assert answer["course"] is not None
