"""What the form can be about: a system, a tank, a room or a piece of equipment, found by the code on its label."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from sqlmodel import Session, select

from service.access.caller import Scope
from service.computations.rounds.answer import walking
from service.errors import NotFound
from service.resources.equipment.gas_lines.queries import line_of
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.models import RETIRED
from service.resources.places.rooms.models import Room
from service.resources.places.sites.models import Site
from service.resources.places.systems.models import System
from service.resources.places.tanks.models import Tank
from service.resources.places.tanks.queries import stays
from service.storage.subjects import Subject

Described = TypeVar("Described", System, Tank, Room)
CYLINDER = "co2_cylinder"


@dataclass(frozen=True)
class Place:
    """One subject as the form names it. `system_id` is the system it is, or stands on, now."""

    id: UUID
    code: str
    kind: str
    tag: str
    name: str
    system_id: UUID | None = None
    quarantine_class: str | None = None

    @property
    def path(self) -> str:
        """Where its label leads."""
        return f"/t/{self.code}"

    @property
    def is_equipment(self) -> bool:
        """Whether it is a piece of equipment."""
        return self.kind not in ("system", "tank", "room", "reservoir")


def coded(session: Session, scope: Scope, code: str) -> Subject:
    """The subject with this code on its label, within the scope. Raises NotFound, also for another site's."""
    found = session.exec(
        select(Subject).where(Subject.label_code == code.lower(), scope.holds(Subject.site_id))
    ).first()
    if found is None:
        raise NotFound("Nothing here has this label. It may belong to another site, or the label is an old one.")
    return found


def of_site(session: Session, site: Site, at: datetime) -> list[Place]:
    """Everything on a site that one can stand in front of, in walking order: clean systems before quarantine.

    A system is followed by its tanks; then the equipment by kind, then the rooms. A number of queries that does not
    grow with the site.
    """
    codes = dict(session.exec(select(Subject.id, Subject.label_code).where(Subject.site_id == site.id)).all())
    systems = sorted(_rows(session, System, site.id), key=walking)
    tanks = _rows(session, Tank, site.id)
    stands_on = {
        stay.tank_id: stay.system_id for stay in stays(session, [tank.id for tank in tanks]) if stay.from_at <= at
    }
    found: list[Place] = []
    for system in systems:
        found.append(
            Place(system.id, codes[system.id], "system", system.tag, system.name, system.id, system.quarantine_class)
        )
        found += [
            Place(tank.id, codes[tank.id], "tank", tank.tag, tank.name, system.id, system.quarantine_class)
            for tank in tanks
            if stands_on.get(tank.id) == system.id
        ]
    found += [Place(tank.id, codes[tank.id], "tank", tank.tag, tank.name) for tank in tanks if tank.id not in stands_on]
    equipment = [row for row in pieces.of_site(session, site.id) if row.state != RETIRED]
    found += [
        Place(row.id, codes[row.id], row.kind, row.tag, row.name or row.tag)
        for row in sorted(equipment, key=lambda row: (row.kind, row.tag))
    ]
    found += [Place(row.id, codes[row.id], "room", row.tag, row.name) for row in _rows(session, Room, site.id)]
    return found


def spare_cylinders(session: Session, places: Sequence[Place], at: datetime) -> list[Place]:
    """The cylinders that are on no gas line now: one of them can be hung on."""
    cylinders = [place for place in places if place.kind == CYLINDER]
    in_use = line_of(session, [place.id for place in cylinders], at)
    return [place for place in cylinders if place.id not in in_use]


def is_on_a_line(session: Session, cylinder_id: UUID, at: datetime) -> bool:
    """Whether a cylinder is on a gas line now."""
    return cylinder_id in line_of(session, [cylinder_id], at)


def _rows(session: Session, table: type[Described], site_id: UUID) -> list[Described]:
    found: Any = table
    return list(session.exec(select(found).where(found.site_id == site_id).order_by(found.tag)))
