"""GET /v1/gas-lines/{id}/gas-forecast and /v1/equipment/{id}/gas-forecast: how long the gas lasts, by weighing."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from support.house import House

TARE, CAPACITY, CHARGE = 6.85, 6.617647, 4.5  # 0.68 kg/L, the filling ratio of 49 CFR 173.304a
STAMPED = {
    "stamped_tare": {"value": TARE, "unit": "kg"},
    "water_capacity": {"value": CAPACITY, "unit": "L"},
    "charge": {"value": CHARGE, "unit": "kg"},
}
PARTS = ("remaining", "use", "liquid_gone_at", "empty_at", "change_by")


def cylinder(house: House, site: dict[str, Any], *without: str, **fields: Any) -> dict[str, Any]:
    """A cylinder, with less stamped on it than usual."""
    specification = {name: value for name, value in STAMPED.items() if name not in without} | fields
    content = {"site_id": site["id"], "tag": f"c-{uuid4().hex[:8]}", "kind": "co2_cylinder"}
    return house.call("POST", "/v1/equipment", {**content, "specification": specification})


def line(house: House, site: dict[str, Any], *cylinders: dict[str, Any], days: float = 70) -> dict[str, Any]:
    """A gas line with cylinders and one reactor, from so many days ago."""
    content = {"site_id": site["id"], "tag": f"r-{uuid4().hex[:8]}", "kind": "calcium_reactor"}
    reactor = house.call("POST", "/v1/equipment", content)
    sent = {
        "site_id": site["id"], "tag": f"g-{uuid4().hex[:8]}", "reactor_ids": [reactor["id"]],
        "cylinder_ids": [each["id"] for each in cylinders], "from": (house.now - timedelta(days=days)).isoformat(),
    }  # fmt: skip
    return house.call("POST", "/v1/gas-lines", sent)


def weigh(house: House, piece: dict[str, Any], net_kg: float, days_ago: float, **fields: Any) -> dict[str, Any]:
    """One weighing with the regulator off the scale."""
    at = (house.now - timedelta(days=days_ago)).isoformat()
    return house.a_reading(
        piece["id"], round(TARE + net_kg, 4), quantity="cylinder_gross_mass", unit="kg", taken_at=at, **fields
    )


def steady(house: House, piece: dict[str, Any], *, begun: float = 70, ended: float = 0, g_d: float = 20) -> None:
    """A weighing a week, exactly at a constant rate from a full charge."""
    for days_ago in range(int(begun), int(ended) - 1, -7):
        weigh(house, piece, CHARGE - (begun - days_ago) * g_d / 1000, days_ago)


def ask(house: House, gas_line: dict[str, Any], **query: Any) -> dict[str, Any]:
    """The line's forecast."""
    return house.call("GET", f"/v1/gas-lines/{gas_line['id']}/gas-forecast", params=query)


def instant(text: str) -> datetime:
    """An instant as answered."""
    return datetime.fromisoformat(text)


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def test_a_constant_rate_is_carried_forward(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    answer = ask(house, gas_line, lowest_temperature=20, highest_temperature=20)
    # by hand: 70 days at 20 g/d leave 3.1 kg; the last liquid goes at 194.2 kg/m3 x 6.6176 L = 1.285 kg (Span &
    # Wagner 1996), 90.7 days on; empty at 10 bar, 0.127 kg (Peng-Robinson), 148.7 days on
    assert answer["remaining"]["value"] == pytest.approx(3.1, abs=0.02)
    assert answer["remaining"]["unit"] == "kg"
    assert answer["use"]["value"] == pytest.approx(20.0, abs=0.5)
    assert answer["use"]["unit"] == "g/d"
    gone = instant(answer["liquid_gone_at"]["value"]) - house.now
    assert gone / timedelta(days=1) == pytest.approx(90.7, abs=3)
    assert (instant(answer["empty_at"]["value"]) - house.now) / timedelta(days=1) == pytest.approx(148.7, abs=5)
    for name in ("liquid_gone_at", "empty_at"):
        assert answer[name]["low"] < answer[name]["value"] < answer[name]["high"]
    low = instant(answer["liquid_gone_at"]["low"]) - timedelta(days=7)
    assert date.fromisoformat(answer["change_by"]) == low.astimezone(ZoneInfo("Europe/Oslo")).date()
    assert answer["used"]["weighings"] == 11
    assert answer["missing"] == answer["findings"] == []
    assert "toxic" in " ".join(answer["cautions"])


def test_change_by_is_a_day_of_the_site(house: House) -> None:
    days = []
    for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):  # 14 hours ahead of UTC and 11 behind
        site = house.a_site(time_zone=zone)
        piece = cylinder(house, site)
        gas_line = line(house, site, piece)
        steady(house, piece)
        days.append(date.fromisoformat(ask(house, gas_line)["change_by"]))
    assert (days[0] - days[1]).days in (1, 2)


def test_the_lead_time_moves_change_by_and_nothing_else(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    week, month = (ask(house, gas_line, lead_days=days) for days in (7, 30))
    apart = date.fromisoformat(week["change_by"]) - date.fromisoformat(month["change_by"])
    assert apart.days == 23
    assert week["empty_at"] == month["empty_at"]


def test_three_weighings_give_no_last_day(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site, "charge")
    gas_line = line(house, site, piece, days=14)
    for days_ago, net in ((14, 4.5), (7, 4.48), (0, 4.459)):  # 3 g/d under a scale of 20 g
        weigh(house, piece, net, days_ago)
    answer = ask(house, gas_line)
    assert answer["empty_at"]["high"] is None
    assert instant(answer["empty_at"]["low"]) > house.now
    assert answer["change_by"] is not None
    assert "weigh_weekly" in codes(answer["advice"])


def test_the_rate_lives_through_a_swap(house: House) -> None:
    site = house.a_site()
    old, new = cylinder(house, site), cylinder(house, site)
    gas_line = line(house, site, old)
    steady(house, old, ended=7)
    at = (house.now - timedelta(days=5)).isoformat()
    house.call("POST", f"/v1/equipment/{old['id']}/swap", {"at": at, "new_cylinder_id": new["id"]})
    answer = ask(house, gas_line)
    assert answer["cylinder_id"] == new["id"]
    assert answer["remaining"]["value"] == pytest.approx(4.4, abs=0.05)  # its charge less five days at 20 g
    assert answer["use"]["value"] == pytest.approx(20.0, abs=0.6)
    # asked of the cylinder taken off: it is on no line any more; before the swap it was
    path = f"/v1/equipment/{old['id']}/gas-forecast"
    off = house.call("GET", path)
    assert (off["gas_line_id"], codes(off["missing"])) == (None, ["no_line"])
    before = house.call("GET", path, params={"at": (house.now - timedelta(days=6)).isoformat()})
    assert before["cylinder_id"] == old["id"]


def test_the_line_and_its_cylinder_answer_alike(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    assert house.call("GET", f"/v1/equipment/{piece['id']}/gas-forecast") == ask(house, gas_line)


def test_what_the_records_cannot_say_is_null_and_missing(house: House) -> None:
    site = house.a_site()
    full = cylinder(house, site)
    steady(house, full, begun=70)
    keys = set(ask(house, line(house, site, full)))
    bare = cylinder(house, site, "stamped_tare")
    cases = [
        (line(house, site), "no_cylinder"),
        (line(house, site, cylinder(house, site), cylinder(house, site)), "several_cylinders"),
        (line(house, site, bare), "stamped_tare"),
        (line(house, site, cylinder(house, site, "charge")), "a_weighing_of_this_cylinder"),
        (line(house, site, cylinder(house, site)), "a_second_weighing"),
    ]
    weigh(house, bare, 4.0, 3)
    for gas_line, code in cases:
        answer = ask(house, gas_line)
        assert set(answer) == keys
        assert [answer[part] for part in PARTS] == [None] * len(PARTS), code
        assert codes(answer["missing"]) == [code]
        assert answer["cautions"]


def test_without_a_water_capacity_what_is_left_is_still_known(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site, "water_capacity")
    gas_line = line(house, site, piece)
    steady(house, piece)
    answer = ask(house, gas_line)
    assert answer["remaining"]["value"] == pytest.approx(3.1, abs=0.02)
    assert (answer["liquid_gone_at"], answer["empty_at"], answer["change_by"]) == (None, None, None)
    assert codes(answer["missing"]) == ["water_capacity"]


def test_above_31_degrees_there_is_no_liquid_to_go(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    # the critical point of carbon dioxide: 304.1282 K = 30.978 C (Span & Wagner 1996)
    cool, warm = (ask(house, gas_line, highest_temperature=warmest) for warmest in (30.9, 31.0))
    assert cool["liquid_gone_at"] is not None
    assert "no_liquid" not in codes(cool["findings"])
    assert warm["liquid_gone_at"] is None
    assert "no_liquid" in codes(warm["findings"])
    early = instant(warm["empty_at"]["low"]) - timedelta(days=7)
    assert date.fromisoformat(warm["change_by"]) == early.astimezone(ZoneInfo("Europe/Oslo")).date()


def test_a_cylinder_heavier_than_its_charge_is_named(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site, "charge", charge={"value": 2.0, "unit": "kg"})
    gas_line = line(house, site, piece)
    steady(house, piece)
    found = ask(house, gas_line)["findings"]
    assert "heavier_than_charge" in codes(found)
    assert found[0]["subject_id"] == piece["id"]


def test_weighings_that_cannot_be_are_set_aside_and_said(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    before = ask(house, gas_line)
    heavy = weigh(house, piece, 7.5, 2)  # 1.13 kg/L: more than any cylinder is filled with
    light = weigh(house, piece, -0.5, 1)
    answer = ask(house, gas_line)
    assert codes(answer["findings"]) == ["heavier_than_full", "lighter_than_tare"]
    assert {each["reading_id"] for each in answer["set_aside"]} == {heavy["id"], light["id"]}
    assert answer["remaining"] == before["remaining"]


def test_a_wrong_weighing_is_set_aside_with_its_id(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    wrong = weigh(house, piece, 4.2, 24)
    answer = ask(house, gas_line)
    assert [each["reading_id"] for each in answer["set_aside"]] == [wrong["id"]]
    assert answer["used"]["weighings"] == 11


def test_cylinders_that_drained_together_do_not_count_until_one_was_alone(house: House) -> None:
    site = house.a_site()
    first, second = cylinder(house, site), cylinder(house, site)
    gas_line = line(house, site, first, second)
    for days_ago in (70, 63, 56, 49, 42):  # together: each loses half
        weigh(house, first, 4.5 - (70 - days_ago) * 0.010, days_ago)
        weigh(house, second, 4.5 - (70 - days_ago) * 0.010, days_ago)
    alone = {"cylinder_ids": [first["id"]], "from": (house.now - timedelta(days=42)).isoformat()}
    house.call("PATCH", f"/v1/gas-lines/{gas_line['id']}", alone, headers={"If-Match": f'"{gas_line["version"]}"'})
    for days_ago in (35, 28, 21, 14, 7, 0):
        weigh(house, first, 4.22 - (42 - days_ago) * 0.020, days_ago)
    answer = ask(house, gas_line)
    assert answer["use"]["value"] == pytest.approx(20.0, abs=1.0)
    assert answer["remaining"]["value"] == pytest.approx(3.38, abs=0.03)


def test_a_repeated_pull_is_304_until_something_is_recorded(house: House) -> None:
    site = house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    steady(house, piece)
    for path in (f"/v1/gas-lines/{gas_line['id']}/gas-forecast", f"/v1/equipment/{piece['id']}/gas-forecast"):
        tag = house.send("GET", path).headers["ETag"]
        assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 304
        other = house.send("GET", path, headers={"If-None-Match": tag}, params={"lead_days": 9})
        assert other.status_code == 200
        weigh(house, piece, 3.1, 0)
        assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 200


def test_another_sites_gas_is_not_found(house: House) -> None:
    site, elsewhere = house.a_site(), house.a_site()
    piece = cylinder(house, site)
    gas_line = line(house, site, piece)
    stranger = house.token("keeper", site=elsewhere["id"])
    for path in (f"/v1/gas-lines/{gas_line['id']}/gas-forecast", f"/v1/equipment/{piece['id']}/gas-forecast"):
        house.call("GET", path, status=404, token=stranger)


def test_questions_that_cannot_be_are_refused(house: House) -> None:
    site = house.a_site()
    gas_line = line(house, site, cylinder(house, site))
    path = f"/v1/gas-lines/{gas_line['id']}/gas-forecast"
    turned = {"lowest_temperature": 25, "highest_temperature": 20}
    assert house.call("GET", path, params=turned, status=422)["errors"][0]["pointer"] == "highest_temperature"
    assert house.call("GET", path, params={"highest_temperature": 70}, status=422)["errors"][0]["pointer"] == (
        "highest_temperature"
    )
    reactor = gas_line["reactor_ids"][0]
    refused = house.call("GET", f"/v1/equipment/{reactor}/gas-forecast", status=422)
    assert "co2_cylinder" in refused["detail"]
