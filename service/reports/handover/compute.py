"""What changed on a site since the last handover that somebody took note of; a fixed number of queries."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.access.names import names
from service.computations.rounds.answer import system_of, walking
from service.reports.handover import lines
from service.reports.handover.happened import Happened, happened
from service.reports.handover.mark import Mark, mark_of, open_notes
from service.reports.page import readings_of
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.happenings import labels
from service.reports.weekly.weeks import week_of
from service.resources.places.set_points import queries as set_points
from service.resources.places.sites.models import Site
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System
from service.resources.records.handovers.models import Handover
from service.resources.records.readings.queries import known_of

Report = Mapping[str, Any]


def handover_report(session: Session, site: Site, at: datetime) -> dict[str, Any]:
    """What changed on a site (shape: `models.HandoverReport`), system by system in walking order."""
    mark = mark_of(session, site.id, at)
    found = happened(session, site.id, mark.seq)
    now, then = (_weekly(session, site, each) for each in (at, mark.since))
    there = sorted(systems.of_site(session, site.id), key=walking)
    belongs = system_of(session, there, at)
    told = _told(session, found, mark, now, then, belongs)
    notes = open_notes(session, site.id)
    subjects = {each["subject_id"] for each in told} | {note.subject_id for note in notes}
    subjects |= {UUID(each["what"]) for each in told if each["kind"] == "swap"}
    called = labels(session, {each for each in subjects if each is not None})
    people = names(session, _people(told, notes, mark))
    shown = [_shown(each, called, people) for each in told]
    stops = [_stop(row, [each for each in shown if each["system_id"] == row.id]) for row in there]
    stops.append(_stop(None, [each for each in shown if each["system_id"] is None]))
    return {
        "site_id": site.id,
        "since": mark.since,
        "mark": _mark(mark, people),
        "at": at,
        "notes": [_note(note, called, people) for note in notes],
        "stops": [stop for stop in stops if stop["lines"]],
        "readings": sum(1 for _ in found.recorded("reading")),
        "left_out": found.left_out,
    }


def _weekly(session: Session, site: Site, at: datetime) -> Report:
    return weekly_report(session, site, week_of(at, ZoneInfo(site.time_zone)), now=at)


def _told(
    session: Session, found: Happened, mark: Mark, now: Report, then: Report, belongs: Mapping[UUID, UUID]
) -> list[lines.Line]:
    """Every line with the system it belongs to."""
    read = sorted({row.subject_id for row, _ in found.recorded("reading")})
    known = known_of(session, read, at=mark.since)
    set_aside = _set_aside(found, now, belongs)
    changed = sorted({row.subject_id for row, _ in found.recorded("set_point")})
    history = set_points.history(session, changed)
    told = [
        *lines.readings(found, known, set_aside),
        *lines.records(found, history),
        *lines.changes(found),
    ]
    placed = [{**each, "system_id": belongs.get(each["subject_id"])} for each in told]
    for line, reactors in lines.swaps(found):
        fed: list[UUID | None] = [*sorted({belongs[each] for each in reactors if each in belongs})]
        placed += [{**line, "system_id": system_id} for system_id in fed or [None]]
    placed.sort(key=lambda each: each["at"])
    return [*_findings(now, then, belongs), *placed]


def _set_aside(found: Happened, now: Report, belongs: Mapping[UUID, UUID]) -> dict[tuple[UUID, datetime], str]:
    """Why each new reading was set aside that the estimate of its system does not use."""
    left = {
        (line["system_id"], line["quantity"], each["at"].replace(microsecond=0)): each["why"]
        for line in now["lines"]
        for each in readings_of(line)
        if each["why"]
    }
    why: dict[tuple[UUID, datetime], str] = {}
    for row, _ in found.recorded("reading"):
        key = belongs.get(row.subject_id), row.quantity, row.at.replace(microsecond=0)
        if key in left:
            why[row.id, row.at] = left[key]
    return why


def _findings(now: Report, then: Report, belongs: Mapping[UUID, UUID]) -> list[lines.Line]:
    """What is found now and was not at the mark."""
    known = {(each["code"], each["subject_id"]) for each in then["findings"]}
    return [
        {
            "kind": "finding",
            "record_id": None,
            "subject_id": each["subject_id"],
            "at": None,
            "by": None,
            "what": each["detail"],
            "amounts": [],
            "before": None,
            "why": None,
            "shown_for": [],
            "usual": None,
            "subject": each["subject"],
            "system_id": belongs.get(each["subject_id"]),
        }
        for each in now["findings"]
        if (each["code"], each["subject_id"]) not in known
    ]


def _people(told: list[lines.Line], notes: list[Handover], mark: Mark) -> set[UUID]:
    found = {each["by"] for each in told if each["by"] is not None} | {note.recorded_by for note in notes}
    if mark.handover is not None and mark.handover.acknowledged_by is not None:
        found.add(mark.handover.acknowledged_by)
    return found


def _shown(line: lines.Line, called: Mapping[UUID, str], people: Mapping[UUID, str]) -> lines.Line:
    """A line with names for ids; a swap's `what` is the cylinder that was taken off."""
    shown = {"subject": called.get(line["subject_id"]), **line}
    shown["by"] = None if line["by"] is None else people[line["by"]]
    if line["kind"] == "swap":
        shown["what"] = called.get(UUID(line["what"]), line["what"])
    return shown


def _stop(system: System | None, told: list[lines.Line]) -> dict[str, Any]:
    return {
        "system_id": system and system.id,
        "tag": system and system.tag,
        "name": system and system.name,
        "quarantine_class": system and system.quarantine_class,
        "lines": [{name: value for name, value in each.items() if name != "system_id"} for each in told],
    }


def _mark(mark: Mark, people: Mapping[UUID, str]) -> dict[str, Any] | None:
    row = mark.handover
    if row is None or row.acknowledged_by is None:
        return None
    return {"handover_id": row.id, "by": people[row.acknowledged_by], "at": mark.since}


def _note(row: Handover, called: Mapping[UUID, str], people: Mapping[UUID, str]) -> dict[str, Any]:
    return {
        "id": row.id,
        "subject_id": row.subject_id,
        "subject": None if row.subject_id is None else called.get(row.subject_id),
        "text": row.entered["text"],
        "written_at": row.at,
        "by": row.entered.get("written_by") or people[row.recorded_by],
        "shift": row.shift,
    }
