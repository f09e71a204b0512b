"""Calcium beside alkalinity: what a reactor brings of it, and how much goes with each meq."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from support.diary import dosed
from support.house import House
from support.plant import DAYS, Plant, codes, the_worked_case


def calcium(plant: Plant, *, change_a_day: float = 0.0, noise: float = 3.0) -> None:
    """A calcium test every fourth day, level 420 mg/L at the end."""
    random = np.random.default_rng(11)
    for days in range(DAYS, -1, -4):
        value = 420.0 - change_a_day * days + noise * float(random.standard_normal())
        plant.read(plant.systems[0], "calcium", round(value, 1), "mg/L", days, relative_sd=0.01)


def ask(house: House, plant: Plant, quantity: str = "calcium") -> dict[str, Any]:
    path = f"/v1/systems/{plant.systems[0]['id']}/consumption"
    answer: dict[str, Any] = house.call("GET", path, params={"quantity": quantity})
    return answer


def test_a_reactor_brings_twenty_milligrams_with_each_meq(house: House) -> None:
    """By hand: 500 meq/d x 20.04 mg in 1000 L hold 420 mg/L steady: 10.0 mg/L a day are consumed, 20.04 a meq."""
    plant = the_worked_case(house)
    calcium(plant)
    answer = ask(house, plant)
    assert answer["estimate"]["value"] == pytest.approx(10.0, abs=1.0)
    assert answer["per_alkalinity"]["value"] == pytest.approx(20.04, abs=2.5)
    assert answer["per_alkalinity"]["unit"] == "mg/meq"
    assert answer["per_alkalinity"]["low"] < 20.04 < answer["per_alkalinity"]["high"]
    assert codes(answer["findings"]) == []
    assert any("20.04" in each for each in answer["assumptions"])
    assert ask(house, plant, "alkalinity")["per_alkalinity"] is None


def test_alkalinity_that_goes_elsewhere_is_named(house: House) -> None:
    """Dosed with 250 meq/d in 1000 L and no calcium; calcium falls by 1 mg/L a day: 4 mg a meq, not 17 to 20."""
    plant = Plant(house)
    plant.systems = [house.a_system(plant.site)]  # that no reactor feeds
    plant.water(plant.systems[0])
    dosed(house, plant.systems[0]["id"], 250, 60)
    calcium(plant, change_a_day=-1.0)
    answer = ask(house, plant)
    assert answer["per_alkalinity"]["value"] == pytest.approx(4.0, abs=1.5)
    assert codes(answer["findings"]) == ["alkalinity_beyond_skeletons"]
    assert "nitrification" in answer["findings"][0]["detail"]


def test_without_effluent_tests_the_reactors_calcium_is_not_counted(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    calcium(plant)
    assert any("not counted" in each for each in ask(house, plant)["assumptions"])
