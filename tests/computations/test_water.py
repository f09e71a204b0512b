"""What the water says beside a consumption: nitrate, salinity, carbonate that fell out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from support.diary import add, dosed, titrations
from support.house import House

DAYS = 56


def read(house: House, system: dict[str, Any], quantity: str, values: list[float], unit: str, every: float) -> None:
    """One reading for each value, the last one now."""
    for index, value in enumerate(values):
        at = house.now - timedelta(days=every * (len(values) - 1 - index))
        house.a_reading(
            system["id"],
            round(float(value), 3),
            quantity=quantity,
            unit=unit,
            taken_at=at.isoformat(),
            relative_sd=0.01,
        )


def ask(house: House, system: dict[str, Any], quantity: str = "alkalinity") -> dict[str, Any]:
    answer: dict[str, Any] = house.call("GET", f"/v1/systems/{system['id']}/consumption", params={"quantity": quantity})
    return answer


def codes(answer: dict[str, Any]) -> list[str]:
    return [each["code"] for each in answer["findings"]]


def test_nitrate_that_rises_is_a_part_of_the_demand(house: House) -> None:
    """By hand: 1.5 mg/L of NO3 a day take 0.0242 meq/L/d, a quarter of the 0.1 that is dosed."""
    system = house.a_system()
    titrations(house, system["id"], [2.9] * 29)
    dosed(house, system["id"], 100, DAYS)
    read(house, system, "nitrate", [5.0 + 1.5 * 7 * week for week in range(9)], "mg/L NO3", 7.0)
    answer = ask(house, system)
    share = answer["nitrate_share"]
    assert share["value"] == pytest.approx(0.0242, abs=0.003)
    assert share["low"] < 0.0242 < share["high"]
    assert share["unit"] == "meq/L/d"
    assert codes(answer) == ["nitrate_takes_alkalinity"]
    detail = answer["findings"][0]["detail"]
    assert f"{share['value']:.3f}" in detail
    assert "another kit" in detail
    in_dkh = house.call("GET", f"/v1/systems/{system['id']}/consumption?unit=dKH/d")["nitrate_share"]
    assert in_dkh["value"] == pytest.approx(share["value"] / 0.35665, rel=1e-4)


def test_nitrate_as_nitrogen_is_the_same_nitrate(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], [2.9] * 29)
    read(house, system, "nitrate", [(5.0 + 10.5 * week) / 4.4268 for week in range(9)], "mg/L NO3-N", 7.0)
    assert ask(house, system)["nitrate_share"]["value"] == pytest.approx(0.0242, abs=0.003)


def test_nitrate_that_stands_is_not_worth_a_word(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], [2.9] * 29)
    dosed(house, system["id"], 100, DAYS)
    assert ask(house, system)["nitrate_share"] is None
    read(house, system, "nitrate", [5.0, 5.1, 4.9, 5.0, 5.2, 5.0, 4.9, 5.1, 5.0], "mg/L NO3", 7.0)
    answer = ask(house, system)
    assert answer["nitrate_share"]["low"] < 0 < answer["nitrate_share"]["high"]
    assert codes(answer) == []


def test_salinity_that_falls_is_named_and_taken_out(house: House) -> None:
    """0.4 a week: 0.057 a day of 33.5 take 0.0049 meq/L/d from 2.85, which is no consumption."""
    system = house.a_system()
    slope = 0.4 / 7
    random = np.random.default_rng(4)
    salinity = [35.0 - slope * 4 * i + 0.05 * random.standard_normal() for i in range(15)]
    levels = [2.9 * (1 - slope * 2 * i / 35.0) for i in range(29)]
    titrations(house, system["id"], levels, noise=0.01)
    before = ask(house, system)
    assert before["salinity_share"] is None
    read(house, system, "salinity", salinity, "1", 4.0)
    answer = ask(house, system)
    share = answer["salinity_share"]
    assert share["value"] == pytest.approx(2.85 / 33.4 * slope, abs=0.0012)
    assert share["low"] < 2.85 / 33.4 * slope < share["high"]
    assert before["estimate"]["value"] - answer["estimate"]["value"] == pytest.approx(share["value"], abs=0.0012)
    assert sorted(codes(answer)) == ["salinity_drifts", "salinity_off"]
    assert all("conductivity" in each["detail"] for each in answer["findings"])
    assert any("smoothed course of salinity" in each for each in answer["assumptions"])
    assert answer["used"]["doses"] == 0


def test_a_water_change_and_recorded_salt_are_no_drift(house: House) -> None:
    """A fifth of the water changed for water of 30: 35 falls to 34; a kilogram of salt brings it back."""
    system = house.a_system()  # 1000 L
    values = [35.0] * 6 + [34.0] * 4 + [35.0] * 5
    titrations(house, system["id"], [2.9] * 29)
    start = house.now - timedelta(days=DAYS)
    add(
        house, kind="water_change", system_id=system["id"], at=(start + timedelta(days=22)).isoformat(),
        volume={"value": 200, "unit": "L"}, new_water={"salinity": {"value": 30, "unit": "1"}},
    )  # fmt: skip
    add(
        house, kind="salt", system_id=system["id"], at=(start + timedelta(days=38)).isoformat(),
        mass={"value": 1.0047 * 1.023, "unit": "kg"},
    )  # fmt: skip
    read(house, system, "salinity", values, "1", 4.0)
    answer = ask(house, system)
    assert codes(answer) == []
    assert abs(answer["salinity_share"]["value"]) < 0.001


def test_salt_on_record_makes_what_conservation_says(house: House) -> None:
    """9.578 kg of dry salt in 1000 L of 29 at 25 C (1018.8 kg): (1018.8 x 29.137 + 9578)/1028.4 g/kg is 38."""
    system = house.a_system()
    titrations(house, system["id"], [2.9] * 29)
    add(
        house, kind="salt", system_id=system["id"], at=(house.now - timedelta(days=DAYS - 22)).isoformat(),
        mass={"value": 9.578, "unit": "kg"}, relative_sd=0.002,
    )  # fmt: skip
    read(house, system, "salinity", [29.0] * 6 + [38.0] * 9, "1", 4.0)
    assert abs(ask(house, system)["salinity_share"]["value"]) < 0.0003


def fallen(house: House, *, calcium: float) -> dict[str, Any]:
    """Alkalinity falls by 1.2 meq/L four weeks ago, calcium by so much."""
    system = house.a_system()
    titrations(house, system["id"], [3.4] * 15 + [2.2] * 14, noise=0.02)
    random = np.random.default_rng(8)
    values = [440.0 - calcium * (i > 9) + 2.0 * random.standard_normal() for i in range(19)]
    read(house, system, "calcium", values, "mg/L", 3.0)
    return system


def test_carbonate_that_fell_out_is_named_instead_of_a_jump(house: House) -> None:
    system = fallen(house, calcium=24.0)
    answer = ask(house, system)
    assert codes(answer) == ["precipitation"]
    detail = answer["findings"][0]["detail"]
    assert "another kit" in detail
    assert "heaters and pumps" in detail
    assert "precipitation" in codes(ask(house, system, "calcium"))


def test_alkalinity_alone_is_a_jump_or_a_kit(house: House) -> None:
    assert codes(ask(house, fallen(house, calcium=0.0))) == ["level_shift"]


def test_dilution_is_not_precipitation(house: House) -> None:
    """Of both the same part goes: 1.2 of 3.4, and 155 of 440 mg/L."""
    assert "precipitation" not in codes(ask(house, fallen(house, calcium=155.0)))
