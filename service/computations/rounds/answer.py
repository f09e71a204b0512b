"""Today's round of a site, from what is usually read and what is planned; a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.access.caller import Scope
from service.computations.rounds.cadence import due_on
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.models import RETIRED
from service.resources.places.rooms.models import Room
from service.resources.places.sites.models import Site
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System
from service.resources.places.tanks.models import Tank
from service.resources.places.tanks.queries import stays_on
from service.resources.records.maintenance_plans import queries as plans
from service.resources.records.readings.queries import read_at
from service.science.quantities import QUANTITIES
from service.storage.subjects import Subject

WALKED_FIRST = ("clean", "observation", "quarantine")
Due = dict[str, Any]


def walking(system: System) -> tuple[int, str]:
    """The order in which systems are walked: nothing is carried from quarantine into clean water."""
    return WALKED_FIRST.index(system.quarantine_class), system.tag


def todays_round(session: Session, scope: Scope, site: Site, at: datetime) -> dict[str, Any]:
    """The round of the site's day that an instant lies in (shape: `models.RoundRead`)."""
    there = sorted(systems.of_site(session, site.id), key=walking)
    belongs = system_of(session, there, at)
    due = [*_readings(session, site, at), *_planned(session, scope, site, at)]
    names = _names(session, site.id, there)
    codes = dict(session.exec(select(Subject.id, Subject.label_code).where(Subject.site_id == site.id)).all())
    due = [
        {**each, "subject_name": names[each["subject_id"]], "label_code": codes[each["subject_id"]]}
        for each in due
        if each["subject_id"] in names
    ]
    stops = [_stop(row, [each for each in due if belongs.get(each["subject_id"]) == row.id]) for row in there]
    stops.append(_stop(None, [each for each in due if each["subject_id"] not in belongs]))
    return {
        "site_id": site.id,
        "day": at.astimezone(ZoneInfo(site.time_zone)).date(),
        "count": len(due),
        "done": sum(each["done"] for each in due),
        "stops": [stop for stop in stops if stop["due"]],
    }


def _stop(system: System | None, due: Iterable[Due]) -> dict[str, Any]:
    return {
        "system_id": system and system.id,
        "tag": system and system.tag,
        "name": system and system.name,
        "quarantine_class": system and system.quarantine_class,
        "due": sorted(due, key=lambda each: (each["kind"] != "reading", each["subject_name"], each["what"])),
    }


def _readings(session: Session, site: Site, at: datetime) -> list[Due]:
    """Every quantity that is usually read by today, those read today included."""
    zone = ZoneInfo(site.time_zone)
    today = at.astimezone(zone).date()
    found = []
    for (subject_id, quantity), instants in read_at(session, site.id, at=at).items():
        days = sorted({instant.astimezone(zone).date() for instant in instants})
        due = due_on(days, today)
        if due is not None and due <= today:
            what = QUANTITIES[quantity].title if quantity in QUANTITIES else quantity
            found.append(_due("reading", subject_id, what, due, max(instants), quantity=quantity, done=today in days))
    return found


def _planned(session: Session, scope: Scope, site: Site, at: datetime) -> list[Due]:
    found = plans.due_within(session, plans.of_sites(session, scope, site.id), at, 0)
    return [
        _due(
            "maintenance",
            each.plan.subject_id,
            each.plan.what,
            each.next_due_on,
            each.last_done_at,
            plan_id=each.plan.id,
        )
        for each in found
    ]


def _due(
    kind: str,
    subject_id: UUID,
    what: str,
    on: Any,
    last_at: datetime | None,
    *,
    quantity: str | None = None,
    plan_id: UUID | None = None,
    done: bool = False,
) -> Due:
    return {
        "kind": kind,
        "subject_id": subject_id,
        "quantity": quantity,
        "plan_id": plan_id,
        "what": what,
        "due_on": on,
        "last_at": last_at,
        "done": done,
    }


def system_of(session: Session, there: list[System], at: datetime) -> Mapping[UUID, UUID]:
    """The system that each system, tank and reactor belongs to now."""
    ids = [row.id for row in there]
    found = {
        stay.tank_id: stay.system_id
        for stay in stays_on(session, ids)
        if stay.from_at <= at and (stay.to_at is None or at < stay.to_at)
    }
    for feed in feeds_into(session, ids):
        if feed.span.holds_at(at):
            found.setdefault(feed.reactor_id, feed.system_id)
    return {**found, **{system_id: system_id for system_id in ids}}


def _names(session: Session, site_id: UUID, there: list[System]) -> dict[UUID, str]:
    """The names of what can be due: retired pieces are not."""
    equipment = [row for row in pieces.of_site(session, site_id) if row.state != RETIRED]
    tanks = session.exec(select(Tank).where(col(Tank.site_id) == site_id))
    rooms = session.exec(select(Room).where(col(Room.site_id) == site_id))
    return {
        **{row.id: row.name for row in (*there, *rooms)},
        **{row.id: row.name for row in tanks},
        **{row.id: row.name or row.tag for row in equipment},
    }
