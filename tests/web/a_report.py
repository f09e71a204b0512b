"""A weekly report written by hand: an invented house, with nulls wherever one may stand, hostile and long names."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import cos, sin
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

HOSTILE = '<svg onload="alert(1)">&"\'</script>'
LONG = "Propagation hall, second raceway from the north wall with the shallow shelves and the frag racks " * 2
ZONE = ZoneInfo("Europe/Oslo")
END = datetime(2026, 11, 23, 0, 0, tzinfo=ZONE)


def a_report(lines: list[dict[str, Any]] | None = None) -> dict[str, Any]:
    """A report of four systems: steady, falling, hostile and unknown in every respect."""
    lines = lines if lines is not None else [steady(), falling(), hostile(), unknown()]
    return {
        "site": {"id": UUID(int=1), "tag": "reefhouse", "name": "The Reefhouse", "time_zone": "Europe/Oslo"},
        "week": "2026-W47",
        "from": END - timedelta(days=7),
        "to": END,
        "hours": 168,
        "at": END,
        "program_version": "0.1.0",
        "audit_seq": 4127,
        "headline": [
            "1 of 4 systems held its alkalinity this week.",
            "Nursery: falling: -0.42 dKH in the week.",
            f"{HOSTILE}: the level rose by 0.9 dKH between two tests and no addition says why.",
        ],
        "lines": lines,
        "to_do": [
            _to_do("Nursery", "Give 210 (150 to 270) meq a day more, by dosing."),
            _to_do(HOSTILE, HOSTILE),
        ],
        "to_order": [
            {"what": "CO2 cylinder", "needed_for": HOSTILE, "by": (END + timedelta(days=23)).date(), "detail": HOSTILE}
        ],
        "reactors": [_reactor("Lagoon reactor", known=True), _reactor(HOSTILE + LONG, known=False)],
        "due": [_due("Lagoon reactor", "Low-pH cut-off tested", 12), _due(HOSTILE, HOSTILE, 0)],
        "gas": [_gas_line(HOSTILE, known=True), _gas_line("gas-2", known=False)],
        "maintenance": [
            {
                "at": END - timedelta(days=4, hours=9),
                "subject": "Reactor 1",
                "what": "Drip line cleaned; chalk at the needle valve",
                "kind": "condition_based",
                "minutes": 25.0,
                "by": "Keeper on the late shift",
            },
            {
                "at": END - timedelta(days=2, hours=14),
                "subject": HOSTILE,
                "what": HOSTILE,
                "kind": "inspection",
                "minutes": None,
                "by": None,
            },
        ],
        "corrections": [
            {
                "at": END - timedelta(days=1, hours=14),
                "kind": "reading",
                "record_id": UUID(int=77),
                "action": "corrected",
                "why": HOSTILE,
                "by": HOSTILE,
            },
            {
                "at": END - timedelta(days=1, hours=13),
                "kind": "addition",
                "record_id": UUID(int=78),
                "action": "withdrawn",
                "why": None,
                "by": "Supervisor",
            },
        ],
        "unlogged": [
            {"system": "Quarantine", "quantity": "alkalinity", "last_at": None},
            {"system": HOSTILE, "quantity": "alkalinity", "last_at": END - timedelta(days=9)},
        ],
        "findings": [{**finding, "subject": line["name"]} for line in lines for finding in line["findings"]],
        "assumptions": ["What a system got is what it took plus what its level rose.", HOSTILE],
        "sources": [
            {"key": "HANDBOOK", "citation": "A handbook of sea water, chapter 5 (2007)", "doi": None},
            {"key": "PAPER", "citation": "A paper on calcification", "doi": "10.1000/182"},
        ],
        "cautions": [
            "The service records and computes; it switches nothing and is no safety system.",
            "CO2 is toxic at a few per cent in air while oxygen still reads normal. Follow local codes, the gas "
            "supplier's instructions and the site's own safety officer.",
        ],
    }


def bounds(value: float, low: float | None, high: float | None, unit: str) -> dict[str, Any]:
    """A computed number."""
    return {"value": value, "low": low, "high": high, "level": 0.95, "unit": unit}


def steady() -> dict[str, Any]:
    """A system in balance, with set-aside readings and events."""
    return _line(
        1,
        "lagoon",
        "Lagoon",
        level=bounds(8.17, 8.05, 8.29, "dKH"),
        level_week_ago=bounds(8.21, 8.1, 8.32, "dKH"),
        consumption=bounds(0.712, 0.668, 0.757, "dKH/d"),
        consumption_week_ago=bounds(0.701, 0.655, 0.748, "dKH/d"),
        supply=bounds(0.706, 0.655, 0.757, "dKH/d"),
        words="Steady",
        heading="Now at its target.",
        middle=8.2,
        set_aside=[10, 31],
        events=[
            (80, "water_change", "Water change, 180 L"),
            (66, "water_change", "Water change, 180 L"),
            (52, "water_change", "Water change, 180 L"),
            (38, "cylinder", "Cylinder changed: C-14 for C-11"),
            (37.4, "maintenance", "Regulator gasket renewed, joints checked with soap solution"),
            (24, "water_change", "Water change, 180 L"),
            (10, "water_change", "Water change, 180 L"),
            (4, "maintenance", "Drip line cleaned; chalk at the needle valve"),
        ],
    )


def falling() -> dict[str, Any]:
    """A system that loses ground, with an interval open on one side, a finding and advice."""
    return _line(
        2,
        "nursery",
        "Nursery",
        level=bounds(7.31, 7.2, 7.42, "dKH"),
        level_week_ago=bounds(7.73, 7.62, 7.84, "dKH"),
        consumption=bounds(1.18, 1.07, None, "dKH/d"),
        consumption_week_ago=bounds(0.94, 0.86, 1.02, "dKH/d"),
        supply=bounds(1.12, 1.01, 1.23, "dKH/d"),
        words="Falling: -0.42 dKH in the week",
        heading="Now 0.89 dKH below target and moving away.",
        middle=7.6,
        findings=["Since two dozen colonies came in on 12 October it uses about a quarter more."],
        advice=["Raise the dosing rate from 38 to 46 mL/min; test again in three days. Change alkalinity slowly."],
        events=[
            *((day + 0.4, "maintenance", "Filter changed") for day in range(83, 42, -4)),
            (41, "stock", "24 colonies added"),
            *((day + 0.4, "maintenance", "Filter changed") for day in range(39, 3, -4)),
            (3, "set_point", "Dosing rate 38 mL/min"),
            (0.1, "maintenance", "Filter changed"),
        ],
        demand_changes=[
            {
                "weeks": 4,
                "change": bounds(0.24, 0.11, 0.37, "dKH/d"),
                "words": "It uses 0.24 dKH/d more than four weeks ago (0.11 to 0.37), since 24 colonies added on "
                "13 October.",
                "events": [{"at": END - timedelta(days=41), "kind": "stock", "what": "24 colonies added"}],
            }
        ],
    )


def hostile() -> dict[str, Any]:
    """A system whose every text tries to be markup."""
    line = _line(
        3,
        "q-1",
        HOSTILE + LONG,
        level=bounds(11.2, None, 11.9, "dKH"),
        level_week_ago=None,
        consumption=bounds(0.2, None, None, "dKH/d"),
        consumption_week_ago=None,
        supply=None,
        words=HOSTILE,
        heading=HOSTILE,
        middle=9.1,
        findings=[HOSTILE],
        advice=[HOSTILE],
        missing=[HOSTILE],
        set_aside=[3],
        events=[(12, "addition", HOSTILE)],
    )
    line["set_aside"][0]["reason"] = HOSTILE
    line["tag"] = HOSTILE
    return line


def unknown() -> dict[str, Any]:
    """A system of which the records say nothing."""
    nothing = dict.fromkeys(
        ("target", "level", "level_week_ago", "consumption", "consumption_week_ago", "supply", "heading")
    )
    return {
        "system_id": UUID(int=104),
        "tag": "quarantine",
        "name": "Quarantine",
        "quantity": "alkalinity",
        "unit": "dKH",
        **nothing,
        "words": "Not enough readings to say",
        "readings": 0,
        "set_aside": [],
        "findings": [],
        "missing": [_remark("Two alkalinity readings a few days apart would settle it.")],
        "advice": [],
        "course": {"at": [], "value": [], "low": [], "high": [], "unit": "dKH"},
        "readings_course": {"at": [], "value": [], "flag": []},
        "events": [],
        "demand_changes": [],
        "ions": [],
    }


def _remark(detail: str) -> dict[str, Any]:
    return {"code": "told", "detail": detail, "subject_id": None}


def _line(number: int, tag: str, name: str, *, middle: float, **fields: Any) -> dict[str, Any]:
    end = END.astimezone(UTC)
    days = [84 - 0.25 * step for step in range(84 * 4 + 1)]
    course = [middle + 0.18 * sin(day / 6 + number) + 0.05 * cos(day) for day in days]
    half = [0.1 + 0.05 * abs(sin(day * 1.7)) for day in days]
    tested = list(range(0, len(days), 9))
    aside = set(fields.pop("set_aside", []))
    value = [course[index] + (1.4 if order in aside else 0.09 * sin(7.3 * order)) for order, index in enumerate(tested)]
    taken_at = [end - timedelta(days=days[index], minutes=17 * order % 60) for order, index in enumerate(tested)]
    return {
        "system_id": UUID(int=100 + number),
        "tag": tag,
        "name": name,
        "quantity": "alkalinity",
        "unit": "dKH",
        "target": {"value": 8.2, "unit": "dKH"},
        **fields,
        "readings": 4,
        "set_aside": [
            {
                "reading_id": UUID(int=200 + order),
                "taken_at": taken_at[order],
                "value": round(value[order], 2),
                "unit": "dKH",
                "score": 9.4,
                "reason": "9.4 standard deviations off the course that its neighbours agree on",
            }
            for order in sorted(aside)
        ],
        "findings": [_remark(detail) for detail in fields.get("findings", [])],
        "missing": [_remark(detail) for detail in fields.get("missing", [])],
        "advice": [_remark(detail) for detail in fields.get("advice", [])],
        "course": {
            "at": [end - timedelta(days=day) for day in days],
            "value": course,
            "low": [level - width for level, width in zip(course, half, strict=True)],
            "high": [level + width for level, width in zip(course, half, strict=True)],
            "unit": "dKH",
        },
        "readings_course": {
            "at": taken_at,
            "value": value,
            "flag": ["set_aside" if order in aside else "used" for order in range(len(tested))],
        },
        "events": [
            {"at": end - timedelta(days=ago), "kind": kind, "what": what} for ago, kind, what in fields["events"]
        ],
        "demand_changes": fields.get("demand_changes", []),
        "ions": [
            _ion("calcium", bounds(421.0, 409.0, 433.0, "mg/L"), bounds(2.1, 0.4, 3.8, "mg/L/d")),
            _ion("magnesium", bounds(1320.0, 1262.0, 1378.0, "mg/L"), None),
        ],
    }


def _ion(quantity: str, level: dict[str, Any], consumption: dict[str, Any] | None) -> dict[str, Any]:
    target = {"value": 420.0, "unit": "mg/L"} if quantity == "calcium" else None
    last_at = END - timedelta(days=2 if quantity == "calcium" else 11)
    readings = 1 if quantity == "calcium" else 0
    return {
        "quantity": quantity,
        "level": level,
        "consumption": consumption,
        "target": target,
        "readings": readings,
        "last_at": last_at,
    }


def _to_do(subject: str, detail: str) -> dict[str, Any]:
    return {"code": "give_more", "detail": detail, "subject_id": UUID(int=102), "subject": subject, "by": None}


def _due(subject: str, what: str, overdue: int) -> dict[str, Any]:
    return {
        "plan_id": UUID(int=120),
        "subject_id": UUID(int=101),
        "subject": subject,
        "what": what,
        "kind": "inspection",
        "last_done_at": END - timedelta(days=42) if overdue else None,
        "next_due_on": (END - timedelta(days=overdue)).date(),
        "overdue_days": overdue,
        "words": f"{overdue} days overdue" if overdue else "due today",
        "procedure": None,
    }


def _reactor(name: str, *, known: bool) -> dict[str, Any]:
    """A reactor of which everything is known, or nothing."""
    rest = {
        "alkalinity": bounds(7.9, 7.1, 8.7, "dKH"),
        "mode": "gas_limited",
        "time_constant": bounds(5.2, 3.4, 9.1, "d"),
    }
    fed = {
        "system_id": UUID(int=101),
        "name": "Lagoon",
        "supply_over_demand": bounds(0.81, 0.72, 0.93, "1"),
        "settles_at": rest,
    }
    numbers = {
        "flow": bounds(32.6, 30.3, 34.9, "mL/min"),
        "alkalinity": bounds(32.1, 30.4, 33.8, "dKH"),
        "ph": bounds(6.64, 6.58, 6.70, "[pH]"),
        "gas_use": bounds(16.2, 14.9, 17.5, "g/d"),
        "media_left": bounds(11.2, 9.8, 12.6, "kg"),
        "media_filled": bounds(18.0, 16.9, 19.1, "kg"),
    }
    return {
        "reactor_id": UUID(int=110),
        "tag": "reactor-1",
        "name": name,
        **(numbers if known else dict.fromkeys(numbers)),
        "systems": [fed] if known else [],
        "gas_use_by": "weighing" if known else None,
        "gas_finding": _remark("18 % (7 to 29 %) of the gas weighed out does not show in the water.")
        if known
        else None,
        "media_refill_by": (END + timedelta(days=80)).date() if known else None,
        "media_level": {"value": 70.0, "unit": "%", "at": END - timedelta(days=3)} if known else None,
        "words": "Brings 0.81 of what Lagoon uses (0.72 to 0.93), less than all of it."
        if known
        else "Feeds no system.",
        "settles": "If nothing is turned Lagoon comes to rest at 7.9 dKH (7.1 to 8.7)." if known else HOSTILE,
        "findings": [_remark("The drip gives 14 % less (8 to 20 %) than before 11 November.")] if known else [],
        "missing": [] if known else [_remark(HOSTILE), _remark("Time the drip."), _remark("Test the effluent.")],
        "advice": [_remark("Gas: from 1.10 to 1.25-1.45 bubbles/s. Go in steps.")] if known else [],
        "cautions": ["A chamber is under pressure: close the gas before opening it."],
    }


def _gas_line(name: str, *, known: bool) -> dict[str, Any]:
    """A line whose cylinder is weighed, or one of which nothing is known."""
    instant = {
        "value": END + timedelta(days=40),
        "low": END + timedelta(days=30),
        "high": None,
        "level": 0.95,
        "has_passed": False,
    }
    mass = {"value": 1.53, "low": 1.49, "high": 1.57, "level": 0.95, "unit": "kg"}
    use = {"value": 19.6, "low": 18.1, "high": 21.2, "level": 0.95, "unit": "g/d"}
    lack = {"code": "a_second_weighing", "detail": f"Weigh {HOSTILE}.", "subject_id": None}
    return {
        "gas_line_id": UUID(int=90),
        "tag": "gas-1",
        "name": name,
        "cylinder": HOSTILE if known else None,
        "charge_kg": 4.5 if known else None,
        "remaining": mass if known else None,
        "use": use if known else None,
        "liquid_gone_at": instant if known else None,
        "empty_at": instant if known else None,
        "change_by": (END + timedelta(days=23)).date() if known else None,
        "words": "Change the cylinder by Tuesday 15 December." if known else "Not known.",
        "findings": [],
        "missing": [] if known else [lack],
    }
