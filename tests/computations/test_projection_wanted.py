"""A wanted pH: limewater and reactor share the demand, by the worked case and by hand."""

from __future__ import annotations

from typing import Any

import pytest
from support.diary import titrations
from support.house import House
from support.plant import DKH, Plant, codes, the_worked_case
from support.projections import ask, lacks, turned

from service.science.carbonate import carbonate_system

WATER = {"salinity": 35.0, "temperature_c": 25.0}
LITRE_KG = 1.0233436  # sw-10 of shared/reference/checks.csv
PCO2_ATM = 610.5e-6  # of 8 dKH at pH 8.1: HUMPHREYS22, version 1.8.3.4, computed
AT_8_3 = 346.0 / 610.5  # of the same water at pH 8.3: likewise
CO2_MOL_KG = 17.28e-6
SATURATED = {"value": 40.6, "unit": "meq/L"}
C = 0.8978  # mmol a meq: 5.3192 / (2 x 2.9624)


def litres(value: float) -> dict[str, Any]:
    return {"value": value, "unit": "L/d"}


def exactly(per_hour: float) -> dict[str, float]:
    return {"low": per_hour, "high": per_hour}


def for_ph(ph: float, kla: float, evaporation: float = 20.0, **more: Any) -> dict[str, Any]:
    """A plan for a wanted pH in a water whose gas exchange is known."""
    return {
        "wanted_ph": ph, "evaporation": litres(evaporation), "limewater_strength": SATURATED,
        "gas_exchange": exactly(kla), **more,
    }  # fmt: skip


def the_worked_case_read_exactly(house: House) -> Plant:
    """8 dKH, pH 8.1 in; 25 dKH, pH 6.6 out; 82.467 L/d: at rest, and every titration right."""
    plant = Plant(house)
    system = plant.systems[0]
    titrations(house, system["id"], [8.0 * DKH] * 31, noise=0.0)
    plant.read(system, "ph", 8.1, "[pH]", conditions={"temperature": 25})
    plant.read(system, "temperature", 25, "Cel")
    plant.read(system, "salinity", 35, "1")
    plant.outlet()
    return plant


@pytest.mark.parametrize(
    ("to_air", "limewater", "drip"),
    [(-0.4489, 7.9, 29.5), (-0.2371, 4.2, 54.5)],  # all the gas bound; the carry-over alone
)
def test_the_worked_splits_come_out_where_ph_asks_for_them(
    house: House, to_air: float, limewater: float, drip: float
) -> None:
    """N mol/d at 2 per hour bring CO2 to 1 + N/(24 x 2 x 1023.3 x 17.28e-6) of today's, and so to one pH."""
    plant = the_worked_case_read_exactly(house)
    share = 1 + to_air / (24 * 2.0 * 1000 * LITRE_KG * CO2_MOL_KG)
    water = {"alkalinity_mol_kg": 8.0 * DKH / 1000 / LITRE_KG, **WATER}
    ph = float(carbonate_system(pco2_atm=PCO2_ATM * share, **water).ph_nbs)
    wanted = ask(house, plant, **for_ph(ph, 2.0))["wanted"]
    assert wanted["limewater"]["value"] == pytest.approx(limewater, abs=0.1)
    assert wanted["drip"]["value"] == pytest.approx(drip, abs=0.5)
    assert wanted["limited_by"] is None


def test_a_wanted_ph_by_hand(house: House) -> None:
    """From 610 to 346 uatm at 1 per hour: the air gives 24 x 1023.3 x 17.28e-6 x 0.433 = 0.184 mol/d, so 131 meq/d."""
    plant = the_worked_case(house)
    answer = ask(house, plant, **for_ph(8.3, 1.0, days=60))
    wanted = answer["wanted"]
    given = 24 * 1000 * LITRE_KG * CO2_MOL_KG * (1 - AT_8_3)
    assert wanted["limewater_alkalinity"]["value"] == pytest.approx(1000 * given / (C + 0.5), rel=0.05)
    assert wanted["limewater_alkalinity"]["value"] == pytest.approx(40.6 * wanted["limewater"]["value"], rel=1e-9)
    assert wanted["reached"]["value"] == pytest.approx(8.3, abs=1e-6)
    assert wanted["reached"]["low"] < 8.2 < 8.4 < wanted["reached"]["high"]
    # the two together bring what the reactor brings now: the level stays, pH goes where it was wanted
    assert answer["course"]["value"][-1] == pytest.approx(answer["course"]["value"][0], abs=0.05)
    assert answer["ph"]["value"][-1] == pytest.approx(8.3, abs=0.02)
    reactor = answer["reactors"][0]
    share = reactor["flow"]["value"] / 82.467
    assert reactor["supply"]["value"] == pytest.approx(share * reactor["supply_now"]["value"], rel=1e-6)
    assert reactor["gas"]["value"] == pytest.approx(share * reactor["gas_now"]["value"], rel=1e-6)
    # a quarter less, known to a fifth of that, and to the same part as now
    half, now = (reactor[name]["high"] - reactor[name]["value"] for name in ("gas", "gas_now"))
    assert half**2 == pytest.approx(
        (share * now) ** 2 + (1.96 * 0.2 * (1 - share) * reactor["gas_now"]["value"]) ** 2, rel=1e-3
    )
    assert reactor["effluent_alkalinity"]["value"] == pytest.approx(25 * 0.35665, rel=1e-3)
    assert [each["day"] for each in answer["stages"]] == [0, 3]  # 0.2 of pH, 0.1 a day
    assert {"hold_effluent", "in_stages"} <= set(codes(answer["advice"]))
    assert "gloves" in " ".join(answer["cautions"])
    assert lacks(answer) == []


def test_evaporation_bounds_it_and_the_ph_then_reached_is_told(house: House) -> None:
    """By hand: 2 L/d bind 40.6 mmol and spare the gas of 81.2 meq, 72.9: 0.114 mol/d less than today for the air."""
    plant = the_worked_case(house)
    answer = ask(house, plant, **for_ph(8.3, 1.0, evaporation=2.0, days=60))
    wanted = answer["wanted"]
    assert wanted["limited_by"] == "evaporation"
    assert wanted["limewater"] == litres(2.0)
    assert wanted["would_take"]["value"] > 3.0
    level = answer["course"]["value"][0] / 1000 / LITRE_KG
    share = 1 - 0.1135 / (24 * 1000 * LITRE_KG * CO2_MOL_KG)
    by_hand = float(carbonate_system(alkalinity_mol_kg=level, pco2_atm=PCO2_ATM * share, **WATER).ph_nbs)
    assert wanted["reached"]["value"] == pytest.approx(by_hand, abs=0.01)
    assert answer["ph"]["value"][-1] == pytest.approx(by_hand, abs=0.02)
    assert "limited_by_evaporation" in codes(answer["findings"])
    assert f"{wanted['reached']['value']:.2f}" in answer["findings"][0]["detail"]


def test_where_the_water_may_breathe_slowly_ph_is_not_overshot(house: House) -> None:
    """Three times faster or slower: as much limewater as the slowest asks for, and pH at rest between."""
    plant = the_worked_case(house)
    plan = {**for_ph(8.3, 1.0), "gas_exchange": {"low": 0.3, "high": 3.0}}
    answer, known = (ask(house, plant, **{**plan, **more}) for more in ({}, {"gas_exchange": exactly(0.3)}))
    wanted, slow = answer["wanted"], known["wanted"]
    assert wanted["limewater"]["value"] == pytest.approx(slow["limewater"]["value"], rel=1e-9)
    assert wanted["would_take"]["low"] == pytest.approx(wanted["limewater"]["value"], rel=1e-9)
    assert wanted["would_take"]["high"] > 5 * wanted["would_take"]["low"]
    assert 8.12 < wanted["reached"]["value"] < 8.3
    assert slow["reached"]["value"] == pytest.approx(8.3, abs=1e-6)
    assert "falls_short" in codes(answer["findings"])
    assert "falls_short" not in codes(known["findings"])


def test_ends_of_the_split_are_named(house: House) -> None:
    plant = the_worked_case(house)
    low = ask(house, plant, **for_ph(7.9, 1.0))
    assert low["wanted"]["limited_by"] == "nothing_to_bind"
    assert low["wanted"]["limewater"]["value"] == 0.0
    assert low["wanted"]["reached"]["value"] == pytest.approx(8.1, abs=0.02)
    assert "limited_by_nothing_to_bind" in codes(low["findings"])
    high = ask(house, plant, **for_ph(8.5, 5.0, evaporation=100.0))
    assert high["wanted"]["limited_by"] == "demand"
    assert high["wanted"]["drip"]["value"] == pytest.approx(0.0, abs=1e-9)
    assert 8.1 < high["wanted"]["reached"]["value"] < 8.5


def test_what_is_dosed_besides_is_no_longer_shared(house: House) -> None:
    plant = the_worked_case(house)
    alone, *beside = (
        ask(house, plant, **for_ph(8.3, 1.0), **more)
        for more in ({}, *({"dosing_change": {"value": value, "unit": "meq/d"}} for value in (100, -100)))
    )
    for answer, dosed in zip((alone, *beside), (0.0, 100.0, -100.0), strict=True):
        met = answer["wanted"]["limewater_alkalinity"]["value"] + answer["reactors"][0]["supply"]["value"] + dosed
        assert met == pytest.approx(answer["reactors"][0]["supply_now"]["value"], abs=15.0)
        assert answer["course"]["value"][-1] == pytest.approx(alone["course"]["value"][-1], abs=0.02)
        # the carbon that salts bring is bound as well
        assert answer["wanted"]["reached"]["value"] == pytest.approx(8.3, abs=1e-6)
    much = {"value": 5000, "unit": "meq/d"}
    assert "nothing is left" in ask(house, plant, **for_ph(8.3, 1.0), dosing_change=much)["missing"][-1]["detail"]


@pytest.mark.parametrize(
    ("plan", "pointer", "remedy"),
    [
        ({"wanted_ph": 8.3}, "/evaporation", "Send `evaporation`"),
        ({"wanted_ph": 9.3, "evaporation": litres(8)}, "/wanted_ph", "7.8 to 8.5"),
        ({"wanted_ph": 8.3, "evaporation": {"value": 8, "unit": "kg"}}, "/evaporation/unit", "kg"),
        ({"wanted_ph": 8.3, "evaporation": litres(-1)}, "/evaporation/value", "At least 0"),
        (
            {"wanted_ph": 8.3, "evaporation": litres(8), "limewater_change": {"volume": litres(1)}},
            "/limewater_change", "Leave out",
        ),
        (
            {"wanted_ph": 8.3, "evaporation": litres(8), "limewater_strength": {"value": 100, "unit": "meq/L"}},
            "/limewater_strength/value", "titrate",
        ),
        (
            {"wanted_ph": 8.3, "evaporation": litres(8), "limewater_strength": {"value": 1e-9, "unit": "meq/L"}},
            "/limewater_strength/value", "At least 0.1",
        ),
        ({"evaporation": litres(8)}, "/evaporation", "Send `wanted_ph`"),
        ({"limewater_strength": SATURATED}, "/limewater_strength", "Send `wanted_ph`"),
    ],
)  # fmt: skip
def test_what_cannot_be_asked_names_field_and_remedy(
    house: House, plan: dict[str, Any], pointer: str, remedy: str
) -> None:
    plant = the_worked_case(house)
    problem = ask(house, plant, 422, **plan)
    assert problem["errors"][0]["pointer"] == pointer
    assert remedy in problem["errors"][0]["detail"]


def test_own_settings_and_several_reactors_are_refused_beside_a_wanted_ph(house: House) -> None:
    plant = the_worked_case(house)
    plan = {"wanted_ph": 8.3, "evaporation": litres(8)}
    problem = ask(house, plant, 422, **plan, reactors=turned(plant, flow=litres(60)))
    assert problem["errors"][0]["pointer"] == "/reactors"
    shared = Plant(house, systems=2, shares=(0.6, 0.4))
    problem = ask(house, shared, 422, **plan)
    assert problem["errors"][0]["pointer"] == "/wanted_ph"
    assert "feeds 2 systems" in problem["errors"][0]["detail"]
    plant.feed(plant.piece("calcium_reactor"), plant.systems[0])
    problem = ask(house, plant, 422, **plan)
    assert "2 reactors feed" in problem["errors"][0]["detail"]
    bare = house.a_system()
    problem = house.call("POST", f"/v1/systems/{bare['id']}/projection", plan, status=422)
    assert "No reactor feeds" in problem["errors"][0]["detail"]


def test_without_the_readings_it_is_null_and_says_which(house: House) -> None:
    blind = Plant(house)
    blind.water(blind.systems[0], ph=None)
    blind.outlet()
    answer = ask(house, blind, **for_ph(8.3, 1.0))
    assert answer["wanted"] is None
    assert answer["course"] is None
    assert lacks(answer) == ["wanted_ph"]
