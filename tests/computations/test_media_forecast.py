"""GET /v1/equipment/{id}/media-forecast: what is left of the media, by what the reactor has brought."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from support.house import House
from support.plant import DKH, Plant, codes

# by hand: 82.467 L/d x (25 - 8) dKH x 0.35665 meq/L = 500 meq/d; x 50.04 mg / 0.97 = 25.79 g/d
USE_G_D = 82.467 * 17 * DKH * 50.043 / 0.97 / 1000


def fill(house: House, plant: Plant, kilograms: float, days_ago: float, **more: Any) -> None:
    sent = {
        "kind": "media", "reactor_id": plant.reactor["id"], "at": plant.ago(days_ago),
        "mass": {"value": kilograms, "unit": "kg"}, **more,
    }  # fmt: skip
    house.call("POST", "/v1/additions", sent, headers={"Idempotency-Key": f"media {days_ago}"})


def running(house: House) -> Plant:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet()
    return plant


def ask(house: House, plant: Plant, **query: Any) -> dict[str, Any]:
    answer: dict[str, Any] = house.call("GET", f"/v1/equipment/{plant.reactor['id']}/media-forecast", params=query)
    return answer


def test_what_was_brought_is_what_dissolved(house: House) -> None:
    plant = running(house)
    fill(house, plant, 5.0, 56, replaces=True)
    answer = ask(house, plant)
    assert answer["use"]["value"] == pytest.approx(USE_G_D, rel=0.02)  # the last titration of the tank is noisy
    assert answer["dissolved"]["value"] == pytest.approx(56 * USE_G_D / 1000, rel=0.01)
    assert answer["left"]["value"] == pytest.approx(5.0 - 56 * USE_G_D / 1000, abs=0.02)
    to_go = (2.5 - 56 * USE_G_D / 1000) / USE_G_D * 1000
    days = (datetime.fromisoformat(answer["refill_at"]["value"]) - house.now) / timedelta(days=1)
    assert days == pytest.approx(to_go, abs=1.0)
    assert answer["left"]["low"] < answer["left"]["value"] < answer["left"]["high"]
    assert date.fromisoformat(answer["refill_by"]) < datetime.fromisoformat(answer["refill_at"]["value"]).date()
    assert answer["missing"] == answer["findings"] == []
    assert "pressure" in answer["cautions"][0]


def test_below_half_it_says_so(house: House) -> None:
    plant = running(house)
    fill(house, plant, 2.0, 56)
    answer = ask(house, plant)
    assert codes(answer["findings"]) == ["media_low"]
    assert answer["refill_at"]["has_passed"] is True
    assert "empty reactor" in " ".join(answer["assumptions"])
    assert codes(ask(house, plant, refill_at=0.1)["findings"]) == []


def test_a_top_up_counts_and_a_replacement_starts_over(house: House) -> None:
    plant = running(house)
    fill(house, plant, 2.0, 56)
    fill(house, plant, 1.0, 10)
    topped = ask(house, plant)
    assert topped["filled"]["value"] == pytest.approx(3.0)
    assert topped["left"]["value"] == pytest.approx(3.0 - 56 * USE_G_D / 1000, abs=0.02)
    # fullest: the first 2 kg (after the top-up there were 2 - 1.19 + 1 = 1.81): the mark is 1 kg, 1.56 are left
    assert topped["refill_at"]["has_passed"] is False
    fill(house, plant, 2.0, 5, replaces=True)
    anew = ask(house, plant)
    assert anew["left"]["value"] == pytest.approx(2.0 - 5 * USE_G_D / 1000, abs=0.02)
    assert len(anew["fills"]) == 1


def test_nothing_filled_or_nothing_checked_is_missing(house: House) -> None:
    plant = running(house)
    bare = ask(house, plant)
    assert codes(bare["missing"]) == ["media_fill"]
    assert bare["left"] is bare["refill_by"] is None
    unread = Plant(house)
    fill(house, unread, 2.0, 20)
    answer = ask(house, unread)
    assert codes(answer["missing"]) == ["effluent_checks"]
    assert answer["filled"]["value"] == pytest.approx(2.0)
    assert answer["left"] is None


def test_a_long_gap_is_told(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    for days in (56, 1):
        plant.read(plant.reactor, "effluent_flow", 80, "L/d", days)
        plant.read(plant.reactor, "effluent_alkalinity", 25, "dKH", days)
    fill(house, plant, 5.0, 56, replaces=True)
    answer = ask(house, plant)
    assert codes(answer["missing"]) == ["effluent_gap"]
    assert answer["left"] is not None


def test_only_a_reactor_has_media(house: House) -> None:
    plant = Plant(house)
    piece = plant.piece("pump", {})
    problem = house.call("GET", f"/v1/equipment/{piece['id']}/media-forecast", status=422)
    assert "calcium_reactor" in problem["detail"]
