"""The days to come: alkalinity and pH under a plan and without it, with bands, and what the plan takes."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.consumption.answer import NO_VOLUME, Scaled, missing, per_day, set_aside, used
from service.computations.projection.costs import shown_reactor
from service.computations.projection.course import QUANTITY, courses, looks
from service.computations.projection.models import ProjectionSent
from service.computations.projection.ph import assumed, findings, lacks, ph_course, shown_exchange
from service.computations.projection.plan import lacking
from service.computations.projection.situation import Situation
from service.errors import Unacceptable
from service.resources.keeping.amounts import amount_in, refused
from service.resources.places.systems.models import System
from service.science.chamber_model import at_gas_and_drip, dissolving_l_d
from service.science.ph_course import ph_course_nbs
from service.science.projection import Ahead, project, start_of

MOST_A_DAY_MEQ_L = 0.35665
ASSUMED = (
    "What runs in now goes on: drips, exchanges, pumps and limewater as in the last three days (known "
    "to 5 %), doses at once as in the last fortnight (to 30 %). Water changes go on only as planned.",
    "Demand goes on wandering as it has.",
    "At constant gas what dissolves stays as the tank rises; where pH is controlled or the effluent at its ceiling the "
    "effluent stays, and the supply shrinks as the tank rises.",
    "A chamber under another gas flow or drip dissolves in proportion to its distance from saturation, the part of the "
    "gas that dissolves staying the same; of the change so foretold a fifth is one sd.",
)
CAUTIONS = (
    "A forecast is no permission: turn in steps, test after each, and watch the animals. Limewater is caustic and "
    "never goes on top of a reactor that meets full demand.",
    "More gas is more risk: CO2 is toxic at a few per cent while oxygen still reads normal. Follow local codes, the "
    "gas supplier and the site's safety officer.",
)


def shown(situation: Situation, sent: ProjectionSent) -> dict[str, Any]:
    """The answer; every key is there whether or not the records can tell."""
    scaled, gathered, reactors = _scaled(sent.unit), situation.gathered, situation.reactors
    answer: dict[str, Any] = {
        "system_id": situation.system.id,
        "at": situation.at,
        "days": sent.days,
        "course": None, "unchanged": None, "largest_change": None, "ph": None,
        "gas_exchange": shown_exchange(situation.exchange),
        "reactors": [shown_reactor(each) for each in reactors],
        "used": {}, "set_aside": [], "missing": [], "findings": [], "advice": [],
        "assumptions": [*ASSUMED, *assumed(situation.exchange)],
        "sources": sources_of(project, start_of, at_gas_and_drip, dissolving_l_d, ph_course_nbs),
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    if gathered is None or situation.water.volume_l is None:
        return {**answer, "missing": [NO_VOLUME]}
    estimates = looks(gathered, situation.at)
    now = estimates[0]
    answer.update(
        used=used(gathered, now),
        set_aside=set_aside(gathered, now, scaled),
        assumptions=[*answer["assumptions"], *gathered.inputs.assumptions],
        missing=[
            *(missing(gathered, QUANTITY, lack) for lack in now.missing), *lacking(reactors), *lacks(situation, sent),
        ],
    )  # fmt: skip
    if any(each.expected is None for each in estimates) or lacking(reactors):
        return answer
    ahead = courses(situation, sent, estimates)
    ph = ph_course(situation, sent, ahead.planned, ahead.moved)
    return {
        **answer,
        "course": _course(ahead.planned, situation.at, scaled),
        "unchanged": _course(ahead.unchanged, situation.at, scaled),
        "largest_change": _largest(ahead.planned, scaled),
        "ph": ph,
        "findings": [*_findings(situation.system, sent, ahead.planned, scaled), *findings(situation, ph)],
        "assumptions": [*answer["assumptions"], ahead.words],
    }


def _scaled(unit: str | None) -> Scaled:
    """Levels in the unit asked for. Raises Unacceptable naming it."""
    try:
        return Scaled(QUANTITY, None if unit is None else per_day(unit))
    except Unacceptable as error:
        detail = "A unit of alkalinity is expected, such as meq/L, dKH or mg/L CaCO3."
        raise refused("/unit", detail, unit) from error


def _course(ahead: Ahead, at: datetime, scaled: Scaled) -> dict[str, Any]:
    return {
        "at": [at + timedelta(days=float(day)) for day in ahead.at_days],
        "value": [scaled.level(float(each)) for each in ahead.value],
        "low": [scaled.level(float(each)) for each in ahead.low],
        "high": [scaled.level(float(each)) for each in ahead.high],
        "unit": scaled.level_unit,
    }


def _largest(ahead: Ahead, scaled: Scaled) -> dict[str, Any]:
    """The largest change in one day by the middle of the band; its ends by the band's own movement."""
    moved = [np.diff(each) for each in (ahead.value, ahead.low, ahead.high)]
    index = int(np.abs(moved[0]).argmax())
    ends = sorted(float(each[index]) for each in moved[1:])
    value = float(moved[0][index])
    low, high = min(ends[0], value), max(ends[1], value)
    numbers = {name: scaled.level(each) for name, each in (("value", value), ("low", low), ("high", high))}
    return {**numbers, "level": LEVEL, "unit": scaled.level_unit}


def _findings(system: System, sent: ProjectionSent, ahead: Ahead, scaled: Scaled) -> list[dict[str, Any]]:
    most = MOST_A_DAY_MEQ_L
    if sent.most_a_day is not None:
        most = amount_in(sent.most_a_day, "meq/L", pointer="/most_a_day", above=0)
    moved = np.diff(ahead.value)
    found = []
    if np.any(np.abs(moved) > most):
        day = int(np.abs(moved).argmax())
        by, stages = scaled.level(float(moved[day])), int(np.ceil(abs(moved[day]) / most))
        detail = (
            f"On day {day + 1} the plan moves alkalinity by {by:+.2f} {scaled.level_unit}, more than the "
            f"{scaled.level(most):.2f} allowed: take it in {stages} stages or more, a few days apart."
        )
        found.append(remark("too_fast", detail, system.id))
    if float(ahead.low[-1]) <= 0.0:
        detail = "Under this plan the system may run out of alkalinity within these days: it is starved of supply."
        found.append(remark("starved", detail, system.id))
    return found
