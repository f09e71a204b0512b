"""Procedures at a place: which can be begun, which run is under way and waits for what, and a run as a sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.access.names import names
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.sites.models import Site
from service.resources.records.commissionings.models import Commissioning, body, next_step, standing
from service.resources.records.commissionings.queries import signed_runs
from service.resources.records.procedures.models import DURATION, Measured, Procedure, Step
from service.resources.records.procedures.queries import procedures
from service.science.quantities import QUANTITIES
from service.web.phone.places import Place

SIGNED_SHOWN = 5


@dataclass(frozen=True)
class UnderWay:
    """A run that is not signed yet: where, which, and the step it waits at (None: only for its signature)."""

    place: Place
    run: Commissioning
    title: str
    step: str | None
    is_to_be_signed: bool

    @property
    def path(self) -> str:
        """Where it goes on."""
        return f"{self.place.path}/{self.run.procedure}"


def fitting(kind: str) -> list[Procedure]:
    """The procedures done to a kind of thing."""
    return [procedure for procedure in procedures().values() if kind in procedure.subjects]


def under_way(places: Sequence[Place], open_runs: Sequence[Commissioning]) -> list[UnderWay]:
    """The runs that are not signed yet, at these places, the oldest first."""
    at = {place.id: place for place in places}
    return [_standing(at[run.subject_id], run) for run in open_runs if run.subject_id in at]


def _standing(place: Place, run: Commissioning) -> UnderWay:
    procedure = run.asked
    step = next_step(run, procedure)
    is_recorded = step is not None and standing(run, step.code) is not None
    return UnderWay(place, run, procedure.title, None if step is None else step.title, step is None or is_recorded)


@dataclass(frozen=True)
class Signed:
    """A signed run: where, which, and the site's day on which it was signed."""

    place: Place
    run: Commissioning
    title: str
    day: date

    @property
    def path(self) -> str:
        """Where its record is read."""
        return f"/phone/runs/{self.run.id}"


def signed(session: Session, site: Site, places: Sequence[Place]) -> list[Signed]:
    """The runs signed last at these places of a site, the newest first."""
    at = {place.id: place for place in places}
    zone = ZoneInfo(site.time_zone)
    return [
        Signed(at[run.subject_id], run, run.asked.title, run.signed_at.astimezone(zone).date())
        for run in signed_runs(session, list(at), limit=SIGNED_SHOWN)
        if run.signed_at is not None
    ]


@dataclass(frozen=True)
class StepField:
    """The value a step asks for, as a field: its title, unit, bounds, and what it may be a reading of."""

    title: str
    quantity: str
    unit: str
    low: float
    high: float
    above: str | None
    subjects: list[tuple[UUID, str]]


def field_of(session: Session, step: Step, place: Place, places: Sequence[Place]) -> StepField | None:
    """The field of a step that asks for a value; None for any other."""
    hold = step.hold
    if not isinstance(hold, Measured):
        return None
    title = DURATION if hold.quantity == DURATION else QUANTITIES[hold.quantity].title
    found = subjects_of(session, hold, place, places)
    return StepField(title, hold.quantity, hold.unit, hold.low, hold.high, hold.above, found)


def subjects_of(session: Session, hold: Measured, place: Place, places: Sequence[Place]) -> list[tuple[UUID, str]]:
    """What a value may be recorded as a reading of, the likeliest first: the run's own subject, then its own room's."""
    piece = session.get(Equipment, place.id)
    room_id = None if piece is None else piece.room_id
    there = [each for each in places if each.kind in hold.subject and each.kind != place.kind]
    there.sort(key=lambda each: (hold.subject.index(each.kind), each.id != room_id, each.tag))
    own = [place] if place.kind in hold.subject else []
    return [(each.id, each.name if each.name == each.tag else f"{each.name} ({each.tag})") for each in [*own, *there]]


def snapshot(session: Session, run: Commissioning | None, at: datetime) -> dict[str, Any]:
    """What the modules are told of a run: how it stands, and the names behind its ids; JSON values."""
    if run is None:
        return {"at": at.isoformat(), "run": None, "names": {}}
    shown = body(run)
    steps = [
        {name: each[name] for name in ("code", "title", "state", "evidence", "taken_back")} for each in shown["steps"]
    ]
    told = {
        "id": str(run.id),
        "version": run.version,
        "started_at": run.at.isoformat(),
        "recorded_by": str(run.recorded_by),
        "next_step": shown["next_step"],
        "steps": steps,
    }
    return {"at": at.isoformat(), "run": told, "names": signers(session, shown)}


def signers(session: Session, shown: Mapping[str, Any]) -> dict[str, str]:
    """The names of everybody who began, recorded, signed or took back in a run, by their ids as text."""
    ids = {shown["recorded_by"]}
    for step in shown["steps"]:
        for evidence in (step["evidence"], *step["taken_back"]):
            if evidence is not None:
                ids.add(UUID(evidence["recorded_by"]))
                ids |= {UUID(evidence[each]["by"]) for each in ("second", "taken_back") if evidence[each] is not None}
    if shown["signed"] is not None:
        ids.add(shown["signed"]["by"])
    return {str(each): name for each, name in names(session, ids).items()}
