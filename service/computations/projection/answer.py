"""The days to come: alkalinity and pH under a plan and without it, with bands, and what the plan takes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.calculations.limewater import CAUTIONS as LIMEWATER_CAUTIONS
from service.computations.consumption.answer import NO_VOLUME, Scaled, missing, per_day, set_aside, used
from service.computations.projection.costs import shown_reactor
from service.computations.projection.course import QUANTITY, looks, now_of
from service.computations.projection.minerals import ASSUMED as OF_MINERALS
from service.computations.projection.minerals import minerals, shown_mineral
from service.computations.projection.models import ProjectionSent
from service.computations.projection.ph import assumed, beyond, findings, lacks, ph_course, shown_exchange, shown_ph
from service.computations.projection.plan import lacking
from service.computations.projection.situation import Situation
from service.computations.projection.stages import (
    STAGED,
    Staged,
    shown_stages,
    staged,
    staging_advice,
    staging_findings,
)
from service.computations.projection.steps import as_sent
from service.computations.projection.wanted import (
    WANTED,
    Wanted,
    shown_wanted,
    wanted,
    wanted_advice,
    wanted_findings,
)
from service.errors import Unacceptable
from service.resources.keeping.amounts import refused
from service.science.chamber_model import at_gas_and_drip, dissolving_l_d
from service.science.limewater import split_for_wanted_ph
from service.science.ph_course import ph_course_nbs, share_at_rest
from service.science.projection import Ahead, project, start_of

USUAL_MEQ_L, MOVED_MEQ_L = (7.0 * 0.35665, 11.0 * 0.35665), 0.1
"""7 to 11 dKH (common practice), and what is no change."""
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
        "course": None, "unchanged": None, "largest_change": None, "ph": None, "calcium": None, "magnesium": None,
        "gas_exchange": shown_exchange(situation.exchange),
        "reactors": [shown_reactor(each) for each in reactors],
        "wanted": None, "stages": [],
        "used": {}, "set_aside": [], "missing": [], "findings": [], "advice": [],
        "assumptions": [*ASSUMED, *assumed(situation.exchange)],
        "sources": sources_of(project, start_of, at_gas_and_drip, dissolving_l_d, ph_course_nbs),
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    if gathered is None or situation.water.volume_l is None:
        return {**answer, "missing": [NO_VOLUME]}
    estimates = looks(gathered, situation.at)
    latest = estimates[0]
    answer.update(
        used=used(gathered, latest),
        set_aside=set_aside(gathered, latest, scaled),
        assumptions=[*answer["assumptions"], *gathered.inputs.assumptions],
        missing=[*(missing(gathered, QUANTITY, lack) for lack in latest.missing), *lacking(reactors)],
    )
    if any(each.expected is None for each in estimates) or lacking(reactors):
        return answer
    now = now_of(situation, estimates)
    found = wanted(situation, sent, now)
    if isinstance(found, str):
        return {**answer, "missing": [*answer["missing"], remark("wanted_ph", found, situation.system.id)]}
    step_at = as_sent(sent, reactors, situation.water.volume_l) if found is None else found.step_at
    plan = staged(situation, sent, now, step_at)
    answer |= _followed(situation, plan, scaled, answer)
    beside, lacks_beside = minerals(situation, sent, now, plan.steps)
    answer |= {quantity: shown_mineral(each, situation.at) for quantity, each in beside.items()}
    answer["missing"] = [*answer["missing"], *lacks_beside]
    answer["findings"] = [*staging_findings(situation, sent, plan, scaled), *answer["findings"]]
    answer["assumptions"] = [*answer["assumptions"], STAGED, OF_MINERALS, now.words]
    return answer if found is None else {**answer, **_for_wanted(situation, found, answer)}


def _followed(situation: Situation, plan: Staged, scaled: Scaled, answer: dict[str, Any]) -> dict[str, Any]:
    """What the plan makes of the water, day by day in its stages, and what that takes."""
    ahead, whole = plan.courses, plan.steps[-1]
    course = ph_course(situation, plan.steps, ahead.planned, ahead.moved)
    ph = shown_ph(course, situation.at)
    return {
        "course": _course(ahead.planned, situation.at, scaled),
        "unchanged": _course(ahead.unchanged, situation.at, scaled),
        "largest_change": _largest(ahead.planned, scaled),
        "ph": ph,
        "reactors": [shown_reactor(each) for each in whole.reactors],
        "stages": shown_stages(plan, situation.at),
        "missing": [*answer["missing"], *lacks(situation, whole), *beyond(situation, whole, course)],
        "findings": [*_levels(situation, ahead.planned, scaled), *findings(situation, ph)],
        "advice": staging_advice(situation, plan, scaled),
    }


def _for_wanted(situation: Situation, found: Wanted, answer: dict[str, Any]) -> dict[str, Any]:
    """What a wanted pH adds to the answer."""
    return {
        "wanted": shown_wanted(situation, found),
        "findings": [*wanted_findings(situation, found), *answer["findings"]],
        "advice": [wanted_advice(situation, found), *answer["advice"]],
        "assumptions": [*WANTED, *answer["assumptions"]],
        "sources": sources_of(
            split_for_wanted_ph, share_at_rest, project, start_of, at_gas_and_drip, dissolving_l_d, ph_course_nbs
        ),
        "cautions": [*answer["cautions"], *LIMEWATER_CAUTIONS],
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


def _levels(situation: Situation, ahead: Ahead, scaled: Scaled) -> Iterator[dict[str, Any]]:
    """A level that the plan takes out of what is usual, or further out, or that runs out."""
    if float(ahead.low[-1]) <= 0.0:
        detail = "Under this plan the system may run out of alkalinity within these days: it is starved of supply."
        yield remark("starved", detail, situation.system.id)
    (least, most), now = USUAL_MEQ_L, float(ahead.value[0])
    low, high = float(ahead.value.min()), float(ahead.value.max())
    for code, end, is_beyond, way in (
        ("alkalinity_low", low, low < min(least, now - MOVED_MEQ_L), "below"),
        ("alkalinity_high", high, high > max(most, now + MOVED_MEQ_L), "above"),
    ):
        if is_beyond:
            detail = (
                f"Alkalinity goes from {scaled.level(now):.2f} to {scaled.level(end):.2f} {scaled.level_unit} within "
                f"these days, {way} the usual {scaled.level(least):.2f} to {scaled.level(most):.2f} (common practice)."
            )
            yield remark(code, detail, situation.system.id)
