"""What limits a reactor's supply, in the answers: the shares, the finding where supply falls short, and the knob.

The shares themselves are held against the chamber model, the ceiling by hand and the simulator in
tests/science/test_chamber_limits.py.
"""

from __future__ import annotations

import re
from typing import Any

import pytest
from support.house import House
from support.plant import Plant, codes

PATH = "/v1/calculations/output-balance"
TANK = {"alkalinity": {"value": 8, "unit": "dKH"}, "ph": {"value": 8.1}, "temperature": 25, "salinity": 35}
EFFLUENT = {"flow": {"value": 82.467, "unit": "L/d"}, "alkalinity": {"value": 25, "unit": "dKH"}, "ph": {"value": 6.6}}
LIMITED = {"gas_limited", "drip_limited", "media_limited"}


def asked(house: House, *, demand: float | None, mode: str = "constant_gas", **effluent: Any) -> dict[str, Any]:
    """The worked reactor, which brings 500 meq/d, asked for a demand known to 2 %."""
    sent: dict[str, Any] = {
        "tank": {**TANK, "water_volume": {"value": 1000, "unit": "L"}},
        "effluent": {**EFFLUENT, **effluent},
        "mode": mode,
    }
    if demand is not None:
        sent["demand"] = {"value": demand, "unit": "meq/d", "relative_sd": 0.02}
    return house.call("POST", PATH, sent)


def named(answer: dict[str, Any]) -> list[str]:
    return [code for code in codes(answer["findings"]) if code in LIMITED]


def test_the_shares_are_told_to_anybody_who_asks_and_add_up(house: House) -> None:
    shares = asked(house, demand=None)["limits"]
    assert sum(each["value"] for each in shares.values()) == pytest.approx(1.0, abs=1e-9)
    assert shares["gas"]["value"] == pytest.approx(0.78, abs=0.01)
    assert shares["drip"]["low"] < shares["drip"]["value"] < shares["drip"]["high"] < shares["gas"]["low"]
    held = asked(house, demand=None, mode="controlled_ph")["limits"]
    assert held["gas"] is None
    assert held["drip"]["value"] + held["media"]["value"] == pytest.approx(1.0, abs=1e-9)


def test_at_constant_gas_the_gas_limits_a_supply_that_falls_short(house: House) -> None:
    answer = asked(house, demand=800)
    assert named(answer) == ["gas_limited"]
    said = next(each["detail"] for each in answer["findings"] if each["code"] == "gas_limited")
    # 500 of 800 meq/d; a tenth more gas: 2.853 + 6.063 x 1.1^0.782 = 9.39 meq/L
    assert said.startswith("The reactor brings 0.63 (")
    assert "0.78 % (" in said
    assert "from 8.9 to about 9.4 meq/L" in said
    assert codes(answer["advice"]) == ["more_gas"]


def test_with_the_ph_held_near_the_ceiling_it_is_the_drip(house: House) -> None:
    answer = asked(house, demand=800, mode="controlled_ph", ph={"value": 6.85})
    assert named(answer) == ["drip_limited"]
    said = next(each["detail"] for each in answer["findings"] if each["code"] == "drip_limited")
    assert "gas following" in said
    found = re.search(r"from 8\.9 to about (\d\.\d) meq/L", said)
    assert found
    assert 8.6 < float(found[1]) <= 8.9  # at its ceiling the effluent stays: that is what more drip lives by
    # the effluent stands at its ceiling: with the pH held that is no reason to turn the gas
    assert codes(answer["advice"]) == ["more_drip"]
    much = asked(house, demand=300, mode="controlled_ph", ph={"value": 6.85})
    assert named(much) == []
    assert codes(much["advice"]) == ["less_drip"]


def test_far_below_the_ceiling_with_the_ph_held_it_is_the_media(house: House) -> None:
    answer = asked(house, demand=800, mode="controlled_ph", ph={"value": 6.1}, alkalinity={"value": 18, "unit": "dKH"})
    assert named(answer) == ["media_limited"]
    assert codes(answer["advice"]) == ["mend_media"]
    assert "drip and gas alike" in next(e["detail"] for e in answer["findings"] if e["code"] == "media_limited")


@pytest.mark.parametrize("demand", [500, 540, None])
def test_nothing_limits_a_supply_that_is_not_known_to_fall_short(house: House, demand: float | None) -> None:
    """0.93 of what is asked of it, when the drip is known to 10 %, is no shortage."""
    for mode in ("constant_gas", "controlled_ph"):
        assert named(asked(house, demand=demand, mode=mode)) == []


def test_where_no_share_leads_by_more_than_its_error_none_is_named(house: House) -> None:
    answer = asked(house, demand=800, mode="controlled_ph")  # drip 0.56 (0.38 to 0.90), media 0.44
    assert answer["supply_over_demand"]["high"] < 1
    assert named(answer) == []
    assert codes(answer["advice"]) == ["more_drip"]


def test_what_cannot_be_shared_is_null(house: House) -> None:
    without_ph = {name: value for name, value in EFFLUENT.items() if name != "ph"}
    nothing = {"gas": None, "drip": None, "media": None}
    assert house.call("POST", PATH, {"tank": TANK, "effluent": without_ph})["limits"] == nothing
    for effluent in (
        {"alkalinity": {"value": 6, "unit": "dKH"}},
        {"flow": {"value": 0, "unit": "L/d"}},
        {"alkalinity": {"value": 9, "unit": "dKH"}, "ph": {"value": 8.7}},
    ):
        answer = asked(house, demand=800, **effluent)
        assert answer["limits"] == nothing
        assert named(answer) == []


def test_the_records_of_a_falling_system_name_it_and_the_report_says_so_first(house: House) -> None:
    plant = Plant(house)
    plant.water(plant.systems[0], rise=-0.03)  # 30 meq/d short of 115
    plant.outlet(flow=15)
    answer = plant.ask()
    assert named(answer) == ["gas_limited"]
    assert answer["limits"]["gas"]["value"] > 0.6
    report = house.call("GET", "/v1/reports/weekly", params={"site": plant.site["tag"]})
    assert "gas_limited" in codes(report["findings"])
    assert any("its gas limits that" in sentence for sentence in report["headline"])
