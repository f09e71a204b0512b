"""GET /v1/systems/{id}/consumption: from records to an interval, over everything that runs in."""

from __future__ import annotations

from datetime import timedelta

import pytest
from support.diary import add, dosed, titrations
from support.house import House

DAYS = 60


def falling(rate: float, start: float = 3.4, count: int = 31) -> list[float]:
    """Levels every second day that fall by `rate` a day."""
    return [start - 2 * rate * index for index in range(count)]


def test_a_system_that_gets_nothing_consumes_what_it_loses(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], falling(0.02))
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    estimate = answer["estimate"]
    assert estimate["unit"] == "meq/L/d"
    assert estimate["low"] < 0.02 < estimate["high"]
    assert estimate["value"] == pytest.approx(0.02, abs=0.012)
    assert answer["used"]["readings"] == 31
    course = answer["course"]
    assert len({len(course[name]) for name in ("at", "value", "low", "high")}) == 1
    assert all(
        low <= value <= high for low, value, high in zip(course["low"], course["value"], course["high"], strict=True)
    )


def test_what_is_dosed_is_counted(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], falling(0.0))
    dosed(house, system["id"], 300, DAYS)  # 0.3 meq/L/d into 1000 L
    estimate = house.call("GET", f"/v1/systems/{system['id']}/consumption")["estimate"]
    assert estimate["low"] < 0.3 < estimate["high"]
    assert estimate["value"] == pytest.approx(0.3, abs=0.04)


def test_water_changes_and_limewater_are_counted(house: House) -> None:
    system = house.a_system()
    start = house.now - timedelta(days=DAYS)
    # 5 L a day of limewater at 40 meq/L: 0.2 meq/L/d into 1000 L
    for week in range(8):
        begun = start + timedelta(days=7 * week)
        add(
            house, kind="top_off", liquid="limewater", system_id=system["id"], started_at=begun.isoformat(),
            ended_at=(begun + timedelta(days=7)).isoformat(), volume={"value": 35, "unit": "L"},
            strength={"value": 40, "unit": "meq/L"},
        )  # fmt: skip
    titrations(house, system["id"], falling(0.0))
    estimate = house.call("GET", f"/v1/systems/{system['id']}/consumption")["estimate"]
    assert estimate["low"] < 0.2 < estimate["high"]
    half = (estimate["high"] - estimate["low"]) / 2
    assert half > 0.2 * 0.15  # limewater is known to 15 %: the interval must say so


def test_a_drip_whose_effluent_was_never_tested_is_missing_not_guessed(house: House) -> None:
    system = house.a_system()
    reactor = house.call(
        "POST", "/v1/equipment", {"site_id": system["site_id"], "tag": "r-1", "kind": "calcium_reactor"}
    )
    start = (house.now - timedelta(days=DAYS)).isoformat()
    house.call("POST", "/v1/feeds", {"reactor_id": reactor["id"], "system_id": system["id"], "from": start})
    titrations(house, system["id"], falling(0.0))
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    assert answer["estimate"] is None
    assert {lack["code"] for lack in answer["missing"]} == {"inlet_flow", "inlet_alkalinity"}
    assert {lack["subject_id"] for lack in answer["missing"]} == {reactor["id"]}


def test_a_reactor_is_counted_by_its_drip_and_effluent(house: House) -> None:
    system = house.a_system()
    reactor = house.call(
        "POST", "/v1/equipment", {"site_id": system["site_id"], "tag": "r-1", "kind": "calcium_reactor"}
    )
    start = house.now - timedelta(days=DAYS)
    house.call("POST", "/v1/feeds", {"reactor_id": reactor["id"], "system_id": system["id"], "from": start.isoformat()})
    for week in range(9):
        at = (start + timedelta(days=7 * week)).isoformat()
        house.a_reading(reactor["id"], 60.0, quantity="effluent_flow", unit="L/d", taken_at=at)
        house.a_reading(reactor["id"], 8.0, quantity="effluent_alkalinity", unit="meq/L", taken_at=at)
    titrations(house, system["id"], [3.0] * 31)
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    supply = 60 * (8.0 - 3.0) / 1000  # Q (A_eff - A) / V by hand: 0.3 meq/L/d
    estimate = answer["estimate"]
    assert estimate["low"] < supply < estimate["high"]
    assert (estimate["high"] - estimate["low"]) / 2 > supply * 0.10  # a timed drip is known to 10 %


def test_a_tank_that_moves_takes_its_later_readings_along(house: House) -> None:
    site = house.a_site()
    first, second = house.a_system(site), house.a_system(site)
    tank = house.call("POST", "/v1/tanks", {"system_id": first["id"], "tag": "t-1", "name": "A tank"})
    moved = (house.now - timedelta(days=30)).isoformat()
    house.call(
        "PATCH", f"/v1/tanks/{tank['id']}", {"system_id": second["id"], "from": moved}, headers={"If-Match": '"1"'}
    )
    titrations(house, tank["id"], falling(0.02))
    used = [
        house.call("GET", f"/v1/systems/{system['id']}/consumption")["used"]["readings"] for system in (first, second)
    ]
    assert used == [15, 16]


def test_a_withdrawn_reading_is_not_counted_and_a_correction_is(house: House) -> None:
    system = house.a_system()
    ids = titrations(house, system["id"], falling(0.02))
    before = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    house.call("POST", f"/v1/readings/{ids[3]}/withdrawal", {"reason": "wrong bottle"}, headers={"If-Match": '"1"'})
    after = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    assert after["used"]["readings"] == before["used"]["readings"] - 1


def test_a_new_system_answers_null_with_every_key(house: House) -> None:
    full = house.a_system()
    titrations(house, full["id"], falling(0.02))
    with_records = house.call("GET", f"/v1/systems/{full['id']}/consumption")
    answer = house.call("GET", f"/v1/systems/{house.a_system()['id']}/consumption")
    assert answer["estimate"] is None
    assert set(answer) == set(with_records)
    assert answer["missing"][0]["code"] == "alkalinity_readings"


def test_the_unit_asked_for_is_the_unit_answered(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], falling(0.02))
    path = f"/v1/systems/{system['id']}/consumption"
    plain, shown = house.call("GET", path), house.call("GET", f"{path}?unit=dKH/d")
    assert shown["estimate"]["unit"] == "dKH/d"
    assert shown["estimate"]["value"] == pytest.approx(plain["estimate"]["value"] / 0.35665, rel=1e-4)
    assert house.call("GET", f"{path}?unit=kg", status=422)["errors"][0]["pointer"] == "unit"


def test_a_repeated_pull_is_304_until_something_is_recorded(house: House) -> None:
    system = house.a_system()
    path = f"/v1/systems/{system['id']}/consumption"
    titrations(house, system["id"], falling(0.02))
    tag = house.send("GET", path).headers["ETag"]
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 304
    house.a_reading(system["id"], 8.0)
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 200


def test_a_check_says_when_to_test_again(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], [3.0] * 31)
    path = f"/v1/systems/{system['id']}/consumption/check"
    reading = {"unit": "meq/L", "taken_at": (house.now + timedelta(hours=1)).isoformat(), "method": "syringe_titration"}
    fine, off = (house.call("POST", path, {**reading, "value": value}) for value in (3.0, 3.5))
    assert fine["verdict"] == "as_expected"
    assert off["verdict"] == "test_again"
    assert off["score"] > 4
    assert "test again" in off["findings"][0]["detail"]
    assert off["expected"]["low"] < 3.0 < off["expected"]["high"]
    assert house.call("GET", "/v1/readings?limit=1000").__len__() == 31  # advisory: nothing was stored


def test_a_check_without_records_knows_nothing_and_says_so(house: House) -> None:
    path = f"/v1/systems/{house.a_system()['id']}/consumption/check"
    answer = house.call("POST", path, {"value": 3.0, "unit": "meq/L", "taken_at": house.now.isoformat()})
    assert (answer["verdict"], answer["expected"], answer["score"]) == ("unknown", None, None)
    assert answer["missing"]


def test_spans_that_cannot_be_are_refused(house: House) -> None:
    path = f"/v1/systems/{house.a_system()['id']}/consumption"
    now = house.now.strftime("%Y-%m-%dT%H:%M:%SZ")
    later = (house.now + timedelta(days=2)).strftime("%Y-%m-%dT%H:%M:%SZ")
    assert house.call("GET", f"{path}?at={now}&to={later}", status=422)["errors"][0]["pointer"] == "to"
    assert house.call("GET", f"{path}?at={now}&from={later}", status=422)["errors"][0]["pointer"] == "from"
    assert house.call("GET", f"{path}?at=yesterday", status=422)["errors"][0]["pointer"] == "at"
    assert house.call("GET", f"{path}?at={now}&from=2020-01-01T00:00:00Z", status=422)["errors"][0]["pointer"] == "from"


def test_what_is_logged_when_it_is_over_goes_on_until_then(house: House) -> None:
    """Limewater is logged by the week: the level must not fall off for want of the last entry."""
    system = house.a_system()
    start = house.now - timedelta(days=DAYS)
    for week in range(8):
        begun = start + timedelta(days=7 * week)
        add(
            house, kind="top_off", liquid="limewater", system_id=system["id"], started_at=begun.isoformat(),
            ended_at=(begun + timedelta(days=7)).isoformat(), volume={"value": 35, "unit": "L"},
            strength={"value": 40, "unit": "meq/L"},
        )  # fmt: skip
    titrations(house, system["id"], falling(0.0, 3.0))
    path = f"/v1/systems/{system['id']}/consumption"
    now = house.call("GET", path)
    assert any("taken to go on" in sentence for sentence in now["assumptions"])
    house.pass_time(days=2)
    later = house.call("GET", path)
    assert later["expected"]["low"] < 3.0 < later["expected"]["high"]
    house.pass_time(days=60)
    much_later = house.call("GET", path)["expected"]
    assert much_later is None or much_later["value"] > 0


def test_the_course_begins_with_the_first_reading(house: House) -> None:
    system = house.a_system()
    titrations(house, system["id"], falling(0.02, count=11))
    answer = house.call("GET", f"/v1/systems/{system['id']}/consumption")
    assert answer["course"]["at"][0] >= answer["used"]["from"]


def test_a_feed_measured_too_poorly_is_not_called_unmeasured(house: House) -> None:
    system = house.a_system()
    reactor = house.call(
        "POST", "/v1/equipment", {"site_id": system["site_id"], "tag": "r-1", "kind": "calcium_reactor"}
    )
    start = (house.now - timedelta(days=DAYS)).isoformat()
    house.call("POST", "/v1/feeds", {"reactor_id": reactor["id"], "system_id": system["id"], "from": start})
    titrations(house, system["id"], falling(0.0))
    house.a_reading(reactor["id"], 8.0, quantity="effluent_alkalinity", unit="meq/L")
    lacks = {
        lack["code"]: lack["detail"] for lack in house.call("GET", f"/v1/systems/{system['id']}/consumption")["missing"]
    }
    assert "never measured" in lacks["inlet_flow"]
    assert "effluent_flow" in lacks["inlet_flow"]
    assert "reactor r-1" in lacks["inlet_flow"]
    assert "never measured" not in lacks.get("inlet_alkalinity", "")
