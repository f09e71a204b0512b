"""What changed on a site since somebody last took it over; a fixed number of queries."""

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
from service.reports.handover.mark import Mark
from service.reports.handover.pressing import presses
from service.reports.page import readings_of
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.happenings import labels
from service.reports.weekly.weeks import week_of
from service.resources.places.set_points import queries as set_points
from service.resources.places.sites.models import Site
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System
from service.resources.records.handovers.models import Handover
from service.resources.records.handovers.queries import notes_behind
from service.resources.records.photos.queries import of_records
from service.resources.records.readings.queries import known_of
from service.resources.records.takeovers.models import Takeover
from service.storage.trail import head

Report = Mapping[str, Any]
WAITS = ("overdue", "change_cylinder")  # of what the weekly report has to do: the rest is advice, not a shift's


def handover_report(session: Session, site: Site, mark: Mark, at: datetime) -> dict[str, Any]:
    """What changed on a site behind a mark (shape: `models.HandoverReport`), system by system in walking order."""
    last = head(session, site.id)
    found = happened(session, site.id, mark.seq)
    now, then = (_weekly(session, site, each) for each in (at, mark.since))
    there = sorted(systems.of_site(session, site.id), key=walking)
    belongs = system_of(session, there, at)
    told = _told(session, found, mark, now, then, belongs)
    notes = notes_behind(session, site.id, mark.seq)
    subjects = {each["subject_id"] for each in told} | {note.subject_id for note in notes}
    subjects |= {UUID(each["what"]) for each in told if each["kind"] == "swap"}
    called = labels(session, {each for each in subjects if each is not None})
    people = names(session, _people(told, notes, mark))
    pictures = of_records(session, {*(each["record_id"] for each in told), *(note.id for note in notes)} - {None})
    shown = [_shown(each, called, people, pictures) for each in told]
    stops = [_stop(row, [each for each in shown if each["system_id"] == row.id]) for row in there]
    stops.append(_stop(None, [each for each in shown if each["system_id"] is None]))
    return {
        "site_id": site.id,
        "since": mark.since,
        "mark": _mark(mark, people),
        "beside": [_taken_over(each, people) for each in mark.beside],
        "at": at,
        "read_to": last.seq if last else 0,
        "notes": [_note(note, called, people, pictures) for note in notes],
        "waiting": _waiting(now, then),
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
    return [*_findings("finding", now, then, belongs), *_findings("gone", then, now, belongs), *placed]


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


def _findings(kind: str, of: Report, beside: Report, belongs: Mapping[UUID, UUID]) -> list[lines.Line]:
    """What is found in one report and not in the other."""
    known = {(each["code"], each["subject_id"]) for each in beside["findings"]}
    return [
        {
            "kind": kind,
            "code": each["code"],
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
        for each in of["findings"]
        if (each["code"], each["subject_id"]) not in known
    ]


def _people(told: list[lines.Line], notes: list[Handover], mark: Mark) -> set[UUID]:
    found = {each["by"] for each in told} | {note.recorded_by for note in notes}
    found |= {note.acknowledged_by for note in notes} | {each.recorded_by for each in mark.beside}
    if mark.takeover is not None:
        found.add(mark.takeover.recorded_by)
    return {each for each in found if each is not None}


def _shown(
    line: lines.Line, called: Mapping[UUID, str], people: Mapping[UUID, str], pictures: Mapping[UUID, list[UUID]]
) -> lines.Line:
    """A line with names for ids; a swap's `what` is the cylinder that was taken off."""
    shown = {"subject": called.get(line["subject_id"]), "code": None, **line, "presses": presses(line)}
    shown["photo_ids"] = pictures.get(line["record_id"], [])
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
    return None if mark.takeover is None else _taken_over(mark.takeover, people)


def _taken_over(row: Takeover, people: Mapping[UUID, str]) -> dict[str, Any]:
    return {"takeover_id": row.id, "by": people[row.recorded_by], "at": row.at}


def _waiting(now: Report, then: Report) -> list[dict[str, Any]]:
    """Work that is overdue and cylinders to be changed soon, what was not so at the mark first."""
    known = {_key(each) for each in then["to_do"]}
    waiting = [{**each, "is_new": _key(each) not in known} for each in now["to_do"] if each["code"] in WAITS]
    return sorted(waiting, key=lambda each: not each["is_new"])


def _key(task: Mapping[str, Any]) -> tuple[Any, ...]:
    """A task whichever day it is told: the day a cylinder is needed by moves with every weighing."""
    return task["code"], task["subject_id"], task["by"] if task["code"] == "overdue" else None


def _note(
    row: Handover, called: Mapping[UUID, str], people: Mapping[UUID, str], pictures: Mapping[UUID, list[UUID]]
) -> dict[str, Any]:
    return {
        "id": row.id,
        "subject_id": row.subject_id,
        "subject": None if row.subject_id is None else called.get(row.subject_id),
        "text": row.entered["text"],
        "written_at": row.at,
        "by": row.entered.get("written_by") or people[row.recorded_by],
        "shift": row.shift,
        "acknowledged_at": row.acknowledged_at,
        "acknowledged_by": None if row.acknowledged_by is None else people[row.acknowledged_by],
        "photo_ids": pictures.get(row.id, []),
    }
