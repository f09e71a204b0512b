"""The page in a few sentences: what comes first, what is named, what is only counted."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

from web.a_report import bounds

from service.reports.weekly.findings import merged, told
from service.reports.weekly.headline import MOST, headline
from service.reports.weekly.lines import withhold_advice
from service.reports.weekly.tasks import to_do, to_order
from service.reports.wording import first_sentence

TODAY = date(2026, 11, 23)
END = datetime(2026, 11, 22, 23, tzinfo=UTC)  # Monday has begun in Oslo


def a_line(name: str, words: str = "Steady", *, now: float = 8.0, before: float = 8.0, **fields: Any) -> dict[str, Any]:
    """A system's line, as far as the headline looks at it."""
    row = {
        "system_id": uuid4(),
        "name": name,
        "words": words,
        "findings": [],
        "demand_changes": [],
        "advice": [],
        "events": [],
    }
    levels = {"level": bounds(now, now - 0.1, now + 0.1, "dKH"), "level_week_ago": bounds(before, 7.9, 8.1, "dKH")}
    return {**row, **levels, **fields}


def a_reactor(system_id: UUID, low: float, high: float, **fields: Any) -> dict[str, Any]:
    """A reactor that brings a system so much of what it uses."""
    ratio = bounds((low + high) / 2, low, high, "1")
    turn = [{**remark(code, "Gas."), "subject_id": system_id} for code in _turned(low, high)]
    row = {"reactor_id": uuid4(), "tag": "r", "name": "Reactor", "findings": [], "gas_finding": None, "advice": turn}
    media = dict.fromkeys(("media_left", "media_filled", "media_refill_by", "media_level"))
    return {**row, **media, "systems": [{"system_id": system_id, "supply_over_demand": ratio}], **fields}


def _turned(low: float, high: float) -> list[str]:
    """The advice that such a ratio leads to."""
    return ["more_gas"] if high < 1 else ["less_gas"] if low > 1 else []


def a_gas_line(name: str, by: date | None, words: str, **fields: Any) -> dict[str, Any]:
    """A gas line."""
    row = {"gas_line_id": uuid4(), "tag": name, "name": name, "change_by": by, "words": words, "findings": []}
    return {**row, "charge_kg": 4.5, **fields}


def a_job(overdue: int, what: str = "Probe calibrated") -> dict[str, Any]:
    """A plan that is overdue by so many days."""
    words = f"{overdue} days overdue" if overdue else "due today"
    return {"subject_id": uuid4(), "subject": "Lagoon", "what": what, "words": words, "overdue_days": overdue,
            "next_due_on": TODAY - timedelta(days=overdue)}  # fmt: skip


def remark(code: str, detail: str) -> dict[str, Any]:
    return {"code": code, "detail": detail, "subject_id": None}


def said(**rows: Any) -> list[str]:
    """The headline of these rows."""
    kinds: dict[str, Any] = {"lines": [], "reactors": [], "gas": [], "due": [], "lost": [], **rows}
    own = {name: kinds[name] for name in ("lines", "reactors", "gas")}
    findings = told(**own, elsewhere=kinds.pop("elsewhere", []), names={})
    counts = {"unlogged": kinds.pop("unlogged", 0), "corrections": kinds.pop("corrections", 0)}
    return headline(**kinds, **counts, findings=findings, at=END, zone=ZoneInfo("Europe/Oslo"))


def test_it_counts_and_names() -> None:
    still, moving = a_line("North"), a_line("South", "Falling: -0.50 dKH in the week", now=7.5)
    assert said(lines=[still]) == ["Every system held its alkalinity this week."]
    assert said(lines=[still, moving], unlogged=1, corrections=2) == [
        "1 of 2 systems held its alkalinity this week.",
        "South is falling (-0.50 dKH in the week); nothing on record says why.",
        "1 of 2 systems had no alkalinity test all week.",
        "2 records were corrected or withdrawn.",
    ]
    assert said() == ["No systems are described yet."]


def test_danger_comes_first_then_animals_gas_drift_work_and_paper() -> None:
    line = a_line(
        "South", "Falling: -0.50 dKH in the week", now=7.5, findings=[remark("level_shift", "Alkalinity fell.")]
    )
    reactor = a_reactor(line["system_id"], 0.7, 0.9, findings=[remark("slowing_drip", "The drip gives less.")])
    reactor["gas_finding"] = remark("gas_missing", "18 % of the gas does not show. Search for leaks.")
    gas = a_gas_line("Hall", TODAY + timedelta(days=3), "Change the cylinder by Thursday 26 November.")
    gas["findings"] = [remark("scale_jump", "Weighings jumped.")]
    rows = {"lines": [line], "reactors": [reactor], "gas": [gas], "due": [a_job(12), a_job(3)], "unlogged": 1}
    assert said(**rows, lost=["South: 3 colonies lost."]) == [
        "Reactor: 18 % of the gas does not show.",
        "South: 3 colonies lost.",
        "South: alkalinity fell.",
        "Hall: change the cylinder by Thursday 26 November.",
        "Hall: weighings jumped.",
        "0 of 1 system held their alkalinity this week.",
        "South is falling (-0.50 dKH in the week): Reactor, the drip gives less.",
        "2 jobs are overdue, the longest: Probe calibrated (Lagoon), 12 days overdue.",
        "1 of 1 system had no alkalinity test all week.",
    ]


def test_why_a_system_moves_is_said_only_where_it_explains_the_way() -> None:
    rising = a_line("South", "Rising: +0.50 dKH in the week", now=8.5)
    assert said(lines=[rising], reactors=[a_reactor(rising["system_id"], 0.7, 0.9)])[1].endswith(
        "; nothing on record says why."
    )
    assert said(lines=[rising], reactors=[a_reactor(rising["system_id"], 0.9, 1.1)])[1].endswith(
        "; nothing on record says why."
    )
    falling = a_line("South", "Falling: -0.50 dKH in the week", now=7.5)
    short = said(lines=[falling], reactors=[a_reactor(falling["system_id"], 0.7, 0.9)])[1]
    assert short.endswith(": Reactor brings 0.80 of what it uses (0.70 to 0.90).")
    beside_dosing = a_reactor(falling["system_id"], 0.7, 0.9, advice=[])  # others give the rest
    assert said(lines=[falling], reactors=[beside_dosing])[1].endswith("; nothing on record says why.")
    more = said(lines=[rising], reactors=[a_reactor(rising["system_id"], 1.1, 1.3)])[1]
    assert more.endswith(": Reactor brings 1.20 of what it uses (1.10 to 1.30).")
    change = {"weeks": 4, "change": bounds(0.2, 0.1, 0.3, "dKH/d"), "words": "It uses 0.2 dKH/d more.", "events": []}
    falling = a_line("North", "Falling: -0.50 dKH in the week", now=7.5, demand_changes=[change])
    assert said(lines=[falling])[1:] == ["North is falling (-0.50 dKH in the week): it uses 0.2 dKH/d more."]
    events = [
        {"at": END - timedelta(days=22), "kind": "stock", "what": "24 colonies added"},
        {"at": END - timedelta(days=6), "kind": "set_point", "what": "dosing rate set to 38 mL/d"},
        {"at": END - timedelta(days=1), "kind": "maintenance", "what": "filter changed"},
    ]
    before = said(lines=[rising | {"events": events}])[1]
    assert before.endswith("; on record before: dosing rate set to 38 mL/d on 17 November.")
    assert said(lines=[rising | {"events": events[:1]}])[1].endswith("; nothing on record says why.")
    still = a_line("North", demand_changes=[change])
    assert said(lines=[still])[1:] == ["North: it uses 0.2 dKH/d more."]


def test_what_limits_a_reactor_says_why_its_system_falls_unless_a_cause_is_known() -> None:
    falling = a_line("North", "Falling: -0.50 dKH in the week", now=7.5)
    limited = remark("gas_limited", "The reactor brings 0.80 (0.70 to 0.90) of it, and its gas limits that. Confirm.")
    reactor = a_reactor(falling["system_id"], 0.7, 0.9, findings=[limited])
    told_of = said(lines=[falling], reactors=[reactor])
    assert told_of[1].endswith(": Reactor, the reactor brings 0.80 (0.70 to 0.90) of it, and its gas limits that.")
    assert len(told_of) == 2  # told once, with the system it explains
    clogged = {**reactor, "findings": [remark("slowing_drip", "The drip fell."), limited]}
    assert said(lines=[falling], reactors=[clogged])[1].endswith(": Reactor, the drip fell.")
    still = a_line("North")
    assert "its gas limits that" in said(lines=[still], reactors=[reactor])[-1]


def test_a_site_of_hundreds_still_has_a_short_headline() -> None:
    lines = [a_line(f"S{n}", f"Falling: -{n / 10:.2f} dKH in the week", now=8 - n / 10) for n in range(1, 101)]
    sentences = said(lines=lines)
    assert len(sentences) == 1 + MOST + 1
    assert sentences[1].startswith("S100 is falling")  # the fastest first
    assert sentences[-1] == f"And {100 - MOST} more systems that are rising or falling, below."


def test_what_was_found_elsewhere_joins_the_row_of_its_subject_once() -> None:
    line, gas = a_line("South"), a_gas_line("Hall", None, "Not known.")
    drift, hall = remark("kit_drift", "The kit reads high."), uuid4()
    found = {line["system_id"]: [drift, drift], gas["gas_line_id"]: [drift], hall: [drift]}
    rows = {"lines": [line], "reactors": [], "gas": [gas]}
    left = merged(found, **rows)
    assert [each["subject_id"] for each in left] == [hall]
    assert merged({line["system_id"]: [drift]}, **rows) == []
    assert [len(row["findings"]) for row in (line, gas)] == [1, 1]
    named = told(**rows, elsewhere=left, names={hall: "Titration kit"})
    assert [each["subject"] for each in named] == ["South", "Hall", "Titration kit"]


def test_a_sentence_ends_where_the_next_begins() -> None:
    assert (
        first_sentence("Gas: from 16.5 to 18.2 g/d at pH 6.6. Go in steps.") == "Gas: from 16.5 to 18.2 g/d at pH 6.6."
    )
    assert first_sentence("Between 2026-11-01 07:00 and 08:00 UTC: a dose nobody recorded?") == (
        "Between 2026-11-01 07:00 and 08:00 UTC: a dose nobody recorded?"
    )


def test_what_to_do_is_one_list_with_what_presses_first() -> None:
    line = a_line("South", advice=[remark("give_more", "Give 20 meq a day more. Go in steps.")])
    reactor = a_reactor(line["system_id"], 0.9, 1.1, advice=[remark("hold", "Turn nothing.")])
    reactor["gas_finding"] = remark("gas_missing", "37 % (26 to 48 %) of the gas weighed out does not show. Ventilate.")
    reactor["findings"] = [remark("slowing_drip", "The drip fell by 21 % (14 to 26 %) between two days: a clog.")]
    soon = a_gas_line("Hall", TODAY + timedelta(days=9), "Change the cylinder by Wednesday 2 December.")
    later = a_gas_line("Wall", TODAY + timedelta(days=20), "Change the cylinder by Sunday 13 December.")
    rows = {"lines": [line], "reactors": [reactor], "gas": [soon, later]}
    findings = told(**rows, elsewhere=[], names={})
    tasks = to_do(**rows, findings=findings, due=[a_job(2), a_job(0)], today=TODAY)
    assert [(each["subject"], each["detail"]) for each in tasks] == [
        (
            "Reactor",
            "Read the pH in the chamber itself; if that does not explain it, search for leaks with soapy water, not by "
            "smell, and ventilate first: 37 % (26 to 48 %) of the gas weighed out does not show in the water.",
        ),
        ("Hall", "Change the cylinder by Wednesday 2 December."),
        (
            "Reactor",
            "Clean the drip line and its valve, and time the drip again: 21 % (14 to 26 %) less comes than before.",
        ),
        ("South", "Give 20 meq a day more."),
        ("Lagoon", "Probe calibrated: 2 days overdue."),
    ]


def test_a_knob_is_said_once_and_by_the_reactor() -> None:
    line = a_line("South")
    line["advice"] = [{**remark("give_more", "Give 20 meq a day more."), "subject_id": line["system_id"]}]
    more, less = a_reactor(line["system_id"], 0.7, 0.9), a_reactor(line["system_id"], 1.1, 1.3)
    rows: dict[str, Any] = {"lines": [line], "gas": [], "findings": [], "due": [], "today": TODAY}
    assert [each["code"] for each in to_do(**rows, reactors=[more])] == ["more_gas"]
    assert [each["code"] for each in to_do(**rows, reactors=[less])] == ["less_gas", "give_more"]  # they disagree: both


def test_a_kit_in_doubt_is_looked_at_before_anything_is_turned() -> None:
    detail = (
        "The alkalinity kit reads 0.31 (0.12 to 0.50) dKH high with the lot in use, by 2 check standards. Read one."
    )
    line = a_line(
        "South", findings=[remark("kit_off", detail)], advice=[remark("give_less", "Give 20 meq a day less.")]
    )
    sure = a_line("North", advice=[remark("give_less", "Give 30 meq a day less.")])
    withhold_advice([line, sure])
    rows: dict[str, Any] = {"lines": [line, sure], "reactors": [], "gas": []}
    tasks = to_do(**rows, findings=told(**rows, elsewhere=[], names={}), due=[], today=TODAY)
    assert [(each["subject"], each["detail"]) for each in tasks] == [
        (
            "South",
            "Read a check standard in duplicate, and the tank with another lot, before anything is turned: "
            "0.31 (0.12 to 0.50) dKH high is how the kit seems to read.",
        ),
        ("North", "Give 30 meq a day less."),
    ]


def test_what_to_order_is_what_is_needed_within_four_weeks() -> None:
    system = uuid4()
    gas = [
        a_gas_line("Hall", TODAY - timedelta(days=1), "Change the cylinder now."),
        a_gas_line("Wall", TODAY + timedelta(days=28), "", charge_kg=None),
        a_gas_line("Cellar", TODAY + timedelta(days=29), ""),
        a_gas_line("Loft", None, ""),
    ]
    seen = {"value": 45.0, "unit": "%", "at": None}
    left = {"media_left": bounds(5.2, 4.1, 6.3, "kg"), "media_filled": bounds(12.0, 11.3, 12.7, "kg")}
    reactors = [
        a_reactor(system, 0.9, 1.1, name="A", media_refill_by=TODAY + timedelta(days=10), **left),
        a_reactor(system, 0.9, 1.1, name="B", media_level=seen),
        a_reactor(system, 0.9, 1.1, name="C", media_level={**seen, "value": 55.0}),
        a_reactor(system, 0.9, 1.1, name="D", media_refill_by=TODAY + timedelta(days=60)),
    ]
    orders = to_order(gas, reactors, today=TODAY)
    assert [(each["needed_for"], each["detail"]) for each in orders] == [
        ("Hall", "One full CO2 cylinder of 4.5 kg, at hand now."),
        (
            "B",
            "Media of the kind in use, at hand now. 45 % are left as last seen; many refill at half (common practice).",
        ),
        ("A", "7 kg of media of the kind in use, at hand by Thursday 3 December. 5.2 kg are left (4.1 to 6.3)."),
        ("Wall", "One full CO2 cylinder, at hand by Monday 21 December."),
    ]
