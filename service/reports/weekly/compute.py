"""A site's week, computed for all its systems at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlmodel import Session

from service import __version__
from service.computations.answers import sources_of
from service.computations.consumption.answer import (
    ASSUMED,
    NO_VOLUME,
    Scaled,
    estimates,
    expected_level,
    level_course,
    level_shift,
    missing,
    per_day,
    set_aside,
)
from service.computations.consumption.gather import Gathered, gather
from service.reports.weekly import happenings
from service.reports.weekly.gas import gas_headline, gas_of
from service.reports.weekly.weeks import Week
from service.reports.weekly.words import Standing, heading, headline, words
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.codes import TARGET
from service.resources.places.sites.models import Site
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System
from service.science.answer import ConsumptionEstimate
from service.science.consumption import estimate_consumption
from service.storage.trail import head

QUANTITY = "alkalinity"
RECORDS = timedelta(days=180)
SHOWN = timedelta(weeks=12)
WEEK = timedelta(days=7)
JUST_AFTER = timedelta(microseconds=1)

SUPPLY_ASSUMED = "What a system got is what it took plus what its level rose: the balance of the week, not a meter."
CAUTIONS = (
    "The service records and computes; it switches nothing and is no safety system.",
    "Change alkalinity slowly: many keepers allow 0.36 meq/L (1 dKH) a day at most (common practice).",
    "CO2 is toxic at a few per cent in air while oxygen still reads normal. Follow local codes, the gas supplier's "
    "instructions and the site's own safety officer.",
)


@dataclass(frozen=True)
class _Pair:
    """One system's estimate at the report's instant and a week before, with the history behind each."""

    now: tuple[Gathered, ConsumptionEstimate] | None
    before: tuple[Gathered, ConsumptionEstimate] | None


def weekly_report(session: Session, site: Site, week: Week, *, now: datetime) -> dict[str, Any]:
    """The report of one week of a site; the number of queries does not grow with the number of systems."""
    at = min(week.end, now)
    found = systems.of_site(session, site.id)
    scaled = Scaled(QUANTITY, _rate_unit(site))
    pairs = _estimated(session, found, at)
    targets = _targets(session, found, at, scaled)
    events = happenings.of_systems(session, found, at - SHOWN, at)
    lines = [_line(system, week, pairs[system.id], targets[system.id], events[system.id], scaled) for system in found]
    corrections = happenings.corrections(session, site.id, week.start, week.end)
    unlogged = _unlogged(found, pairs, week)
    gas = gas_of(session, site, at, week.zone)
    chain = head(session, site.id)
    return {
        "site": {"id": site.id, "tag": site.tag, "name": site.name, "time_zone": site.time_zone},
        "week": week.name,
        "from": week.start,
        "to": week.end,
        "hours": week.hours,
        "at": at.astimezone(week.zone),
        "program_version": __version__,
        "audit_seq": chain.seq if chain else 0,
        "headline": headline(lines, gas_headline(gas, at, week.zone), len(unlogged), len(corrections)),
        "lines": lines,
        "gas": gas,
        "maintenance": happenings.work_done(session, site.id, week.start, week.end),
        "corrections": corrections,
        "unlogged": unlogged,
        "findings": [finding for row in [*lines, *gas] for finding in row["findings"]],
        "assumptions": list(dict.fromkeys([*ASSUMED, SUPPLY_ASSUMED, *_assumptions(pairs)])),
        "sources": sources_of(estimate_consumption),
        "cautions": list(CAUTIONS),
    }


def _rate_unit(site: Site) -> str | None:
    shown: str | None = site.units.get(QUANTITY)
    return None if shown is None else per_day(shown)


def _estimated(session: Session, found: Sequence[System], at: datetime) -> Mapping[UUID, _Pair]:
    now = _estimates(session, found, at, with_course=True)
    before = _estimates(session, found, at - WEEK, with_course=False)
    return {system.id: _Pair(now.get(system.id), before.get(system.id)) for system in found}


def _estimates(
    session: Session, found: Sequence[System], at: datetime, *, with_course: bool
) -> dict[UUID, tuple[Gathered, ConsumptionEstimate]]:
    """The estimates from what was known at an instant; systems whose volume is unknown are left out."""
    gathered = gather(session, found, QUANTITY, start=at - RECORDS, end=at + JUST_AFTER)
    known = [each for each in gathered.values() if each is not None]
    answers = estimates(known, QUANTITY, at=at, course_at=[at - WEEK, at] if with_course else ()) if known else []
    return {each.system.id: (each, answer) for each, answer in zip(known, answers, strict=True)}


def _targets(
    session: Session, found: Sequence[System], at: datetime, scaled: Scaled
) -> dict[UUID, dict[str, Any] | None]:
    held = set_points.history(session, [system.id for system in found], quantity=TARGET + QUANTITY)
    targets: dict[UUID, dict[str, Any] | None] = {}
    for system in found:
        target = set_points.in_force(held[system.id], at).get(TARGET + QUANTITY)
        value = None if target is None else {"value": scaled.level(target.value), "unit": scaled.level_unit}
        targets[system.id] = value
    return targets


def _line(
    system: System, week: Week, pair: _Pair, target: dict[str, Any] | None, events: list[dict[str, Any]], scaled: Scaled
) -> dict[str, Any]:
    now, before = _numbers(pair.now, scaled), _numbers(pair.before, scaled)
    tested = 0 if pair.now is None else _tested(pair.now[0], week)
    standing = Standing(
        level=now["level"] and now["level"]["value"],
        level_half=_half(now["level"]),
        level_before=before["level"] and before["level"]["value"],
        level_before_half=_half(before["level"]),
        target=None if target is None else target["value"],
        unit=scaled.level_unit,
        is_tested=tested > 0,
    )
    return {
        "system_id": system.id,
        "tag": system.tag,
        "name": system.name,
        "quantity": QUANTITY,
        "unit": scaled.level_unit,
        "target": target,
        "level": now["level"],
        "level_week_ago": before["level"],
        "consumption": now["consumption"],
        "consumption_week_ago": before["consumption"],
        "supply": _supply(now["consumption"], standing, scaled),
        "words": words(standing),
        "heading": heading(standing),
        "readings": tested,
        "advice": [],
        "events": events,
        **_evidence(pair.now, scaled, since=week.start),
    }


def _numbers(found: tuple[Gathered, ConsumptionEstimate] | None, scaled: Scaled) -> dict[str, Any]:
    if found is None:
        return {"level": None, "consumption": None}
    estimate = found[1]
    return {
        "level": expected_level(estimate, scaled),
        "consumption": scaled.rate_bounds(estimate.value, estimate.low, estimate.high),
    }


def _evidence(found: tuple[Gathered, ConsumptionEstimate] | None, scaled: Scaled, *, since: datetime) -> dict[str, Any]:
    """What proves the line: course and readings; of what was set aside and found, that of the week."""
    if found is None:
        empty = {"at": [], "value": [], "low": [], "high": [], "unit": scaled.level_unit}
        points: dict[str, list[Any]] = {"at": [], "value": [], "flag": []}
        return {"set_aside": [], "findings": [], "missing": [NO_VOLUME], "course": empty, "readings_course": points}
    gathered, estimate = found
    left_out = {each.index for each in estimate.set_aside}
    days = gathered.history.readings.at_days
    first = gathered.clock.days(gathered.clock.at(float(days[-1])) - SHOWN) if len(days) else 0.0
    shown = [index for index in range(len(days)) if days[index] >= first]
    return {
        "set_aside": [each for each in set_aside(gathered, estimate, scaled) if each["taken_at"] >= since],
        "findings": [
            level_shift(gathered, QUANTITY, each, scaled)
            for each in estimate.level_shifts
            if gathered.clock.at(each.at_days) >= since
        ],
        "missing": [missing(gathered, QUANTITY, each) for each in estimate.missing],
        "course": level_course(gathered, estimate, scaled, since_days=first),
        "readings_course": {
            "at": [gathered.clock.at(float(days[index])) for index in shown],
            "value": [scaled.level(float(gathered.course.value[index])) for index in shown],
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


def _tested(gathered: Gathered, week: Week) -> int:
    first, last = gathered.clock.days(week.start), gathered.clock.days(week.end)
    days = gathered.history.readings.at_days
    return int(((days >= first) & (days < last)).sum())


def _unlogged(found: Sequence[System], pairs: Mapping[UUID, _Pair], week: Week) -> list[dict[str, Any]]:
    rows = []
    for system in found:
        pair = pairs[system.id].now
        if pair is not None and _tested(pair[0], week):
            continue
        last = None if pair is None else _last_tested(pair[0])
        rows.append({"system": system.name, "quantity": QUANTITY, "last_at": last})
    return rows


def _last_tested(gathered: Gathered) -> datetime | None:
    days = gathered.history.readings.at_days
    return gathered.clock.at(float(days[-1])) if len(days) else None


def _assumptions(pairs: Mapping[UUID, _Pair]) -> list[str]:
    return [sentence for pair in pairs.values() if pair.now for sentence in pair.now[0].inputs.assumptions]
