"""The systems that a reactor feeds, as their records show them now: level, demand, pH, and what else reaches them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np
from sqlmodel import Session, col, select

from service.computations.consumption.answer import estimates
from service.computations.consumption.gather import Gathered
from service.computations.consumption.gather import gather as gather_consumption
from service.computations.output_balance.numbers import Number, Z
from service.computations.output_balance.situation import Others
from service.computations.timeframe import volumes
from service.resources.places.set_points import queries as set_points
from service.resources.places.systems.models import System
from service.resources.records.queries import Course, system_courses
from service.science.answer import ConsumptionEstimate
from service.science.answering import Answer, fit_answers
from service.storage.types import microseconds

RECORDS = timedelta(days=180)
FRESH = timedelta(days=28)  # an older check says little about today
SOUND = timedelta(days=7)  # pH has a day and a week: a mean is compared, not one reading
DOSED = timedelta(days=14)  # what was dosed in this time is what is dosed a day
JUST_AFTER = timedelta(microseconds=1)
USUAL_C = 25.0
Estimated = tuple[Gathered, ConsumptionEstimate]
WATER_QUANTITIES = ("ph", "temperature", "salinity")


@dataclass(frozen=True)
class Water:
    """A system's water now. `others` leaves the reactors out."""

    system: System
    volume_l: float | None
    alkalinity: Number | None
    demand: Number | None
    ph: Number | None
    temperature_c: float | None
    salinity: float
    others: Others
    tests: Course | None = None  # of its alkalinity
    answer: Answer | None = None  # of its demand to its level


def waters(
    session: Session, system_ids: Sequence[UUID], at: datetime, *, known: Mapping[UUID, Estimated] | None = None
) -> dict[UUID, Water]:
    """The water of each system; the number of queries does not grow with them.

    `known`: the alkalinity of systems as it was gathered and estimated for this instant already.
    """
    systems = list(session.exec(select(System).where(col(System.id).in_(system_ids))))
    stated = volumes(session, system_ids)
    held = set_points.history(session, system_ids, quantity="reference_salinity")
    found = estimated(session, systems, at) if known is None else known
    answers = answers_of({key: found[key] for key in system_ids if key in found})  # `known` may be a whole site's
    read = {
        quantity: system_courses(session, system_ids, quantity, start=at - FRESH, end=at + JUST_AFTER)
        for quantity in WATER_QUANTITIES
    }
    made = {}
    for system in systems:
        volume = stated[system.id]
        salinity = set_points.in_force(held[system.id], at).get("reference_salinity")
        made[system.id] = _water(
            system,
            None if volume is None else volume.at(at),
            found.get(system.id),
            answers.get(system.id),
            {quantity: read[quantity][system.id] for quantity in WATER_QUANTITIES},
            system_salinity=35.0 if salinity is None else salinity.value,
            at=at,
        )
    return made


def estimated(session: Session, systems: Sequence[System], at: datetime) -> dict[UUID, Estimated]:
    """The alkalinity of each system at an instant; those whose volume was never stated are left out."""
    gathered = gather_consumption(session, systems, "alkalinity", start=at - RECORDS, end=at + JUST_AFTER)
    known = [each for each in gathered.values() if each is not None]
    answers = estimates(known, "alkalinity", at=at) if known else []
    return {each.system.id: (each, answer) for each, answer in zip(known, answers, strict=True)}


def _water(
    system: System,
    volume_l: float | None,
    found: Estimated | None,
    answer: Answer | None,
    read: Mapping[str, Course],
    *,
    system_salinity: float,
    at: datetime,
) -> Water:
    estimate = None if found is None else found[1]
    expected = None if estimate is None else estimate.expected
    return Water(
        system=system,
        volume_l=volume_l,
        alkalinity=None if expected is None else Number(expected.value, expected.sd),
        demand=None if volume_l is None else _demand(estimate, volume_l),
        ph=_mean_ph(read["ph"], at),
        temperature_c=_last(read["temperature"]),
        salinity=_last(read["salinity"]) or system_salinity,
        others=Others() if found is None or volume_l is None else _others(found[0], volume_l, at),
        tests=None if found is None else found[0].course,
        answer=answer,
    )


def answers_of(found: Mapping[UUID, Estimated]) -> dict[UUID, Answer | None]:
    """How far the demand of each system answers to its own level, None where its record does not tell."""
    known = {key: each for key, each in found.items() if each[1].expected is not None}
    answers = fit_answers(
        histories=[gathered.history for gathered, _ in known.values()],
        at_days=np.array([estimate.expected.at_days for _, estimate in known.values() if estimate.expected]),
    )
    return dict(zip(known, answers, strict=True))


def _demand(estimate: ConsumptionEstimate | None, volume_l: float) -> Number | None:
    """All that the system takes, meq/d. The volume's error is in the estimate."""
    if estimate is None or estimate.value is None or estimate.low is None or estimate.high is None:
        return None
    return Number(estimate.value, (estimate.high - estimate.low) / (2 * Z)).times(volume_l)


def _others(gathered: Gathered, volume_l: float, at: datetime) -> Others:
    """What was dosed a day of late, and the water exchanged a day, with its alkalinity."""
    now = gathered.clock.days(at)
    since = now - DOSED / timedelta(days=1)
    history = gathered.history
    doses = history.doses
    lasting = np.maximum(doses.end_days - doses.start_days, 1e-3)
    within = np.clip(np.minimum(doses.end_days, now) - np.maximum(doses.start_days, since), 0.0, None)
    at_once = (doses.end_days == doses.start_days) & (doses.start_days >= since) & (doses.start_days <= now)
    daily = np.where(at_once, 1.0, within / lasting) * doses.amount / (now - since) * volume_l
    changes = history.water_changes
    recent = (changes.at_days >= since) & (changes.at_days <= now)
    flows = [
        (float(f), float(a))
        for f, a in zip(changes.fraction[recent] / (now - since), changes.new_value[recent], strict=True)
    ]
    for feed in history.feeds:
        runs = (feed.from_days is None or feed.from_days <= now) and (feed.to_days is None or feed.to_days > now)
        if feed.name.startswith("exchange") and runs and len(feed.flow.value) and len(feed.inflow.value):
            flows.append((float(feed.flow.value[-1]), float(feed.inflow.value[-1])))
    exchange = sum(flow for flow, _ in flows)
    return Others(
        supply=Number(float(daily.sum()), float(np.sqrt(((daily * doses.relative_sd) ** 2).sum()))),
        exchange_l_d=exchange * volume_l,
        exchange_alkalinity=sum(flow * level for flow, level in flows) / exchange if exchange else 0.0,
    )


def _mean_ph(course: Course, at: datetime) -> Number | None:
    """The mean of a week, or of four when the week has none: one reading says which hour it was."""
    if not len(course):
        return None
    recent = course.at_us >= microseconds(at - SOUND)
    if not recent.any():
        recent = np.ones(len(course), dtype=np.bool_)
    values = course.value[recent]
    scatter = float(values.std() / np.sqrt(len(values)))
    return Number(float(values.mean()), max(float(course.sd[recent].mean()), scatter))


def _last(course: Course) -> float | None:
    return float(course.value[-1]) if len(course) else None
