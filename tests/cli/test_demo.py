"""The demonstration records what was simulated, as its people would have, and the clock change moves nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from cli.conftest import shortened
from support.house import House

from service.cli import demo_site
from service.cli.demo_places import LINES, PLACES, REACTORS
from service.cli.demo_plans import PLANS
from service.cli.demo_season import begin_season
from service.cli.progress import done
from service.simulation import SimulatedSite, load_scenario, simulate
from service.storage.database import Database
from service.storage.migrating import upgrade

ZONE = ZoneInfo("Europe/Berlin")
AFTER_THE_CHANGE = date(2026, 11, 4)  # the clocks went back on 25 October 2026
DAYS = 21


@pytest.fixture(scope="module")
def hall(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The demonstration's first three weeks, over the change of the clocks; tests only read it."""
    url = f"sqlite:///{tmp_path_factory.mktemp('hall') / 'ooid.db'}"
    upgrade(url)
    database = Database(url)
    with shortened(days=DAYS):
        demo_site.build(database, today=AFTER_THE_CHANGE, progress=lambda _words: None)
    house = House(database)
    house.now = datetime(2026, 11, 4, 9, 0, tzinfo=ZONE)
    yield house
    database.close()


@cache
def season() -> SimulatedSite:
    """What was simulated for it."""
    return simulate(replace(load_scenario("demo"), days=DAYS), demo_site.SEED)


def everything(house: House, path: str) -> list[dict[str, object]]:
    """All pages of a list."""
    found: list[dict[str, object]] = []
    joined = "&" if "?" in path else "?"
    url: str | None = f"{path}{joined}limit=500"
    while url is not None:
        response = house.send("GET", url)
        assert response.status_code == 200
        found += response.json()
        url = response.links.get("next", {}).get("url")
    return found


def test_it_stands_in_three_rooms_and_every_event_is_planned(hall: House) -> None:
    systems = {system["tag"]: system for system in everything(hall, "/v1/systems")}
    assert set(systems) == {code.lower() for code in PLACES}
    assert len({system["room_id"] for system in systems.values()}) == 3
    equipment = everything(hall, "/v1/equipment")
    kinds = [piece["kind"] for piece in equipment]
    assert (kinds.count("calcium_reactor"), kinds.count("co2_cylinder"), kinds.count("co2_regulator")) == (4, 6, 3)
    lines = {line["tag"]: line for line in everything(hall, "/v1/gas-lines")}
    assert {tag: len(line["reactor_ids"]) for tag, line in lines.items()} == {"gas-1": 1, "gas-2": 2, "gas-3": 1}
    assert all(len(line["cylinder_ids"]) == 1 for line in lines.values())
    state = {piece["tag"]: piece["state"] for piece in equipment}
    assert state["cylinder-e"] == "out_of_service"  # swapped on the sixth day, not back within three weeks
    assert state["cylinder-f"] == "in_service"
    plans = everything(hall, "/v1/maintenance-plans")
    assert {plan["what"] for plan in plans} == {plan.what for plan in PLANS}
    assert {plan["what"] for plan in plans if plan["last_done_at"]} == {plan.what for plan in PLANS}


def test_every_reading_of_the_season_is_there_in_batches(hall: House) -> None:
    site = season()
    simulated = [reading for system in site.systems for reading in system.recorded.readings]
    checks = [reading for system in site.systems for reading in system.recorded.check_standards]
    weighed = [reading for line in site.gas_lines for reading in line.weighings]
    readings = everything(hall, "/v1/readings")
    assert len(readings) == len(simulated) + len(checks) + len(weighed) > 900
    standards = [reading for reading in readings if reading["purpose"] == "check_standard"]
    assert len(standards) == len(checks) > 0
    assert all(standard["conditions"] == {"stated_value": {"value": 7.99, "unit": "dKH"}} for standard in standards)
    entries = everything(hall, "/v1/audit?site=holding-hall")
    assert len(entries) < len(readings) / 2  # a room's round of a day is one entry
    corrected = [reading for reading in readings if reading["version"] > 1]
    assert len(corrected) == 3


def test_an_hour_of_the_season_is_an_hour_of_the_clock(hall: House) -> None:
    """Days of 24 hours, whatever the clocks do: no instant twice, none missing, an hour's shift in between."""
    start = begin_season(AFTER_THE_CHANGE, DAYS)
    assert start == datetime(2026, 10, 14, 1, 0, tzinfo=ZONE).astimezone(UTC)
    site = season()
    window = next(system for system in site.systems if system.code == "WINDOW")
    system_id = next(each["id"] for each in everything(hall, "/v1/systems") if each["tag"] == "window")
    recorded = everything(hall, f"/v1/readings?subject={system_id}&quantity=alkalinity")
    taken = sorted(datetime.fromisoformat(str(reading["taken_at"])) for reading in recorded)
    assert taken == [start + timedelta(days=reading.taken_at) for reading in window.recorded.of("alkalinity")]


def test_a_season_over_the_spring_change_has_its_hours_too() -> None:
    today, days = date(2027, 4, 5), 21
    start = begin_season(today, days)
    assert start == datetime(2027, 3, 14, 23, 0, tzinfo=ZONE).astimezone(UTC)
    assert start + timedelta(days=days) == datetime(2027, 4, 5, tzinfo=ZONE).astimezone(UTC)


def test_what_runs_on_and_what_was_filled_is_recorded(hall: House) -> None:
    additions = everything(hall, "/v1/additions")
    (running,) = [addition for addition in additions if addition["kind"] == "exchange"]
    assert (running["ended_at"], running["flow"]) == (None, {"value": 420, "unit": "L/d"})
    media = [addition for addition in additions if addition["kind"] == "media"]
    assert len(media) == 4 + 3  # before the season, and the three that were stripped down in it
    settings = {(point["quantity"], point["subject_id"]) for point in everything(hall, "/v1/set-points")}
    assert sum(quantity == "effluent_flow" for quantity, _ in settings) == 4
    assert sum(quantity == "dosing_rate" for quantity, _ in settings) == 4


def test_the_weekly_report_of_a_week_with_169_hours_can_be_read(hall: House) -> None:
    report = hall.call("GET", "/v1/reports/weekly?site=holding-hall&week=2026-W43")
    assert report["hours"] == 169
    assert len(report["lines"]) == 12
    assert {line["tag"] for line in report["gas"]} == {line.tag for line in LINES.values()}


def test_every_job_that_is_planned_is_done_in_the_season_and_three_are_forgotten() -> None:
    """By the words and parts of the scenario; what a plan asks for in other words would never count as done."""
    systems = {system.code: system for system in load_scenario("demo").system}
    forgotten = set()
    for plan in PLANS:
        for code in plan.systems:
            jobs = {(job.what, job.subject): job for job in systems[code].maintenance}
            if plan.what == "drip line cleaned" and systems[code].reactor.clogging:
                continue  # cleaned as often as the line clogs
            job = jobs[plan.what, plan.subject]
            forgotten |= {(code, plan.what)} if job.until_day < 182 else set()
    assert forgotten == {
        ("TERRACE", "low-pH cut-off tested"),
        ("BENCH", "drip line cleaned"),
        ("LAGOON", "gas joints searched with soapy water"),
    }


def test_the_description_and_the_scenario_name_the_same_things() -> None:
    scenario = load_scenario("demo")
    assert set(PLACES) == {system.code for system in scenario.system}
    assert set(LINES) == {line.code for line in scenario.gas_line}
    assert set(REACTORS) == {system.code for system in scenario.system if system.reactor}
    for system in scenario.system:
        place = PLACES[system.code]
        assert (place.dosing_pump is not None) == (system.dosing is not None)
        assert (place.stirrer is not None) == (system.top_off is not None and system.top_off.kind == "limewater")
        assert sum(litres for _, _, litres in place.tanks) <= 1.05 * system.water.volume_l
    for line in scenario.gas_line:
        assert len(LINES[line.code].cylinders) == 1 + len(line.cylinder.swap_days)
        fill = line.cylinder.charge_kg / LINES[line.code].water_capacity_l
        assert fill == pytest.approx(0.68, abs=0.005)  # 49 CFR 173.304a


def test_two_procedures_are_signed_and_one_is_under_way(hall: House) -> None:
    runs = {run["procedure"]: run for run in everything(hall, "/v1/commissionings")}
    assert {procedure: run["signed"] is not None for procedure, run in runs.items()} == {
        "calcium_reactor_start_up": True,
        "low_ph_cut_off_test": True,
        "half_yearly_strip_down": False,
    }
    assert runs["half_yearly_strip_down"]["next_step"] == "refilled"
    tested = runs["low_ph_cut_off_test"]
    answer = hall.call("GET", f"/v1/equipment/{tested['subject_id']}/run-away")
    assert answer["systems"][0]["cut_off"]["last_test"]["commissioning_id"] == tested["id"]


def test_building_twice_changes_nothing(hall: House) -> None:
    before = hall.call("GET", "/v1/changes?site=holding-hall&after=0&limit=1")
    demo_site.build(hall.database, today=AFTER_THE_CHANGE, progress=done)
    assert hall.call("GET", "/v1/changes?site=holding-hall&after=0&limit=1") == before
