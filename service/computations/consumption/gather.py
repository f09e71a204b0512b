"""From records to histories: what is known of one quantity in many systems, in the arrays the estimate takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session

from service.computations.consumption.inputs import Inputs, inputs_of, recorded
from service.computations.timeframe import Clock, Volume, volumes
from service.resources.places.systems.models import System
from service.resources.records.check_standards import StandardRead, check_standards
from service.resources.records.queries import Course, system_courses
from service.science.history import Readings, SystemHistory

BY_PROBE = (
    "A probe's series counts as one reading a day, the mean of 24 hours, known no better than one reading of its "
    "method: its error is the same all day."
)


@dataclass(frozen=True)
class Gathered:
    """One system's history, and the records behind it."""

    system: System
    clock: Clock
    history: SystemHistory
    course: Course
    inputs: Inputs
    standards: tuple[StandardRead, ...] = ()  # of the site's kits, read with a known lot


def gather(
    session: Session, systems: Sequence[System], quantity: str, *, start: datetime, end: datetime
) -> dict[UUID, Gathered | None]:
    """The history of a quantity in each system from start to before end; None where no water volume was ever stated.

    The number of queries does not grow with the number of systems.
    """
    return gather_several(session, systems, (quantity,), start=start, end=end)[quantity]


def gather_several(
    session: Session, systems: Sequence[System], quantities: Sequence[str], *, start: datetime, end: datetime
) -> dict[str, dict[UUID, Gathered | None]]:
    """The same of several quantities, whose inputs are read once."""
    ids = [system.id for system in systems]
    clock = Clock(start)
    stated = volumes(session, ids)
    inputs = recorded(session, ids, start, end)
    sites = sorted({system.site_id for system in systems})
    read = quantities if "calcium" not in quantities else {*quantities, "alkalinity"}
    courses = {quantity: system_courses(session, ids, quantity, start=start, end=end) for quantity in read}
    alkalinity = courses.get("alkalinity", {})
    return {
        quantity: _histories(
            systems,
            stated,
            courses[quantity],
            inputs_of(inputs, stated, quantity, clock=clock, end=end, alkalinity=alkalinity),
            check_standards(session, sites, quantity, start=start, end=end),
            clock,
        )
        for quantity in quantities
    }


def _histories(
    systems: Sequence[System],
    stated: Mapping[UUID, Volume | None],
    courses: Mapping[UUID, Course],
    inputs: Mapping[UUID, Inputs],
    standards: Mapping[UUID, Sequence[StandardRead]],
    clock: Clock,
) -> dict[UUID, Gathered | None]:
    return {
        system.id: None
        if volume is None
        else _gathered(system, clock, courses[system.id], inputs[system.id], volume, standards[system.site_id])
        for system in systems
        for volume in [stated[system.id]]
    }


def _gathered(
    system: System,
    clock: Clock,
    course: Course,
    inputs: Inputs,
    volume: Volume,
    standards: Sequence[StandardRead],
) -> Gathered:
    readings = Readings(
        at_days=clock.days_of(course.at_us),
        value=course.value,
        sd=course.sd,
        replicate_group=course.replicate_group,
        lot=course.lot,
    )
    history = SystemHistory(
        readings=readings,
        doses=inputs.doses,
        water_changes=inputs.water_changes,
        feeds=inputs.feeds,
        volume_relative_sd=volume.relative_sd,
    )
    if course.is_mean.any():
        inputs.assumptions.append(BY_PROBE)
    return Gathered(system, clock, history, course, inputs, tuple(standards))
