"""From records to histories: what is known of one quantity in many systems, in the arrays the estimate takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from uuid import UUID

import numpy as np
from sqlmodel import Session

from service.computations.consumption.inputs import Inputs, inputs_of, recorded
from service.computations.timeframe import Clock, Volume, volumes
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.resources.places.systems.models import System
from service.resources.records.check_standards import StandardRead, check_standards
from service.resources.records.queries import Course, system_courses
from service.science.dilution import dilution, weeks_until
from service.science.history import Doses, Readings, SystemHistory
from service.science.water_course import SALINITY, WaterCourse, water_courses

SEAWATER_SALINITY = 35.0
DILUTED = (
    "What a changing salinity dilutes or concentrates is taken out of the consumption, by the smoothed course of "
    "salinity between water changes, wherever that is known to 0.03 a day."
)
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
    reference_salinity: float = SEAWATER_SALINITY
    salinity: WaterCourse | None = None  # by weeks, the last instant that of the gathering
    diluted: Doses = field(default_factory=Doses)  # what dilution has brought of the quantity, beside the history

    @property
    def usual_level(self) -> float:
        """About where the quantity stands: the median of what was read; NaN without a reading."""
        return float(np.median(self.course.value)) if len(self.course) else float("nan")


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
    references = _references(set_points.history(session, ids, quantity="reference_salinity"), end)
    read = {*quantities, "salinity"} | ({"alkalinity"} if "calcium" in quantities else set())
    courses = {quantity: system_courses(session, ids, quantity, start=start, end=end) for quantity in read}
    alkalinity = courses.get("alkalinity", {})
    standards = check_standards(session, sites, quantities, start=start, end=end)
    found = {
        quantity: _histories(
            systems,
            stated,
            courses[quantity],
            inputs_of(
                inputs, stated, quantity,
                clock=clock, end=end, alkalinity=alkalinity, reference_salinity=references,
            ),
            standards.get(quantity, {}),
            clock,
        )
        for quantity in (*quantities, "salinity")
    }  # fmt: skip
    salty = _salinity([each for each in found["salinity"].values() if each is not None], clock.days(end))
    return {
        quantity: {
            system_id: each and _watered(each, found["salinity"][system_id], salty[system_id], references[system_id])
            for system_id, each in found[quantity].items()
        }
        for quantity in quantities
    }


def _references(settings: Mapping[UUID, Sequence[SetPoint]], end: datetime) -> dict[UUID, float]:
    """The reference salinity of each system in force at an instant."""
    held = {system_id: set_points.in_force(rows, end) for system_id, rows in settings.items()}
    return {
        system_id: rows["reference_salinity"].value if rows else SEAWATER_SALINITY for system_id, rows in held.items()
    }


def _salinity(gathered: Sequence[Gathered], at_day: float) -> dict[UUID, WaterCourse | None]:
    """The smoothed course of salinity of many systems, at every week of the window."""
    instants = weeks_until(first_day=0.0, at_day=at_day)
    found = water_courses(
        histories=[each.history for each in gathered], at_days=[instants] * len(gathered), pace=SALINITY
    )
    return {each.system.id: course for each, course in zip(gathered, found, strict=True)}


def _watered(gathered: Gathered, salty: Gathered | None, course: WaterCourse | None, reference: float) -> Gathered:
    """The same with what is known of the water's salinity, and what that has diluted."""
    if salty is None or course is None or not len(gathered.course):
        return replace(gathered, reference_salinity=reference)
    diluted = dilution(course=course, level=gathered.usual_level, salt=salty.history.doses)
    if len(diluted.amount):
        gathered.inputs.assumptions.append(DILUTED)
    return replace(gathered, reference_salinity=reference, salinity=course, diluted=diluted)


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
        else _gathered(system, clock, courses[system.id], inputs[system.id], volume, standards.get(system.site_id, ()))
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
