"""A system's line: what it takes and gets, where it stands and where it is heading, and what proves it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.computations.consumption.answer import (
    NO_VOLUME,
    Scaled,
    estimates,
    expected_level,
    level_course,
    level_shift,
    missing,
    set_aside,
)
from service.computations.consumption.gather import Gathered
from service.computations.consumption.shifts import named_shifts
from service.reports import wording
from service.reports.weekly.demand import demand_changes
from service.reports.weekly.weeks import Week
from service.reports.weekly.words import Standing, heading, words
from service.resources.places.systems.models import System
from service.science.answer import ConsumptionEstimate
from service.science.history import Readings, WaterChanges

QUANTITY = "alkalinity"
SHOWN = timedelta(weeks=12)
WEEK = timedelta(days=7)
IN_DOUBT = ("kit_off",)
AGO = (4 * WEEK, WEEK)
GAS_OR_DRIP = "At constant gas turn the gas; where the chamber is held at its pH, the drip. "
STEPS = "Go in steps of a fifth at most and test after two or three days (common practice)."

Columns = TypeVar("Columns", Readings, WaterChanges)
Estimated = tuple[Gathered, ConsumptionEstimate]


@dataclass(frozen=True)
class Pair:
    """One system's estimate at the report's instant, and by the readings until a week before."""

    now: Estimated | None
    before: Estimated | None


@dataclass(frozen=True)
class Known:
    """What is known of one system beside its estimates; events in time order, `is_fed` by a reactor."""

    target: dict[str, Any] | None
    events: list[dict[str, Any]]
    litres: float | None
    is_fed: bool


def pairs(gathered: Mapping[UUID, Gathered | None], quantity: str, *, at: datetime) -> dict[UUID, Pair]:
    """The two estimates of every system, all systems in one call; systems whose volume is unknown have none."""
    known = [each for each in gathered.values() if each is not None]
    earlier = [_until(each, at - WEEK) for each in known]
    now = estimates(known, quantity, at=at, course_at=[*(at - ago for ago in AGO), at]) if known else []
    before = estimates(earlier, quantity, at=at - WEEK) if known else []
    found = {
        each.system.id: Pair((each, estimate), (past, past_estimate))
        for each, estimate, past, past_estimate in zip(known, now, earlier, before, strict=True)
    }
    return {system_id: found.get(system_id, Pair(None, None)) for system_id in gathered}


def _until(gathered: Gathered, at: datetime) -> Gathered:
    """The same system by its readings and water changes up to and including an instant."""
    last, history = gathered.clock.days(at), gathered.history
    cut = replace(history, readings=_kept(history.readings, last), water_changes=_kept(history.water_changes, last))
    return replace(gathered, history=cut)


def _kept(columns: Columns, last: float) -> Columns:
    """Columns of one length, up to and including a day."""
    kept = columns.at_days <= last
    cut: dict[str, Any] = {}
    for each in fields(columns):
        column = getattr(columns, each.name)
        cut[each.name] = None if column is None else column[kept]
    return replace(columns, **cut)


def line(system: System, week: Week, pair: Pair, known: Known, scaled: Scaled) -> dict[str, Any]:
    """One system's row of the ledger, and the evidence for it."""
    now, before = _numbers(pair.now, scaled), _numbers(pair.before, scaled)
    read = 0 if pair.now is None else tested(pair.now[0], week)
    standing = Standing(
        level=now["level"] and now["level"]["value"],
        level_half=_half(now["level"]),
        level_before=before["level"] and before["level"]["value"],
        level_before_half=_half(before["level"]),
        target=None if known.target is None else known.target["value"],
        unit=scaled.level_unit,
        is_tested=read > 0,
    )
    evidence = _evidence(pair.now, scaled, since=week.start)
    return {
        "system_id": system.id,
        "tag": system.tag,
        "name": system.name,
        "quantity": QUANTITY,
        "unit": scaled.level_unit,
        "target": known.target,
        "level": now["level"],
        "level_week_ago": before["level"],
        "consumption": now["consumption"],
        "consumption_week_ago": before["consumption"],
        "supply": _supply(now["consumption"], standing, scaled),
        "words": words(standing),
        "heading": heading(standing),
        "readings": read,
        "advice": [] if evidence["findings"] else _advice(system, standing, known, scaled),
        "events": known.events,
        "demand_changes": demand_changes(pair.now, AGO, known.events, scaled, zone=week.zone),
        **evidence,
    }


def withhold_advice(lines: Iterable[dict[str, Any]]) -> None:
    """Take back what was advised by readings that are in doubt: the kit is looked at before anything is turned."""
    for row in lines:
        if any(found["code"] in IN_DOUBT for found in row["findings"]):
            row["advice"] = []


def tested(gathered: Gathered, week: Week) -> int:
    """How many readings were taken in the week."""
    first, last = gathered.clock.days(week.start), gathered.clock.days(week.end)
    days = gathered.history.readings.at_days
    return int(((days >= first) & (days < last)).sum())


def last_tested(gathered: Gathered) -> datetime | None:
    """When the last reading was taken."""
    days = gathered.history.readings.at_days
    return gathered.clock.at(float(days[-1])) if len(days) else None


def _numbers(found: Estimated | None, scaled: Scaled) -> dict[str, Any]:
    if found is None:
        return {"level": None, "consumption": None}
    estimate = found[1]
    return {
        "level": expected_level(estimate, scaled),
        "consumption": scaled.rate_bounds(estimate.value, estimate.low, estimate.high),
    }


def _evidence(found: Estimated | None, scaled: Scaled, *, since: datetime) -> dict[str, Any]:
    """What proves the line: course and readings; of what was set aside and found, that of the week."""
    if found is None:
        empty = {"at": [], "value": [], "low": [], "high": [], "unit": scaled.level_unit}
        points: dict[str, list[Any]] = {"at": [], "value": [], "flag": []}
        return {"set_aside": [], "findings": [], "missing": [NO_VOLUME], "course": empty, "readings_course": points}
    gathered, estimate = found
    left_out = {each.index for each in estimate.set_aside}
    days = gathered.history.readings.at_days
    first = float(days[-1]) - SHOWN / timedelta(days=1) if len(days) else 0.0
    shown = np.flatnonzero(days >= first).tolist()
    return {
        "set_aside": [each for each in set_aside(gathered, estimate, scaled) if each["taken_at"] >= since],
        "findings": [
            level_shift(gathered, QUANTITY, each, scaled)
            for each in named_shifts(gathered.history, estimate)
            if gathered.clock.at(each.at_days) >= since
        ],
        "missing": [missing(gathered, QUANTITY, each) for each in estimate.missing],
        "course": level_course(gathered, estimate, scaled, since_days=first),
        "readings_course": {
            "at": [gathered.clock.at(float(days[index])) for index in shown],
            "value": scaled.levels(gathered.course.value[shown]),
            "flag": ["set_aside" if index in left_out else "used" for index in shown],
        },
    }


def _supply(consumption: dict[str, Any] | None, standing: Standing, scaled: Scaled) -> dict[str, Any] | None:
    """What the system got a day: what it took, plus a seventh of the week's rise."""
    if consumption is None or standing.rise is None:
        return None
    value = consumption["value"] + standing.rise / 7
    half = float((_half(consumption) ** 2 + (standing.rise_half / 7) ** 2) ** 0.5)
    return {**consumption, "value": value, "low": value - half, "high": value + half, "unit": scaled.rate_unit}


def _half(bounds: dict[str, Any] | None) -> float:
    return 0.0 if bounds is None else (bounds["high"] - bounds["low"]) / 2


def _advice(system: System, standing: Standing, known: Known, scaled: Scaled) -> list[dict[str, Any]]:
    """By how much to give more or less to a system that is moving off its target.

    A seventh of the week's rise is what it got too much a day. On the way to its target nothing is advised.
    """
    rise, off, litres = standing.rise, standing.off, known.litres
    if litres is None or rise is None or standing.is_steady or not standing.is_tested:
        return []
    if off is not None and off * rise < 0 and abs(off) > standing.level_half:
        return []
    sizes = {"value": abs(rise), "low": abs(rise) - standing.rise_half, "high": abs(rise) + standing.rise_half}
    a_day = {name: size / 7 for name, size in sizes.items()}
    amount = {name: scaled.canonical_level(size) * litres for name, size in a_day.items()}
    code, way, verb = ("give_less", "more", "less") if rise > 0 else ("give_more", "less", "more")
    by = "by its reactor" if known.is_fed else "by dosing"
    detail = (
        f"Give {wording.figure(amount)} ({wording.between(amount)}) meq a day {verb}, {by}: it got "
        f"{wording.figure(a_day)} ({wording.between(a_day)}) {scaled.rate_unit} {way} than it used. "
        f"{GAS_OR_DRIP if known.is_fed else ''}{STEPS}"
    )
    return [remark(code, detail, system.id)]
