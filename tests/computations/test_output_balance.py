"""GET /v1/equipment/{id}/output-balance: what a reactor delivers against what its systems take."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from support.diary import add, dosed
from support.house import House
from support.plant import DAYS, DKH, Plant, codes, the_worked_case

from service.computations.output_balance.balance import Asked, balanced
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Chamber, Fed
from service.computations.output_balance.words import fitted_words
from service.science.answering import Answer
from service.science.reactor_output import Mode

KEYS = {
    "effluent": {"flow", "alkalinity", "ph", "omega_aragonite", "ceiling_alkalinity", "against_ceiling"},
    "supply": {"alkalinity", "calcium", "media"},
    "demand": {"alkalinity"},
    "gas": {"added", "use_fraction", "carry_over"},
    "gas_check": {"by_chemistry", "by_weighing", "by_bubbles", "by_gas_flow", "fused", "finding"},
}


def test_the_worked_case(house: House) -> None:
    """Figures by an independent prototype with PyCO2SYS 1.8.3 constants: Lueker 2000, Mucci 1983, TEOS-10 density."""
    answer = the_worked_case(house).ask()
    effluent, supply, gas = answer["effluent"], answer["supply"], answer["gas"]
    assert effluent["alkalinity"]["value"] == pytest.approx(25 * DKH, rel=1e-4)
    assert effluent["omega_aragonite"]["value"] == pytest.approx(0.556, abs=0.002)
    assert effluent["ceiling_alkalinity"]["value"] == pytest.approx(38.3 * DKH, rel=0.005)
    # the level in the tank is an estimate from noisy titrations: within a fifth of a dKH of 8
    assert supply["alkalinity"]["value"] == pytest.approx(500, rel=0.02)
    assert supply["media"]["value"] == pytest.approx(25.0, rel=0.02)
    assert supply["calcium"]["value"] == pytest.approx(10.02, rel=0.02)
    assert gas["added"]["value"] == pytest.approx(19.8, rel=0.02)
    assert gas["use_fraction"]["value"] == pytest.approx(0.557, abs=0.01)
    assert gas["carry_over"]["value"] == pytest.approx(2.810e-3 * 44.0095 * 82.467 * 1.02334, rel=0.03)
    half = (gas["added"]["high"] - gas["added"]["low"]) / 2 / 1.96 / gas["added"]["value"]
    assert half == pytest.approx((0.10**2 + 0.10**2) ** 0.5, rel=0.15)  # a drip known to 10 %, chemistry to 10 %
    assert {unit["unit"] for unit in (gas["added"], supply["media"])} == {"g/d"}


def test_supply_meets_the_demand_of_a_steady_system(house: House) -> None:
    answer = the_worked_case(house).ask()
    assert answer["demand"]["alkalinity"]["unit"] == "meq/d"
    assert answer["demand"]["alkalinity"]["value"] == pytest.approx(500, rel=0.06)
    ratio = answer["supply_over_demand"]
    assert ratio["low"] < 1 < ratio["high"]
    # the drip's error is in supply and demand alike: were they taken as independent the span would be 0.65
    assert ratio["high"] - ratio["low"] < 0.4
    assert codes(answer["advice"]) == ["hold"]
    settles = answer["settles_at"]
    assert settles["mode"] == "gas_limited"
    # at constant gas perhaps nothing restores (b from 0), and which way it moves is not known: no end either way
    assert (settles["alkalinity"]["low"], settles["alkalinity"]["high"]) == (None, None)
    only = answer["systems"][0]
    assert (only["supply_over_demand"], only["settles_at"]) == (ratio, settles)


def test_a_controlled_chamber_settles_by_its_drip_too(house: House) -> None:
    constant, controlled = (
        the_worked_case(house, operation_mode=mode).ask()["settles_at"] for mode in ("constant_gas", "controlled_ph")
    )
    assert (constant["mode"], controlled["mode"]) == ("gas_limited", "ph_controlled")
    # V/Q = 12.1 days when demand does not answer; at constant gas nothing would restore then
    assert controlled["time_constant"]["high"] == pytest.approx(1000 / 82.467, rel=0.01)
    assert constant["time_constant"]["high"] is None
    assert controlled["alkalinity"]["low"] < 8 * DKH < controlled["alkalinity"]["high"]
    assert controlled["alkalinity"]["value"] == pytest.approx(8 * DKH, abs=0.3)
    assert constant["time_constant"]["value"] > controlled["time_constant"]["value"]


def test_a_falling_system_is_told_which_knob_and_how_far(house: House) -> None:
    knobs = {}
    for mode in ("constant_gas", "controlled_ph"):
        plant = Plant(house, operation_mode=mode)
        plant.water(plant.systems[0], rise=-0.03)  # 30 meq/d short of 115
        plant.outlet(flow=15)
        knobs[mode] = plant.ask()
    gas, drip = knobs["constant_gas"], knobs["controlled_ph"]
    assert gas["supply_over_demand"]["high"] < 1
    assert codes(gas["advice"]) == ["more_gas"]
    assert codes(drip["advice"]) == ["more_drip"]
    assert "faster drip only thins" in gas["advice"][0]["detail"]
    assert "from 15.0 to" in drip["advice"][0]["detail"]
    assert "the chamber then stands at pH 6." in gas["advice"][0]["detail"]
    assert "the effluent thins to" in drip["advice"][0]["detail"]
    assert gas["advice"][0]["subject_id"]


def test_an_effluent_above_its_ceiling_is_flagged_never_clipped(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet(dkh=45, ph=7.0)  # the ceiling at pH 7.0 is 19.5 dKH
    answer = plant.ask()
    assert answer["effluent"]["ceiling_alkalinity"]["value"] == pytest.approx(19.5 * DKH, rel=0.01)
    assert answer["effluent"]["alkalinity"]["value"] == pytest.approx(45 * DKH, rel=1e-4)
    assert answer["effluent"]["omega_aragonite"]["value"] > 2
    assert "above_ceiling" in codes(answer["findings"])
    assert "lost gas" in answer["findings"][0]["detail"]
    assert answer["settles_at"]["mode"] == "at_ceiling"


def test_gas_that_does_not_show_names_the_degassed_sample_and_the_leak(house: House) -> None:
    plant = the_worked_case(house)
    plant.gas(45.0)
    check = plant.ask()["gas_check"]
    assert check["by_weighing"]["value"] == pytest.approx(45, rel=0.05)
    assert check["by_chemistry"]["value"] == pytest.approx(19.8, rel=0.03)
    assert check["finding"]["code"] == "gas_missing"
    for word in ("leak", "lost gas", "closed cell", "in the chamber"):
        assert word in check["finding"]["detail"]


def test_gas_that_agrees_gives_no_finding(house: House) -> None:
    plant = the_worked_case(house)
    plant.gas(20.0)
    check = plant.ask()["gas_check"]
    assert check["finding"] is None
    low, high = check["fused"]["low"], check["fused"]["high"]
    assert low < 20 < high
    assert high - low < check["by_chemistry"]["high"] - check["by_chemistry"]["low"]


def test_gas_that_nobody_weighed_out_is_named(house: House) -> None:
    """At least 16.2 g/d at any pH (see test_the_least_gas_by_hand): no reading of the pH explains 6."""
    plant = the_worked_case(house)
    plant.gas(6.0)
    assert plant.ask()["gas_check"]["finding"]["code"] == "wrong_flow"


def test_a_sample_above_its_chamber_is_a_degassed_one(house: House) -> None:
    plant = the_worked_case(house)
    plant.read(plant.reactor, "chamber_ph", 6.3, "[pH]", conditions={"temperature": 25})
    answer = plant.ask()
    assert answer["gas_check"]["finding"]["code"] == "degassed_sample"
    assert answer["effluent"]["ph"]["value"] == 6.3
    assert answer["gas"]["added"]["value"] > 20


def test_a_chamber_read_weeks_before_the_sample_says_nothing_of_it(house: House) -> None:
    plant = the_worked_case(house)
    plant.read(plant.reactor, "chamber_ph", 6.3, "[pH]", 14, conditions={"temperature": 25})
    answer = plant.ask()
    assert answer["gas_check"]["finding"] is None
    assert answer["effluent"]["ph"]["value"] == 6.6


def test_changed_water_brings_its_part(house: House) -> None:
    plant = Plant(house, operation_mode="controlled_ph")
    plant.water(plant.systems[0])
    plant.outlet()
    plain = plant.ask()
    for weeks in (1, 0):
        add(
            house, kind="water_change", system_id=plant.systems[0]["id"], at=plant.ago(7 * weeks + 0.5),
            volume={"value": 200, "unit": "L"}, new_water={"alkalinity": {"value": 2.85, "unit": "meq/L"}},
        )  # fmt: skip
    changed = plant.ask()
    # V/(Q + q): two changes of a fifth in 14 days exchange 28.6 L/d
    slowest = changed["settles_at"]["time_constant"]["high"]
    assert slowest == pytest.approx(1000 / (82.467 + 28.57), rel=0.01)
    assert slowest < plain["settles_at"]["time_constant"]["high"]


def test_bubbles_count_once_they_were_weighed(house: House) -> None:
    plant = the_worked_case(house)
    plant.read(plant.reactor, "bubble_rate", 1.5, "{bubble}/s", 0.1)
    assert plant.ask()["gas_check"]["by_bubbles"] is None
    assert "bubble_calibration" in codes(plant.ask()["missing"])
    for days in range(56, 0, -7):
        plant.read(plant.reactor, "bubble_rate", 1.5, "{bubble}/s", days)
    plant.gas(20.0)
    by_bubbles = plant.ask()["gas_check"]["by_bubbles"]
    assert by_bubbles["value"] == pytest.approx(20.0, rel=0.02)
    plant.read(plant.reactor, "bubble_rate", 3.0, "{bubble}/s")
    assert plant.ask()["gas_check"]["by_bubbles"]["value"] == pytest.approx(40.0, rel=0.02)


def test_a_meter_is_read_and_a_shared_line_is_not_told_apart(house: House) -> None:
    plant = the_worked_case(house)
    # 1 g/d = 0.351 mL (0 C, 1 atm)/min: CO2's density there, 1.977 kg/m3
    plant.read(plant.reactor, "gas_flow", 7.02, "mL/min (0 C, 1 atm)")
    plant.gas(40.0, reactors=2)
    answer = plant.ask()
    assert answer["gas_check"]["by_weighing"] is None
    assert "shared_line" in codes(answer["missing"])
    assert answer["gas_check"]["by_gas_flow"]["value"] == pytest.approx(20.0, rel=0.01)


def test_a_drip_of_zero_has_its_own_answer(house: House) -> None:
    plant = the_worked_case(house)
    plant.house.pass_time(hours=1)
    plant.read(plant.reactor, "effluent_flow", 0.0, "L/d")
    answer = plant.ask()
    assert "no_drip" in codes(answer["findings"])
    assert (answer["supply"]["alkalinity"]["value"], answer["supply"]["media"]["value"]) == (0, 0)
    assert answer["supply_over_demand"]["value"] == 0
    assert (answer["gas"]["added"], answer["settles_at"], answer["advice"]) == (None, None, [])


def test_an_effluent_below_the_tank_has_its_own_answer(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet(dkh=6.0, ph=7.6)
    answer = plant.ask()
    assert "effluent_below_tank" in codes(answer["findings"])
    assert answer["supply"]["alkalinity"]["value"] < 0
    assert (answer["gas"]["use_fraction"], answer["settles_at"]) == (None, None)


def test_two_systems_share_one_reactor(house: House) -> None:
    plant = Plant(house, systems=2, shares=(0.25, 0.75))
    for system, dkh in zip(plant.systems, (7.0, 9.0), strict=True):
        plant.water(system, dkh=dkh)
    plant.outlet()
    answer = plant.ask()
    assert (answer["supply_over_demand"], answer["settles_at"], answer["demand"]["alkalinity"]) == (None, None, None)
    parts = {part["system_id"]: part for part in answer["systems"]}
    first, second = (parts[system["id"]] for system in plant.systems)
    assert first["supply"]["value"] == pytest.approx(0.25 * 82.467 * 18 * DKH, rel=0.03)
    assert second["supply"]["value"] == pytest.approx(0.75 * 82.467 * 16 * DKH, rel=0.03)
    total = answer["supply"]["alkalinity"]
    assert total["value"] == pytest.approx(first["supply"]["value"] + second["supply"]["value"], rel=1e-9)
    # one drip error for both: the sum is no better known, relatively, than its parts
    assert (total["high"] - total["value"]) / total["value"] == pytest.approx(1.96 * 0.112, rel=0.1)
    assert second["supply_over_demand"]["value"] == pytest.approx(1.0, abs=0.1)


def test_what_others_supply_is_left_to_them(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet()
    dosed(house, plant.systems[0]["id"], 500, DAYS)
    answer = plant.ask()
    assert answer["supply_over_demand"]["value"] == pytest.approx(0.5, abs=0.05)
    assert codes(answer["advice"]) == ["hold"]
    assert answer["settles_at"]["alkalinity"]["value"] == pytest.approx(8 * DKH, abs=0.5)


def test_a_second_reactor_that_was_never_checked_leaves_the_rest_unknown(house: House) -> None:
    plant = the_worked_case(house)
    second = plant.piece("calcium_reactor")
    plant.feed(second, plant.systems[0])
    answer = plant.ask()
    assert answer["settles_at"] is None
    assert "other_supplies" in codes(answer["missing"])
    plant.outlet(reactor=second)
    answer = plant.ask()
    assert "other_supplies" not in codes(answer["missing"])
    assert answer["supply_over_demand"]["value"] == pytest.approx(0.5, abs=0.05)


def test_a_new_reactor_answers_null_with_every_key(house: House) -> None:
    full = the_worked_case(house)
    full.gas(20.0)
    known, bare = full.ask(), Plant(house, systems=0, shares=()).ask()
    assert set(known) == set(bare)
    for part, keys in KEYS.items():
        assert set(known[part]) == set(bare[part]) == keys
        assert set(bare[part].values()) == {None}
    assert (bare["supply_over_demand"], bare["settles_at"], bare["systems"]) == (None, None, [])
    assert codes(bare["missing"]) == ["effluent_flow", "effluent_alkalinity", "effluent_ph", "feed", "gas_line"]
    assert "toxic" in " ".join(bare["cautions"])
    assert "pressure" in " ".join(bare["cautions"])


@pytest.mark.parametrize(
    ("left_out", "code"),
    [({"ph": None}, "effluent_ph"), ({"last": 35}, "effluent_flow")],
    ids=["no pH", "checks five weeks old"],
)
def test_what_was_not_read_of_late_is_missing(house: House, left_out: dict[str, Any], code: str) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0])
    plant.outlet(**left_out)
    answer = plant.ask()
    assert code in codes(answer["missing"])
    assert answer["gas"]["added"] is None


def test_without_a_tank_ph_the_supply_is_still_known(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0], ph=None)
    plant.outlet()
    answer = plant.ask()
    assert answer["supply"]["alkalinity"]["value"] == pytest.approx(500, rel=0.02)
    assert answer["effluent"]["omega_aragonite"]["value"] == pytest.approx(0.556, abs=0.002)
    assert set(answer["gas"].values()) == {None}
    assert "ph" in codes(answer["missing"])


def test_a_repeated_pull_is_304_and_another_sites_reactor_is_not_found(house: House) -> None:
    plant = the_worked_case(house)
    path = f"/v1/equipment/{plant.reactor['id']}/output-balance"
    tag = house.send("GET", path).headers["ETag"]
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 304
    plant.read(plant.reactor, "effluent_flow", 80, "L/d")
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 200
    stranger = house.token("keeper", site=house.a_site()["id"])
    house.call("GET", path, status=404, token=stranger)
    refused = house.call("GET", f"/v1/equipment/{plant.piece('pump')['id']}/output-balance", status=422)
    assert "calcium_reactor" in refused["detail"]


def test_an_answer_told_by_the_record_takes_the_place_of_the_range() -> None:
    """At constant gas only demand's answer brings a system back: the fitted one says how soon, the range barely."""
    alone = Fed(
        share=1.0, system_id=None, alkalinity=Number(2.8, 0.02), ph=Number(8.1, 0.02), temperature_c=25.0,
        salinity=35.0, boron_factor=1.0, volume_l=1000.0, demand=Number(480.0, 20.0),
    )  # fmt: skip
    chamber = Chamber(flow=Number(82.5, 2.0), alkalinity=Number(8.9, 0.1), ph=Number(6.6, 0.05))
    told = Answer(0.5, 0.4, 0.6, np.array([0.45, 0.6]), np.array([0.5, 0.5]))
    asked = [Asked(chamber, replace(alone, answer=answer), Mode.GAS_LIMITED) for answer in (None, told)]
    ranged, fitted = (each.settles for each in balanced(asked))
    assert ranged is not None
    assert fitted is not None
    assert ranged["time_constant"]["high"] is None
    assert fitted["time_constant"]["low"] == pytest.approx(1000.0 / (480.0 * 0.6))
    assert fitted["time_constant"]["high"] == pytest.approx(1000.0 / (480.0 * 0.4))
    assert "own record" in fitted_words(told)
