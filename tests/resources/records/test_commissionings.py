"""Runs of a procedure: in their order, held by waits and bounds, seen by four eyes, taken back and signed.

The order of steps, holds and signatures are this service's own rules; the instants of the change of clocks in Oslo on
29 March 2026 (02:00 becomes 03:00) are those of the IANA time zone database.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from support.house import House

from service.resources.records.checking import faults
from service.resources.records.procedures.queries import procedures, read
from service.settings import packaged_folder

TEST = "low_ph_cut_off_test"
CONTENT: dict[str, dict[str, Any]] = {
    "probe_checked": {"note": "reads 7.02 in pH 7"},
    "trips": {"value": 7.71, "unit": "[pH]", "note": "a beaker of system water with a little gas"},
    "closing_time": {"value": 90, "unit": "s"},
    "bubbles_stopped": {},
    "back_in_place": {},
}
STARTING: dict[str, dict[str, Any]] = {
    "room_air": {"value": 620, "unit": "ppm"},
    "chamber_pressure_read": {"value": 0.1, "unit": "bar"},
    "delivery_pressure_set": {"value": 1.0, "unit": "bar"},
    "bubble_rate_low": {"value": 20, "unit": "{bubble}/min"},
    "drip_timed": {"value": 40, "unit": "mL/min"},
    "chamber_ph_in_range": {"value": 6.6, "unit": "[pH]"},
    "cut_off_set": {"note": "7.75 on the tank's controller"},
    "cut_off_trips": {"value": 7.74, "unit": "[pH]"},
    "cut_off_closing_time": {"value": 0.5, "unit": "min"},
    "first_effluent": {"value": 25, "unit": "dKH"},
    "room_air_again": {"value": 640, "unit": "ppm"},
}


class Run:
    """A run by two people of a site: who records, and who signs."""

    def __init__(self, house: House, procedure: str = TEST, kind: str = "system", state: str = "in_service") -> None:
        self.house, self.site = house, house.a_site()
        self.keeper = house.person("keeper", site=self.site["id"])
        self.lead = house.person("life_support", site=self.site["id"])
        if kind == "system":
            self.subject = house.a_system(self.site)
        else:
            sent = {"site_id": self.site["id"], "tag": "r-1", "kind": kind, "state": state}
            self.subject = house.call("POST", "/v1/equipment", sent)
        self.sent = {"procedure": procedure, "subject_id": self.subject["id"], "started_at": house.now.isoformat()}
        self.path = f"/v1/commissionings/{uuid4()}"
        self.begun = house.call("PUT", self.path, self.sent, token=self.keeper, status=201)

    def step(self, code: str, *, status: int = 201, token: str = "", **fields: Any) -> Any:
        """A step recorded now by the keeper, some fields replaced."""
        content = {"done_at": self.house.now.isoformat(), **CONTENT.get(code, {}), **STARTING.get(code, {}), **fields}
        return self.house.call("POST", f"{self.path}/steps/{code}", content, token=token or self.keeper, status=status)

    def second(self, code: str, *, token: str = "", status: int = 200) -> Any:
        """The second person's signature of a step."""
        return self.house.call("POST", f"{self.path}/steps/{code}/sign", {}, token=token or self.lead, status=status)

    def sign(self, *, token: str = "", status: int = 200) -> Any:
        """The signature of the run."""
        return self.house.call("POST", f"{self.path}/sign", {}, token=token or self.lead, status=status)

    def take_back(self, code: str, reason: str = "wrong probe", *, token: str = "", status: int = 200) -> Any:
        """A step taken back."""
        path = f"{self.path}/steps/{code}/withdrawal"
        return self.house.call("POST", path, {"reason": reason}, token=token or self.keeper, status=status)

    def all_steps(self) -> None:
        """Every step that is left, waits waited, second signatures given."""
        for step in self.house.call("GET", self.path)["steps"]:
            hold = step["asks"]["hold"]
            self.house.pass_time(minutes=hold.get("minutes", 1))
            if step["state"] != "done":
                self.step(step["code"], **({"note": "done"} if hold["kind"] == "note" else {}))
                if step["asks"]["signed"] == "two":
                    self.second(step["code"])


def test_the_procedures_are_there_and_read_strictly(house: House, tmp_path: Any) -> None:
    listed = house.call("GET", "/v1/procedures")
    assert [each["code"] for each in listed] == sorted(procedures())
    assert {"calcium_reactor_start_up", "cylinder_change", "half_yearly_strip_down", TEST} <= set(procedures())
    start_up = house.call("GET", "/v1/procedures/calcium_reactor_start_up")
    order = [each["code"] for each in start_up["steps"]]
    gas = order.index("delivery_pressure_set")
    purged = order.index("air_purged")
    assert purged < gas
    assert start_up["steps"][purged]["hold"]["minutes"] == 60  # an hour before any gas
    words = " ".join(str(each) for each in listed).lower()
    assert re.search(r"\bsafe\b", words) is None  # never a verdict
    for procedure in listed:
        assert "local codes" in " ".join(procedure["cautions"])
    house.call("GET", "/v1/procedures/flying", status=404)
    good = next(path for path in _files() if path.stem == TEST).read_text("utf-8")
    for spoilt in (
        good.replace("why =", "because =", 1),
        good.replace('"closing_time"', '"trips"'),
        good.replace("low = 7.0", "low = 9.0"),
        good.replace(f'code = "{TEST}"', 'code = "another"'),
    ):
        (tmp_path / f"{TEST}.toml").write_text(spoilt, "utf-8")
        with pytest.raises(ValueError, match=TEST):
            read(tmp_path / f"{TEST}.toml")


def unaccounted(house: House) -> list[str]:
    """What `ooid check` would find, but for the people and tokens that a test house slips in by itself."""
    slipped_in = ("token ", "person ", "grant ", "session ")
    with house.database.read() as session:
        return [each for each in faults(session) if not each.startswith(slipped_in)]


def _files() -> list[Any]:
    return sorted(packaged_folder("procedures").glob("*.toml"))


def test_steps_are_done_in_their_order(house: House) -> None:
    run = Run(house)
    assert (run.begun["next_step"], run.begun["steps"][0]["state"]) == ("probe_checked", "next")
    problem = run.step("trips", status=409)
    assert "probe_checked" in problem["detail"]
    run.step("probe_checked")
    run.step("closing_time", status=409)
    assert run.step("trips")["next_step"] == "closing_time"
    run.sign(status=409)
    run.step("nothing_like_it", status=404)


def test_a_step_for_four_eyes_holds_the_next_until_a_second_person_signs(house: House) -> None:
    run = Run(house)
    for code in ("probe_checked", "trips", "closing_time"):
        run.step(code)
    run.second("trips", status=409)  # one signs alone
    run.second("bubbles_stopped", status=409)  # not recorded yet
    assert run.step("bubbles_stopped", token=run.lead)["steps"][3]["state"] == "to_be_signed"
    run.step("back_in_place", status=409)
    problem = run.second("bubbles_stopped", status=403)  # the lead recorded it
    assert "second person" in problem["detail"]
    run.second("bubbles_stopped", token=run.keeper, status=403)  # a keeper does not sign
    other = house.person("supervisor", site=run.site["id"])
    signed = run.second("bubbles_stopped", token=other)
    assert run.second("bubbles_stopped", token=other) == signed
    run.second("bubbles_stopped", status=409)  # somebody signed before
    run.step("back_in_place")
    run.sign(token=run.keeper, status=403)
    done = run.sign()
    assert done["cut_off_test"] | {"tested_at": ""} == {
        "tested_at": "", "trip_ph": 7.71, "closing_time": {"value": 1.5, "unit": "min"}, "bubbles_stopped": True,
        "simulated_by": "a beaker of system water with a little gas",
    }  # fmt: skip
    assert run.sign() == done
    run.sign(token=other, status=409)
    run.take_back("back_in_place", status=409)


@pytest.mark.parametrize(
    ("code", "fields", "pointer"),
    [
        ("probe_checked", {"note": None}, "/note"),
        ("probe_checked", {"value": 7.0, "unit": "[pH]"}, "/value"),
        ("trips", {"value": 6.6}, "/value"),
        ("trips", {"value": None}, "/value"),
        ("trips", {"unit": "dKH"}, "/unit"),
        ("closing_time", {"value": 11, "unit": "min"}, "/value"),
        ("closing_time", {"value": 11, "unit": "kg"}, "/unit"),
        ("trips", {"done_at": "2026-03-02T11:59:00Z"}, "/done_at"),
        ("trips", {"done_at": "2026-03-02T13:00:00Z"}, "/done_at"),
        ("trips", {"minutes": 30}, "/minutes"),
    ],
)
def test_evidence_meets_what_holds_the_step(house: House, code: str, fields: dict[str, Any], pointer: str) -> None:
    run = Run(house)
    before = list(CONTENT)[: list(CONTENT).index(code)]
    for each in before:
        run.step(each)
    content = {name: value for name, value in {"done_at": house.now.isoformat(), **CONTENT[code], **fields}.items()
               if value is not None}  # fmt: skip
    problem = house.call("POST", f"{run.path}/steps/{code}", content, token=run.keeper, status=422)
    assert problem["errors"][0]["pointer"] == pointer, problem
    assert house.call("GET", run.path)["version"] == 1 + len(before)  # nothing half-written


def test_outside_its_bounds_only_with_a_reason(house: House) -> None:
    run = Run(house)
    run.step("probe_checked")
    run.step("trips", value=6.9, status=422)
    assert run.step("trips", value=6.9, deviation="set for a brackish tank")["deviations"] == ["trips"]


def test_a_wait_is_told_by_the_instants_when_the_clocks_change(house: House) -> None:
    house.now = datetime(2026, 3, 29, 0, 0, tzinfo=UTC)
    run = Run(house, "half_yearly_strip_down", "calcium_reactor")
    house.now = datetime(2026, 3, 29, 4, 0, tzinfo=UTC)
    run.step("gas_shut", done_at="2026-03-29T01:50:00+01:00")  # 00:50 UTC
    # ten minutes later, though the clock on the wall says an hour and ten
    problem = run.step("flushed", done_at="2026-03-29T03:00:00+02:00", status=422)
    assert (problem["errors"][0]["pointer"], "10.0 have passed" in problem["detail"]) == ("/done_at", True)
    short = run.step("flushed", done_at="2026-03-29T03:20:00+02:00", minutes=20, status=422)
    assert short["errors"][0]["pointer"] == "/minutes"
    run.step("flushed", done_at="2026-03-29T03:19:59+02:00", status=422)
    done = run.step("flushed", done_at="2026-03-29T03:20:00+02:00")
    assert done["steps"][1]["evidence"]["minutes_since_step_before"] == 30


def test_the_same_again_confirms_and_other_evidence_does_not(house: House) -> None:
    run = Run(house)
    assert house.call("PUT", run.path, run.sent, token=run.keeper, status=200) == run.begun
    house.call("PUT", run.path, {**run.sent, "note": "x"}, token=run.keeper, status=409)
    oslo = house.now.astimezone().isoformat()
    first = run.step("probe_checked")
    assert run.step("probe_checked", status=200, done_at=oslo) == first
    run.step("probe_checked", status=409, note="reads 7.10")
    run.step("trips")
    assert run.step("probe_checked", status=200)["version"] == first["version"] + 1  # whatever came since


def test_a_step_is_taken_back_with_a_reason_and_kept(house: House) -> None:
    run = Run(house)
    run.step("probe_checked")
    run.step("trips")
    run.take_back("probe_checked", status=409)  # a later step rests on it
    run.take_back("closing_time", status=409)
    run.take_back("trips", token=run.lead, status=403)  # not the lead's own
    back = run.take_back("trips")
    kept = back["steps"][1]["taken_back"][0]
    assert (back["next_step"], kept["value"], kept["taken_back"]["reason"]) == ("trips", 7.71, "wrong probe")
    assert run.take_back("trips") == back  # the answer was lost
    assert run.step("trips", status=200) == back  # a late repeat does not bring it back
    house.pass_time(minutes=1)
    assert run.step("trips", value=7.7)["steps"][1]["evidence"]["value"] == 7.7
    assert len(house.call("GET", f"{run.path}/versions")) == 5
    assert {each["kind"] for each in house.call("GET", f"/v1/changes?site={run.site['tag']}")["changes"]} >= {
        "commissioning"
    }
    assert unaccounted(house) == []


def test_a_start_up_moves_the_reactor_from_planned_to_in_service(house: House) -> None:
    run = Run(house, "calcium_reactor_start_up", "calcium_reactor", "planned")
    piece = f"/v1/equipment/{run.subject['id']}"
    assert house.call("GET", piece)["state"] == "commissioning"
    run.all_steps()
    assert house.call("GET", piece)["state"] == "commissioning"
    assert run.sign()["cut_off_test"]["closing_time"] == {"value": 0.5, "unit": "min"}
    assert house.call("GET", piece)["state"] == "in_service"
    assert unaccounted(house) == []
    house.call("POST", f"{run.path}/withdrawal", {"reason": "x"}, token=run.keeper, status=403,
               headers={"If-Match": f'"{house.call("GET", run.path)["version"]}"'})  # fmt: skip
    out = Run(house, "calcium_reactor_start_up", "calcium_reactor", "out_of_service")
    out.all_steps()
    out.sign()
    assert house.call("GET", f"/v1/equipment/{out.subject['id']}")["state"] == "out_of_service"


def test_delivery_lies_above_the_chamber_and_readings_are_the_runs_own(house: House) -> None:
    run = Run(house, "calcium_reactor_start_up", "calcium_reactor", "planned")
    while (upcoming := house.call("GET", run.path)["next_step"]) != "chamber_pressure_read":
        house.pass_time(minutes=61)
        run.step(upcoming)
    run.step("chamber_pressure_read", value=0.5)
    assert "Chamber pressure" in run.step("delivery_pressure_set", value=0.4, status=422)["detail"]

    def a_pressure(subject_id: str, value: float) -> str:
        sent = {"quantity": "delivery_pressure", "unit": "bar", "conditions": {"pressure_reference": "gauge"}}
        return str(house.a_reading(subject_id, value, **sent)["id"])

    other = house.call("POST", "/v1/equipment", {"site_id": run.site["id"], "tag": "r-2", "kind": "calcium_reactor"})
    evidence = {"value": None, "unit": None, "reading_ids": []}
    for reading_id, status in (
        (a_pressure(other["id"], 1.0), 422),
        (a_pressure(Run(house, kind="calcium_reactor").subject["id"], 1.0), 404),
        (a_pressure(run.subject["id"], 0.45), 422),
        (str(uuid4()), 404),
        (a_pressure(run.subject["id"], 1.0), 201),
    ):
        content = {"done_at": house.now.isoformat(), **evidence, "reading_ids": [reading_id]}
        content = {name: value for name, value in content.items() if value is not None}
        house.call("POST", f"{run.path}/steps/delivery_pressure_set", content, token=run.keeper, status=status)


def test_roles_and_other_sites(house: House) -> None:
    run = Run(house)
    stranger, reader = house.token("supervisor", site=house.a_site()["id"]), house.token("reader", site=run.site["id"])
    house.call("GET", run.path, token=stranger, status=404)
    run.step("probe_checked", token=stranger, status=404)
    run.second("probe_checked", token=stranger, status=404)
    run.take_back("probe_checked", token=stranger, status=404)
    run.sign(token=stranger, status=404)
    run.step("probe_checked", token=reader, status=403)
    house.call("PUT", f"/v1/commissionings/{uuid4()}", run.sent, token=stranger, status=404)
    for fields, pointer, status in (
        ({"procedure": "flying"}, "/procedure", 404),
        ({"procedure": "cylinder_change"}, "/subject_id", 422),
        ({"started_at": (house.now + timedelta(hours=1)).isoformat()}, "/started_at", 422),
    ):
        problem = house.call("PUT", f"/v1/commissionings/{uuid4()}", {**run.sent, **fields}, status=status)
        assert problem["errors"][0]["pointer"] == pointer, problem


def up_to_four_eyes(run: Run, *, token: str = "") -> None:
    """A cut-off test up to the step that a second person signs, recorded by the keeper or with this token."""
    for code in ("probe_checked", "trips", "closing_time", "bubbles_stopped"):
        run.step(code, token=token)


def test_two_tokens_of_one_person_are_not_two_people(house: House) -> None:
    run = Run(house)
    ida = house.person("administrator", site=run.site["id"])

    def token_of(maker: str) -> str:
        content = {"name": "script", "role": "administrator", "site_id": run.site["id"]}
        return str(house.call("POST", "/v1/tokens", content, token=maker)["secret"])

    one = token_of(ida)
    two, of_two = token_of(ida), token_of(token_of(ida))
    up_to_four_eyes(run, token=one)
    assert "A token has no eyes" in run.second("bubbles_stopped", token=two, status=403)["detail"]
    run.second("bubbles_stopped", token=of_two, status=403)
    assert "not the one who recorded it" in run.second("bubbles_stopped", token=ida, status=403)["detail"]
    run.second("bubbles_stopped")  # somebody else, signed in

    scripted = Run(house)
    up_to_four_eyes(scripted, token=house.token("keeper", site=scripted.site["id"]))  # from the command line
    problem = scripted.second("bubbles_stopped", status=403)
    assert "nobody knows whose it is" in problem["detail"]


def test_evidence_becomes_a_reading_and_is_withdrawn_with_its_step(house: House) -> None:
    run = Run(house, "cylinder_change", "co2_cylinder")
    other = house.call("POST", "/v1/equipment", {"site_id": run.site["id"], "tag": "c-2", "kind": "co2_cylinder"})
    room = house.call("POST", "/v1/rooms", {"site_id": run.site["id"], "tag": "cellar", "name": "Cellar"})
    air = {"value": 620, "unit": "ppm", "subject_id": room["id"]}
    run.step("room_air", **{**air, "subject_id": run.subject["id"]}, status=422)
    run.step("room_air", **{**air, "value": 1e9}, deviation="no", status=422)
    evidence = run.step("room_air", **air)["steps"][0]["evidence"]
    (reading,) = house.call("GET", f"/v1/readings?subject={room['id']}")
    assert evidence["reading_ids"] == [reading["id"]]
    assert (evidence["subject_id"], reading["value"], reading["quantity"]) == (room["id"], 620, "room_co2")
    assert reading["taken_at"] == evidence["done_at"]
    run.step("room_air", **air, status=200)  # a repeat makes no second one
    assert run.step("old_shut", subject_id=run.subject["id"], status=422)["errors"][0]["pointer"] == "/subject_id"
    run.step("old_shut")
    weight = {"value": 31.4, "unit": "kg"}
    problem = run.step("new_weighed", **weight, subject_id=other["id"], status=422)
    assert problem["errors"][0]["pointer"] == "/subject_id"
    run.step("new_weighed", **weight, subject_id=run.subject["id"])
    readings = f"/v1/readings?subject={run.subject['id']}&quantity=cylinder_gross_mass"
    assert [each["value"] for each in house.call("GET", readings)] == [31.4]
    run.take_back("new_weighed", "wrong scale")
    assert house.call("GET", readings) == []
    (gone,) = house.call("GET", readings + "&withdrawn=true")
    assert (gone["state"], gone["correction_reason"]) == ("withdrawn", "wrong scale")
    house.pass_time(minutes=1)
    run.step("new_weighed", **{**weight, "value": 31.8}, subject_id=run.subject["id"])
    assert [each["value"] for each in house.call("GET", readings)] == [31.8]
    assert unaccounted(house) == []


def a_plan(run: Run, procedure: str) -> str:
    """The path of a monthly plan on the run's subject, due since it began."""
    sent = {"subject_id": run.subject["id"], "what": "cut-off tested", "kind": "inspection", "procedure": procedure,
            "recurrence": "FREQ=MONTHLY", "from": run.house.now.isoformat()}  # fmt: skip
    return f"/v1/maintenance-plans/{run.house.call('POST', '/v1/maintenance-plans', sent)['id']}"


def test_a_signed_run_ticks_off_the_plan_whose_procedure_it_is(house: House) -> None:
    run = Run(house)
    plan, another = a_plan(run, TEST), a_plan(run, "half_yearly_strip_down")
    in_words = a_plan(run, "by the low_ph_cut_off_test")
    due = f"/v1/maintenance-plans/due?site={run.site['tag']}"
    assert len(house.call("GET", due)) == 3
    run.all_steps()
    done_at = house.now
    assert house.call("GET", plan)["last_done_at"] is None  # not signed
    house.pass_time(days=1)
    run.sign()
    ticked = house.call("GET", plan)
    assert (datetime.fromisoformat(ticked["last_done_at"]), ticked["next_due_on"]) == (done_at, "2026-04-02")
    assert {f"/v1/maintenance-plans/{each['id']}" for each in house.call("GET", due)} == {another, in_words}
    version = house.call("GET", run.path)["version"]
    house.call("POST", f"{run.path}/withdrawal", {"reason": "wrong loop"}, token=run.lead,
               headers={"If-Match": f'"{version}"'}, status=403)  # fmt: skip
    supervisor = house.person("supervisor", site=run.site["id"])
    house.call("POST", f"{run.path}/withdrawal", {"reason": "wrong loop"}, token=supervisor,
               headers={"If-Match": f'"{version}"'})  # fmt: skip
    assert house.call("GET", plan)["last_done_at"] is None


def test_a_start_up_counts_as_the_test_of_the_cut_off_it_contains(house: House) -> None:
    run = Run(house, "calcium_reactor_start_up", "calcium_reactor", "planned")
    test, strip_down = a_plan(run, TEST), a_plan(run, "half_yearly_strip_down")
    run.all_steps()
    tested_at = run.sign()["cut_off_test"]["tested_at"]
    assert house.call("GET", test)["last_done_at"] == tested_at
    assert house.call("GET", strip_down)["last_done_at"] is None


def test_a_withdrawn_run_goes_no_further(house: House) -> None:
    run = Run(house)
    house.call(
        "POST", f"{run.path}/withdrawal", {"reason": "wrong loop"}, token=run.keeper, headers={"If-Match": '"1"'}
    )
    run.step("probe_checked", status=409)
    run.sign(status=409)
