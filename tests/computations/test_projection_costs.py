"""What a plan costs: gas, media and pH, by the worked case and by hand."""

from __future__ import annotations

import pytest
from support.house import House
from support.plant import Plant, codes, the_worked_case
from support.projections import ask, lacks, turned

from service.science.carbonate import carbonate_system

WATER = {"salinity": 35.0, "temperature_c": 25.0}
LITRE_KG = 1.0233436  # sw-10 of shared/reference/checks.csv
PCO2_ATM = 610.5e-6  # of 8 dKH at pH 8.1: HUMPHREYS22, version 1.8.3.4, computed
CO2_MOL_KG = 17.28e-6


def exactly(per_hour: float) -> dict[str, float]:
    return {"low": per_hour, "high": per_hour}


def test_gas_and_media_now_and_under_more_gas(house: House) -> None:
    """The worked case: 19.8 g/d of gas and 25.0 g/d of media at 500 meq/d."""
    plant = the_worked_case(house)
    reactor = ask(house, plant, reactors=turned(plant, gas_factor=1.3))["reactors"][0]
    assert reactor["gas_now"]["value"] == pytest.approx(19.8, rel=0.02)
    assert reactor["media_now"]["value"] == pytest.approx(25.0, rel=0.02)
    assert reactor["gas"]["value"] == pytest.approx(1.3 * reactor["gas_now"]["value"], rel=1e-4)
    more = reactor["supply"]["value"] / reactor["supply_now"]["value"]
    assert reactor["media"]["value"] / reactor["media_now"]["value"] == pytest.approx(more, rel=1e-6)
    for name in ("gas", "media"):
        assert reactor[name]["low"] < reactor[name]["value"] < reactor[name]["high"]


def test_a_faster_drip_costs_gas_only_where_the_ph_is_held(house: House) -> None:
    faster = {"flow": {"value": 1.4 * 82.467, "unit": "L/d"}}
    constant = the_worked_case(house)
    reactor = ask(house, constant, reactors=turned(constant, **faster))["reactors"][0]
    assert reactor["gas"]["value"] == pytest.approx(reactor["gas_now"]["value"], rel=1e-4)
    held = the_worked_case(house, operation_mode="controlled_ph")
    reactor = ask(house, held, reactors=turned(held, **faster))["reactors"][0]
    assert reactor["gas"]["value"] > 1.15 * reactor["gas_now"]["value"]
    assert reactor["gas"]["high"] - reactor["gas"]["value"] > 1.05 * 1.96 * 0.1 * reactor["gas_now"]["value"]


def test_weighed_gas_counts_beside_the_chemistry(house: House) -> None:
    plant = the_worked_case(house)
    by_chemistry = ask(house, plant)["reactors"][0]["gas_now"]
    plant.gas(18.0)
    told = ask(house, plant)["reactors"][0]["gas_now"]
    assert 18.0 < told["value"] < by_chemistry["value"]
    assert told["high"] - told["low"] < by_chemistry["high"] - by_chemistry["low"]


def test_ph_under_more_gas_by_hand(house: House) -> None:
    """0.3 x 19.8 g/d = 0.135 mol/d; at 1 per hour CO2 rests 0.135/(24 x 1023.3 kg) = 5.5e-6 mol/kg above 17.28e-6."""
    plant = the_worked_case(house)
    plan = {"reactors": turned(plant, gas_factor=1.3), "gas_exchange": exactly(1.0), "days": 60}
    answer = ask(house, plant, **plan)
    assert answer["gas_exchange"] == {"low": 1.0, "high": 1.0, "unit": "/h", "by": "as_asked"}
    ph, level = answer["ph"], answer["course"]["value"][-1] / 1000 / LITRE_KG
    added = 0.3 * 19.76 / 44.0095
    share = 1 + added / (24 * 1000 * LITRE_KG) / CO2_MOL_KG
    by_hand = carbonate_system(alkalinity_mol_kg=level, pco2_atm=PCO2_ATM * share, **WATER).ph_nbs
    assert ph["value"][0] == pytest.approx(8.1, abs=0.005)
    assert ph["value"][-1] == pytest.approx(float(by_hand), abs=0.01)
    assert ph["low"][-1] < ph["value"][-1] - 0.05
    assert len(ph["value"]) == 61
    assert ph["unit"] == "[pH]"
    # the more freely the surface breathes, the less the gas shows
    freely = ask(house, plant, **{**plan, "gas_exchange": exactly(10.0)})["ph"]["value"]
    assert ph["value"][-1] < freely[-1]


def test_gas_exchange_is_told_by_the_rooms_air_and_bounded_without(house: House) -> None:
    """By hand: 0.449 mol/d leave 1023 kg; against 420 ppm (5.4e-6 below the water's CO2) that takes 3.4 per hour."""
    plant = the_worked_case(house)
    plan = {"reactors": turned(plant, gas_factor=1.2), "days": 30}
    bounded = ask(house, plant, **plan)
    assert bounded["gas_exchange"]["by"] == "at_least"
    # the water's pH and the gas at their ends, and half for what lives: clearly below 3.4, no tenth of it
    assert 0.34 < bounded["gas_exchange"]["low"] < 3.4
    assert "gas_exchange" in lacks(bounded)
    room = house.call("POST", "/v1/rooms", {"site_id": plant.site["id"], "tag": "cellar-1", "name": "Cellar"})
    house.call("PATCH", f"/v1/systems/{plant.systems[0]['id']}", {"room_id": room["id"]}, headers={"If-Match": '"1"'})
    plant.read(room, "room_co2", 480, "ppm")
    nearer = ask(house, plant, **plan)["gas_exchange"]
    # within its errors this water may hold as little as the room: only the bound is nearer
    assert nearer["by"] == "at_least"
    assert nearer["low"] > 1.1 * bounded["gas_exchange"]["low"]
    for days in (6, 4, 2, 0):
        plant.read(plant.systems[0], "ph", 7.7, "[pH]", days, conditions={"temperature": 25})
    told = ask(house, plant, **plan)
    assert told["gas_exchange"]["by"] == "balance"
    assert "gas_exchange" not in lacks(told)


def test_limewater_lifts_ph_and_too_much_of_it_is_said(house: House) -> None:
    plant = the_worked_case(house)
    lime = {"volume": {"value": 4, "unit": "L/d"}, "strength": {"value": 40, "unit": "meq/L"}}
    answer = ask(house, plant, days=30, limewater_change=lime, gas_exchange=exactly(0.3))
    assert answer["ph"]["value"][-1] > answer["ph"]["value"][0] + 0.1
    assert "ph_high" in codes(answer["findings"])
    # the same alkalinity dosed as salts brings its carbon along
    salts = ask(house, plant, days=30, dosing_change={"value": 160, "unit": "meq/d"}, gas_exchange=exactly(0.3))
    assert salts["ph"]["value"][-1] < answer["ph"]["value"][-1] - 0.05


def test_ph_stays_where_nothing_is_turned_and_is_null_where_it_was_never_read(house: House) -> None:
    plant = the_worked_case(house)
    answer = ask(house, plant, days=10)
    assert answer["ph"]["value"][-1] == pytest.approx(8.1, abs=0.01)
    assert lacks(answer) == []
    blind = Plant(house)
    blind.water(blind.systems[0], ph=None)
    blind.outlet()
    answer = ask(house, blind, days=10)
    assert answer["course"] is not None
    assert answer["ph"] is None
    assert lacks(answer) == ["ph"]
    problem = ask(house, plant, 422, gas_exchange={"low": 3, "high": 1})
    assert problem["errors"][0]["pointer"] == "/gas_exchange/high"


def test_a_plan_that_starves_the_water_has_no_ph_and_says_so(house: House) -> None:
    plant = the_worked_case(house)
    for change, days in ((-600, 60), (-9000, 10)):
        answer = ask(house, plant, days=days, dosing_change={"value": change, "unit": "meq/d"})
        assert answer["ph"] is None
        assert "ph" in lacks(answer)
        assert answer["course"] is not None
        assert "starved" in codes(answer["findings"])
    problem = ask(house, plant, 422, dosing_change={"value": 1e9, "unit": "meq/d"})
    assert problem["errors"][0]["pointer"] == "/dosing_change/value"
    lime = {"volume": {"value": -1e9, "unit": "L/d"}}
    problem = ask(house, plant, 422, limewater_change=lime)
    assert problem["errors"][0]["pointer"] == "/limewater_change/volume/value"
    assert "Check the amount" in problem["errors"][0]["detail"]
    most = ask(house, plant, days=5, dosing_change={"value": 10000, "unit": "meq/d"}, stages=1)
    assert most["course"]["value"][1] > 8
