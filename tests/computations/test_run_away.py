"""GET /v1/equipment/{id}/run-away and POST /v1/calculations/run-away: gas that nobody shuts.

Times, floors and bounds by an independent prototype checked with PyCO2SYS 1.8.3.4 (Lueker 2000; Mucci 1983; Weiss
1974). How far a cut-off lies below the nights, and how often it is tested, is common practice: no source.
"""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from computations.test_output_balance import Plant, codes, the_worked_case
from science.test_hazards import dissolving_tank
from support.house import House
from support.probes import batch, send

PATH = "/v1/calculations/run-away"
TANK = {"water_volume": {"value": 1000, "unit": "L"}, "alkalinity": {"value": 8, "unit": "dKH"}, "ph": 8.1}
WORKED = {"tank": TANK, "flow": {"value": 100, "unit": "g/h"}, "drip": {"value": 82.5, "unit": "L/d"}}


def tank(**fields: Any) -> dict[str, Any]:
    """The worked case with another tank."""
    return {**WORKED, "tank": {**TANK, **fields}}


def test_the_worked_run_away(house: House) -> None:
    """1000 L at 8 dKH and pH 8.1, 100 g/h: 4.3 min to 7.8, 7.6 to 7.5; through the drip 4.8 g/h (haz-10) and 1.5 h."""
    answer = house.call("POST", PATH, WORKED)
    system = answer["systems"][0]
    first, second = system["reaches"]
    assert (first["ph"], second["ph"]) == (7.8, 7.5)
    assert first["gas"]["value"] == pytest.approx(7.14, abs=0.03)  # 0.1585 mmol/kg (haz-01) of 1023 kg
    assert first["gas_reaches_tank"]["without_exchange"] == pytest.approx(4.3, abs=0.05)
    assert second["gas_reaches_tank"]["without_exchange"] == pytest.approx(7.6, abs=0.05)
    assert system["drip_carries"] == {"value": pytest.approx(4.8, abs=0.06), "unit": "g/h"}
    assert first["through_drip"]["without_exchange"] == pytest.approx(90, abs=2)
    # kLa 2 per hour carries 1.88 g/h per m3 at 7.8 for ever; at 0.1 it hardly delays
    assert first["through_drip"]["exchange_low"] == pytest.approx(91, abs=2)
    slow = house.call("POST", PATH, {**WORKED, "flow": {"value": 1.8, "unit": "g/h"}})["systems"][0]["reaches"][0]
    assert slow["gas_reaches_tank"]["exchange_high"] is None
    assert slow["gas_reaches_tank"]["exchange_low"] is not None
    assert (answer["exchange"]["by"], answer["exchange"]["low"], answer["exchange"]["high"]) == ("range", 0.1, 2.0)


def test_it_starts_from_the_systems_own_nights(house: House) -> None:
    """From 7.9 to 7.7 only 4.1 g CO2 per m3, where 8.1 to 7.8 took 7.1."""
    sent = tank(nights=[8.02, 7.9, 7.95], ph=8.1)
    system = house.call("POST", PATH, {**sent, "to_ph": [7.7]})["systems"][0]
    assert system["reaches"][0]["gas"]["value"] == pytest.approx(4.1, abs=0.06)
    assert (system["starts_at"]["ph"], system["starts_at"]["by"]) == (7.9, "night_minimum")
    low = house.call("POST", PATH, tank(nights=[7.75]))
    assert low["systems"][0]["reaches"][0]["gas_reaches_tank"]["without_exchange"] == 0
    assert "already_there" in codes(low["findings"])
    assert system["cut_off"]["suggested"] == {
        "low": pytest.approx(7.70), "high": pytest.approx(7.75), "night_minimum": 7.9,
    }  # fmt: skip


def test_a_whole_cylinder_has_a_floor(house: House) -> None:
    """4.5 kg: 300 L and 1000 L come to pH 4.98 at 1 atm (haz-03), of which 1000 L dissolve 1.29 kg; 5000 L to 5.14."""
    for litres, ph, dissolved in ((300, 4.98, 0.39), (1000, 4.98, 1.29), (5000, 5.14, 4.5)):
        sent = {**tank(water_volume={"value": litres, "unit": "L"}), "gas_mass": {"value": 4.5, "unit": "kg"}}
        whole = house.call("POST", PATH, sent)["systems"][0]["whole_cylinder"]
        assert whole["lowest_ph"] == pytest.approx(ph, abs=0.006)
        assert whole["dissolved"]["value"] == pytest.approx(dissolved, abs=0.006)
        assert whole["dissolved"]["value"] + whole["to_room"]["value"] == pytest.approx(4.5)


def test_what_does_not_dissolve_goes_to_the_room(house: House) -> None:
    room = {"free_volume": {"value": 30, "unit": "m3"}, "air_changes_per_hour": 0.5, "below_ground": True}
    answer = house.call("POST", PATH, {**WORKED, "room": room, "gas_mass": {"value": 4.5, "unit": "kg"}})
    assert answer["room"]["rate"]["value"] == pytest.approx(100 - 4.8, abs=0.1)
    assert answer["room"]["whole_cylinder"]["screening"]["value"] == pytest.approx(8.24, abs=0.01)
    # 95.2 g/h of 0.547 m3/kg through 15 m3/h, over 420 ppm
    assert answer["room"]["leak"]["steady"]["value"] == pytest.approx(420 + 95.2e-3 * 0.5466 / 15 * 1e6, rel=2e-3)
    assert {"below_ground", "release_over_limit"} <= set(codes(answer["findings"]))


def test_the_largest_flow_is_of_this_model_and_never_called_safe(house: House) -> None:
    sent = {**WORKED, "cut_off": 7.7, "stays_above_ph": 7.5, "delay_minutes": 5}
    answer = house.call("POST", PATH, sent)
    largest = answer["systems"][0]["largest_flow"]
    between = [each["gas"]["value"] for each in house.call("POST", PATH, {**sent, "to_ph": [7.7, 7.5]})["systems"][0][
        "reaches"][:2]]  # fmt: skip
    # without exchange the gas that lies between the two pH comes in just those five minutes
    assert largest["flow"]["without_exchange"] == pytest.approx((between[1] - between[0]) * 60 / 5, rel=1e-3)
    assert largest["flow"]["exchange_high"] > largest["flow"]["without_exchange"]
    held = house.call("POST", PATH, {**sent, "held_gas": {"value": 50, "unit": "g"}})["systems"][0]["largest_flow"]
    assert held["flow"]["without_exchange"] == 0
    assert "cut_off_too_late" in codes(answer["findings"])  # 63 g/h where 100 run
    said = str(answer).lower()
    assert " safe " not in said
    assert "stuck valve or a welded relay defeats any cut-off" in said


def test_no_drip_carries_nothing_and_is_said(house: House) -> None:
    answer = house.call("POST", PATH, {**WORKED, "drip": {"value": 0, "unit": "L/d"}})
    assert "no_drip" in codes(answer["findings"])
    assert answer["systems"][0]["drip_carries"]["value"] == 0
    assert set(answer["systems"][0]["reaches"][0]["through_drip"].values()) == {None, "min"}


def test_a_pressure_in_the_chamber_carries_more_and_stops_the_gas(house: House) -> None:
    """At 1.7 atm a drip of 82.5 L/d brings 7.9 g/h."""
    chamber = {"value": 1.7, "unit": "atm", "reference": "absolute"}
    low = {"value": 8, "unit": "psi", "reference": "gauge"}  # 1.56 bar absolute, below 1.72
    answer = house.call("POST", PATH, {**WORKED, "chamber_pressure": chamber, "delivery_pressure": low})
    assert answer["systems"][0]["drip_carries"]["value"] == pytest.approx(7.9, abs=0.06)
    assert "delivery_not_above_chamber" in codes(answer["findings"])
    enough = {**low, "value": 12}
    answer = house.call("POST", PATH, {**WORKED, "chamber_pressure": chamber, "delivery_pressure": enough})
    assert "delivery_not_above_chamber" not in codes(answer["findings"])


def test_gas_exchange_by_the_balance_needs_the_rooms_air(house: House) -> None:
    """3.4 per hour at 420 ppm in the worked case; at 800 ppm the room may hold as much as the tank: a range."""
    effluent = {"alkalinity": {"value": 25, "unit": "dKH"}, "ph": 6.6}
    outdoor = {**WORKED, "effluent": effluent, "room_co2": {"value": 300, "unit": "ppm"}}
    found = house.call("POST", PATH, outdoor)["exchange"]
    assert found["by"] == "balance"
    assert found["low"] < 2.4 < found["high"]  # 3.4 (p - 420)/(p - 300) with the tank at some 500 uatm
    for room in ({"value": 800, "unit": "ppm"}, None):
        sent = {**outdoor, "room_co2": room}
        assert house.call("POST", PATH, sent)["exchange"]["by"] == "range"


def test_gas_exchange_by_how_ph_came_back(house: House) -> None:
    """From 7.7 for 0.8 h at 1.4 per hour a tank of 8.1 comes to 7.904 (fourth-order Runge-Kutta over TA and DIC)."""
    back = dissolving_tank(0.0, 1.4, 0.8, ph=7.7)
    found = house.call("POST", PATH, {**WORKED, "relaxation": {"early_ph": 7.7, "late_ph": back, "hours": 0.8}})
    assert found["exchange"]["by"] == "relaxation"
    assert found["exchange"]["low"] < 1.4 < found["exchange"]["high"]
    assert found["exchange"]["high"] / found["exchange"]["low"] < 4
    for late in (7.6, 8.09):
        sent = {**WORKED, "relaxation": {"early_ph": 7.7, "late_ph": late, "hours": 0.8}}
        problem = house.call("POST", PATH, sent, status=422)
        assert problem["errors"][0]["pointer"] == "/relaxation/late_ph"


@pytest.mark.parametrize(
    ("sent", "pointer"),
    [
        (tank(ph=13.5), "/tank/ph"),
        (tank(ph=1.0), "/tank/ph"),
        (tank(ph=None), "/tank/ph"),
        (tank(nights=[7.9, 0.5]), "/tank/nights/1"),
        (tank(ph=11.5), "/tank/ph"),  # more hydroxide than all its alkalinity
        (tank(ph=4.5), "/tank/ph"),  # below the floor of one atmosphere
        (tank(nights=[8.0, 4.5]), "/tank/nights"),
        (tank(water_volume={"value": 1e10, "unit": "L"}), "/tank/water_volume/value"),
        (tank(water_volume={"value": 0, "unit": "L"}), "/tank/water_volume/value"),
        (tank(alkalinity={"value": 0, "unit": "dKH"}), "/tank/alkalinity/value"),
        (tank(alkalinity={"value": 8, "unit": "kg"}), "/tank/alkalinity/unit"),
        ({**WORKED, "flow": {"value": 0, "unit": "g/h"}}, "/flow/value"),
        ({**WORKED, "drip": {"value": -1, "unit": "L/d"}}, "/drip/value"),
        ({**WORKED, "cut_off": 7.7, "stays_above_ph": 7.8}, "/stays_above_ph"),
        ({**WORKED, "gas_exchange": {"low": 2, "high": 1}}, "/gas_exchange/high"),
        ({**WORKED, "chamber_pressure": {"value": 1, "unit": "bar"}}, "/chamber_pressure/reference"),
        (
            {**WORKED, "effluent": {"alkalinity": {"value": 7, "unit": "dKH"}, "ph": 6.6}},
            "/effluent/alkalinity",
        ),
    ],
)
def test_what_cannot_be_is_refused_by_name(house: House, sent: dict[str, Any], pointer: str) -> None:
    problem = house.call("POST", PATH, sent, status=422)
    assert problem["errors"][0]["pointer"] == pointer


def test_a_ph_outside_the_electrodes_range_says_so(house: House) -> None:
    detail = house.call("POST", PATH, tank(ph=13.5), status=422)["errors"][0]["detail"]
    assert "electrode" in detail
    assert "3 to 12" in detail


class Watched(Plant):
    """A plant whose water was read at night, with a room, a cut-off and a cylinder."""

    def __init__(self, house: House) -> None:
        super().__init__(house)
        self.water(self.systems[0], ph=None)
        self.outlet()
        for days, ph in ((1, 8.02), (2, 7.96), (3, 7.98), (4, 8.0)):
            self.at_night(days, ph)

    def at_night(self, days: int, ph: float) -> None:
        """A reading at six in the morning of the site's clock (Oslo)."""
        at = (self.house.now - timedelta(days=days)).replace(hour=5, minute=0)
        self.house.a_reading(
            self.systems[0]["id"], ph, quantity="ph", unit="[pH]", taken_at=at.isoformat(),
            conditions={"temperature": 25},
        )  # fmt: skip

    def set(self, subject: dict[str, Any], quantity: str, value: float, *, days: float = 20) -> None:
        sent = {
            "subject_id": subject["id"], "quantity": quantity, "value": value, "unit": "[pH]", "from": self.ago(days),
            "reason": "as agreed",
        }  # fmt: skip
        self.house.call("POST", "/v1/set-points", sent, headers={"Idempotency-Key": f"{quantity}{value}"})

    def tested(self, days: float, what: str = "Low-pH cut-off tested", **more: Any) -> None:
        sent = {
            "subject_id": self.reactor["id"], "kind": "inspection", "performed_at": self.ago(days), "what": what,
            **more,
        }  # fmt: skip
        self.house.call("POST", "/v1/maintenance-events", sent, headers={"Idempotency-Key": f"{what}{days}"})

    def run_away(self, **query: Any) -> dict[str, Any]:
        return self.house.call("GET", f"/v1/equipment/{self.reactor['id']}/run-away", params=query)


def test_by_the_records_it_starts_from_the_lowest_night(house: House) -> None:
    plant = Watched(house)
    plant.read(plant.systems[0], "ph", 7.5, "[pH]", 40, conditions={"temperature": 25})  # longer ago than 30 days
    system = plant.run_away()["systems"][0]
    assert (system["starts_at"]["ph"], system["starts_at"]["by"], system["starts_at"]["nights"]) == (
        7.96,
        "night_minimum",
        4,
    )
    assert system["cut_off"]["suggested"]["low"] == pytest.approx(7.76)
    by_hand = house.call(
        "POST", PATH, {**tank(ph=7.96), "drip": {"value": 82.467, "unit": "L/d"}}
    )["systems"][0]["reaches"][0]  # fmt: skip
    # the level is an estimate from noisy titrations: within 2 % of 8 dKH
    assert system["reaches"][0]["gas"]["value"] == pytest.approx(by_hand["gas"]["value"], rel=0.02)
    assert system["reaches"][0]["gas_reaches_tank"]["without_exchange"] == pytest.approx(
        by_hand["gas_reaches_tank"]["without_exchange"], rel=0.02
    )


def test_a_probes_nights_count_by_their_hourly_means(house: House) -> None:
    """Ten days read every ten minutes: 8.2 by day, 7.95 at four in the morning; one spike of a minute is averaged."""
    plant = Watched(house)
    every = timedelta(minutes=10)
    times = [house.now - every * n for n in range(1440)][::-1]
    hours = [(at.hour + 1 + at.minute / 60) % 24 for at in times]  # Oslo in winter
    values = [8.2 - 0.25 * (1 + math.cos((hour - 4) / 24 * 2 * math.pi)) / 2 for hour in hours]
    lowest = min(values)
    values[hours.index(12.0)] = 7.4
    send(house, batch(plant.systems[0]["id"], values, end=house.now, every=every))
    start = plant.run_away()["systems"][0]["starts_at"]
    assert start["ph"] == pytest.approx(lowest, abs=0.005)
    assert start["nights"] >= 10
    assert (start["by"], start["at"][11:13]) in {
        ("night_minimum", "03"),
        ("night_minimum", "04"),
    }  # by the site's clock


def test_a_probe_in_a_buffer_is_none_of_the_nights(house: House) -> None:
    """Ten nights at 8.0 and an hour in the buffer of pH 7: set aside and shown; a low night of 7.85 counts."""
    plant = Watched(house)
    for days in range(5, 12):
        plant.at_night(days, 7.85 if days == 8 else 8.0)
    plant.read(plant.systems[0], "ph", 7.0, "[pH]", 9.2, conditions={"temperature": 25})
    answer = plant.run_away()
    assert answer["systems"][0]["starts_at"]["ph"] == 7.85
    assert [each["value"] for each in answer["set_aside"]] == [7.0]


def test_gas_exchange_comes_from_the_records_with_the_rooms_air(house: House) -> None:
    """The worked balance, 3.4 per hour over 420 ppm, is about 2.4 over 300; without the room's air it is a range."""
    plant = the_worked_case(house)
    room = house.call("POST", "/v1/rooms", {"site_id": plant.site["id"], "tag": "plant", "name": "Plant room"})
    house.call(
        "PATCH", f"/v1/equipment/{plant.reactor['id']}", {"room_id": room["id"]}, headers={"If-Match": '"1"'}
    )  # fmt: skip
    path = f"/v1/equipment/{plant.reactor['id']}/run-away"
    assert house.call("GET", path)["exchange"]["by"] == "range"
    plant.read(room, "room_co2", 300, "ppm")
    answer = house.call("GET", path)
    assert answer["exchange"]["by"] == "balance"
    assert answer["exchange"]["low"] < 2.4 < answer["exchange"]["high"]
    assert "gas_exchange" not in codes(answer["missing"])


def test_readings_by_day_alone_are_named(house: House) -> None:
    answer = the_worked_case(house)  # its one pH was read at one in the afternoon
    shown = house.call("GET", f"/v1/equipment/{answer.reactor['id']}/run-away")
    assert shown["systems"][0]["starts_at"]["by"] == "lowest_reading"
    assert "no_night_readings" in codes(shown["findings"])


def test_a_cut_off_is_held_against_the_nights_and_its_tests(house: House) -> None:
    plant = Watched(house)
    answer = plant.run_away()
    assert "cut_off" in codes(answer["missing"])
    assert {"cut_off_never_tested", "few_nights"} <= set(codes(answer["findings"]))
    assert {"cut_off_below_nights", "test_the_cut_off"} <= set(codes(answer["advice"]))
    plant.set(plant.systems[0], "low_ph_cut_off", 7.95)
    assert "cut_off_within_the_nights" in codes(plant.run_away()["findings"])
    plant.set(plant.systems[0], "low_ph_cut_off", 7.5, days=10)
    plant.tested(40)
    answer = plant.run_away()
    assert {"cut_off_low", "cut_off_test_old"} <= set(codes(answer["findings"]))
    plant.set(plant.systems[0], "low_ph_cut_off", 7.78, days=5)
    plant.tested(3, findings="tripped at 7.77, bubbles stopped after 40 s", performed_by="Ada")
    plant.tested(1, what="skimmer neck cleaned")
    answer = plant.run_away()
    cut_off = answer["systems"][0]["cut_off"]
    assert (cut_off["ph"], cut_off["last_test"]["findings"][:15]) == (7.78, "tripped at 7.77")
    of_cut_off = {each for each in codes(answer["findings"]) if each.startswith("cut_off")}
    assert of_cut_off <= {"cut_off_too_late"}
    assert answer["systems"][0]["reaches"][-1]["what"] == "cut_off"
    assert "test_the_cut_off" not in codes(answer["advice"])


def test_the_chambers_control_is_no_tank_cut_off(house: House) -> None:
    plant = Watched(house)
    plant.set(plant.reactor, "chamber_ph", 6.6)
    plant.set(plant.reactor, "low_ph_cut_off", 6.4)
    answer = plant.run_away()
    assert answer["chamber_control_ph"] == 6.6
    assert answer["systems"][0]["cut_off"]["ph"] is None
    assert "cut_off_is_the_chambers" in codes(answer["findings"])


def test_gas_line_pressures_and_room_come_from_the_records(house: House) -> None:
    plant = Watched(house)
    answer = plant.run_away()
    assert {"gas_mass", "room", "chamber_pressure", "delivery_pressure"} <= set(codes(answer["missing"]))
    cylinder = plant.gas(20)
    room = house.call("POST", "/v1/rooms", {
        "site_id": plant.site["id"], "tag": "plant", "name": "Plant room", "free_volume": {"value": 30, "unit": "m3"},
    })  # fmt: skip
    path, version = f"/v1/equipment/{plant.reactor['id']}", {"If-Match": '"1"'}
    house.call("PATCH", path, {"room_id": room["id"]}, headers=version)
    gauge = {"conditions": {"pressure_reference": "gauge"}}
    plant.read(plant.reactor, "chamber_pressure", 0.3, "bar", **gauge)
    plant.read(cylinder, "delivery_pressure", 0.2, "bar", **gauge)
    answer = plant.run_away()
    assert answer["systems"][0]["whole_cylinder"]["gas"] == {"value": 4.5, "unit": "kg"}
    assert answer["ordinary_use"]["value"] == pytest.approx(20, rel=0.05)
    assert answer["room"]["room_id"] == room["id"]
    assert answer["pressures"]["chamber"]["value"] == pytest.approx(1.313, abs=0.001)
    assert "delivery_not_above_chamber" in codes(answer["findings"])
    assert not {"gas_mass", "room", "chamber_pressure", "delivery_pressure"} & set(codes(answer["missing"]))


def test_several_systems_share_the_drip_and_each_may_take_all_the_gas(house: House) -> None:
    plant = Plant(house, systems=2, shares=(0.75, 0.25))
    for system in plant.systems:
        plant.water(system)
    plant.outlet()
    answer = house.call("GET", f"/v1/equipment/{plant.reactor['id']}/run-away")
    first, second = answer["systems"]
    assert first["drip_carries"]["value"] == pytest.approx(3 * second["drip_carries"]["value"], rel=0.02)
    alike = [each["reaches"][0]["gas_reaches_tank"]["without_exchange"] for each in (first, second)]
    assert alike[0] == pytest.approx(alike[1], rel=0.02)


def test_a_bare_reactor_answers_null_with_every_key(house: House) -> None:
    plant = Plant(house, systems=0, shares=())
    answer = house.call("GET", f"/v1/equipment/{plant.reactor['id']}/run-away")
    assert (answer["systems"], answer["drip"], answer["room"]) == ([], None, None)
    assert {"feed", "effluent_flow", "gas_mass", "room"} <= set(codes(answer["missing"]))
    plant = Plant(house)
    system = house.call("GET", f"/v1/equipment/{plant.reactor['id']}/run-away")["systems"][0]
    assert (system["starts_at"], system["reaches"], system["largest_flow"]) == (None, [], None)


def test_a_repeated_pull_is_304_and_what_is_not_a_reactor_is_refused(house: House) -> None:
    plant = Plant(house)
    path = f"/v1/equipment/{plant.reactor['id']}/run-away"
    tag = house.send("GET", path).headers["etag"]
    assert house.send("GET", path, headers={"If-None-Match": tag}).status_code == 304
    assert house.send("GET", path, params={"flow": 50}, headers={"If-None-Match": tag}).status_code == 200
    house.call("GET", path, params={"flow": 0}, status=422)
    house.call("GET", f"/v1/equipment/{plant.piece('pump')['id']}/run-away", status=422)
    house.call("GET", path, token=house.token("reader", site=house.a_site()["id"]), status=404)


def a_signed_test(plant: Watched, *, days: float, minutes: float, sign: bool = True, **stopped: Any) -> str:
    """A run of the cut-off test on the reactor; gives its id."""
    house, run_id = plant.house, str(uuid4())
    path, at = f"/v1/commissionings/{run_id}", plant.ago(days)
    sent = {"procedure": "low_ph_cut_off_test", "subject_id": plant.reactor["id"], "started_at": at}
    keeper = house.person("supervisor")
    house.call("PUT", path, sent)
    for code, content in (
        ("probe_checked", {"note": "7.01 in pH 7"}),
        ("trips", {"value": 7.76, "unit": "[pH]", "note": "a beaker with a little gas"}),
        ("closing_time", {"value": minutes, "unit": "min"}),
        ("bubbles_stopped", stopped),
        ("back_in_place", {}),
    ):
        house.call("POST", f"{path}/steps/{code}", {"done_at": at, **content}, token=keeper)
        if code == "bubbles_stopped":
            house.call("POST", f"{path}/steps/{code}/sign", {}, token=house.person("life_support"))
    if sign:
        house.call("POST", f"{path}/sign", {})
    return run_id


def test_a_signed_test_tells_the_delay_and_counts_before_words(house: House) -> None:
    plant = Watched(house)
    plant.set(plant.systems[0], "low_ph_cut_off", 7.78, days=25)

    def shown(**query: Any) -> tuple[dict[str, Any], dict[str, Any]]:
        system = plant.run_away(**query)["systems"][0]
        return system["cut_off"]["last_test"], system["largest_flow"]

    a_signed_test(plant, days=21, minutes=9, sign=False)
    assert (shown()[0], shown()[1]["delay"]) == (None, {"value": 5, "unit": "min"})  # unsigned: nobody vouches for it
    usual = shown()[1]["flow"]["without_exchange"]
    house.pass_time(minutes=1)
    run_id = a_signed_test(plant, days=20, minutes=2.5)
    house.pass_time(minutes=1)
    plant.tested(10, findings="tripped at 7.7")
    test, largest = shown()
    assert (test["commissioning_id"], test["trip_ph"], test["bubbles_stopped"]) == (run_id, 7.76, True)
    assert test["findings"].startswith("Tripped at pH 7.76 (a beaker with a little gas), shut after 2.5 min")
    assert largest["delay"] == {"value": 2.5, "unit": "min"}
    assert largest["flow"]["without_exchange"] == pytest.approx(2 * usual, rel=1e-4)  # gas / delay
    assert any("last signed test" in words for words in plant.run_away()["assumptions"])
    assert shown(delay_minutes=5)[1]["flow"]["without_exchange"] == pytest.approx(usual, rel=1e-4)
    house.pass_time(days=25)
    assert shown(at=house.now.isoformat())[0]["findings"] == "tripped at 7.7"  # the signed one has grown old
    run_id = a_signed_test(plant, days=1, minutes=1, deviation="a bubble a minute went on")
    house.pass_time(minutes=1)
    answer = plant.run_away()
    assert "cut_off_did_not_shut" in codes(answer["findings"])
    assert answer["systems"][0]["cut_off"]["last_test"]["commissioning_id"] == run_id
