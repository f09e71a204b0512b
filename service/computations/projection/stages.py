"""A plan taken in stages: the fewest equal ones, three days apart, with no day's change above the allowed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.consumption.answer import Scaled
from service.computations.projection.costs import shown_reactor
from service.computations.projection.course import Courses, Now, courses
from service.computations.projection.models import ProjectionSent
from service.computations.projection.ph import ph_course
from service.computations.projection.situation import Situation
from service.computations.projection.steps import STAGE_DAYS, Step, StepAt, steps_of
from service.resources.keeping.amounts import amount_in
from service.science import Values

MOST_STAGES = 20
MOST_A_DAY_MEQ_L = 0.35665
MOST_PH_A_DAY = 0.1
"""Of pH, the lower of what common practice allows a dose of limewater."""
STAGED = (
    f"A plan is taken in equal stages {STAGE_DAYS} days apart, as few as leave no day's change of alkalinity above the "
    f"allowed, or of pH above {MOST_PH_A_DAY:g}."
)


@dataclass(frozen=True)
class Moves:
    """The largest change of a day: alkalinity in meq/L, and pH, None where it is not known."""

    alkalinity: float
    ph: float | None

    def within(self, most: float) -> bool:
        """Whether neither is above the allowed, meq/L for alkalinity."""
        return self.alkalinity <= most and (self.ph is None or self.ph <= MOST_PH_A_DAY)


@dataclass(frozen=True)
class Staged:
    """A plan in stages (none where nothing is turned): their steps, and what they make of the water.

    at_once: the whole plan taken at once. fits: whether no day's change is above the allowed; None where the sender
    fixed the number of stages or nothing is turned.
    """

    steps: Sequence[Step]
    courses: Courses
    at_once: Moves
    fits: bool | None


def staged(situation: Situation, sent: ProjectionSent, now: Now, step_at: StepAt) -> Staged:
    """As many stages as were asked for, else the fewest that no day's change is above the allowed with.

    In no number of stages that end within 60 days: the whole plan at once, and `fits` says so.
    """
    most = most_a_day(sent)

    def moves(count: int) -> Moves:
        """Until a day after the last stage, from where on the water only slows down."""
        steps, days = steps_of(step_at, count), max(sent.days, STAGE_DAYS * (count - 1) + 1)
        found = courses(situation, sent, now, steps, days)
        ph = ph_course(situation, steps, found.planned, found.moved)
        return Moves(_largest(found.planned.value), None if ph is None else _largest(ph.mean()))

    def with_steps(count: int, at_once: Moves, fits: bool | None) -> Staged:
        steps = steps_of(step_at, count)
        return Staged(steps, courses(situation, sent, now, steps, sent.days), at_once, fits)

    at_once = moves(1)
    if not step_at(1.0).turns_something or sent.stages is not None:
        return with_steps(sent.stages or 1, at_once, None)
    if at_once.within(most):
        return with_steps(1, at_once, fits=True)
    count = _fewest(lambda each: moves(each).within(most))
    return with_steps(count or 1, at_once, count is not None)


def _fewest(fits: Callable[[int], bool]) -> int | None:
    """The first above one that fits; None where not even the most does."""
    return next((count for count in range(2, MOST_STAGES + 1) if fits(count)), None) if fits(MOST_STAGES) else None


def most_a_day(sent: ProjectionSent) -> float:
    """The allowed change of alkalinity a day, meq/L."""
    if sent.most_a_day is None:
        return MOST_A_DAY_MEQ_L
    return amount_in(sent.most_a_day, "meq/L", pointer="/most_a_day", above=0)


def _largest(values: Values) -> float:
    """The largest change from one day to the next, either way."""
    return float(np.abs(np.diff(values)).max())


def shown_stages(found: Staged, at: datetime) -> list[dict[str, Any]]:
    """What staff do and when; empty where nothing is turned."""
    if not found.steps[-1].turns_something:
        return []
    return [_shown(step, index * STAGE_DAYS, at) for index, step in enumerate(found.steps)]


def _shown(step: Step, day: int, at: datetime) -> dict[str, Any]:
    turned = [shown_reactor(each) for each in step.reactors]
    return {
        "day": day,
        "at": at + timedelta(days=day),
        "share": step.share,
        "reactors": [
            {name: each[name] for name in ("reactor_id", "flow", "gas_factor", "gas", "chamber_ph")} for each in turned
        ],
        "dosing_change": {"value": step.dosed.value, "unit": "meq/d"},
        "limewater_change": {"value": step.limewater_l_d, "unit": "L/d"},
    }


def staging_findings(situation: Situation, sent: ProjectionSent, found: Staged, scaled: Scaled) -> list[dict[str, Any]]:
    """A change above the allowed that remains, be it that no number of stages avoids it."""
    most, planned = most_a_day(sent), found.courses.planned.value
    if _largest(planned) <= most:
        return []
    moved = np.diff(planned)
    day = int(np.abs(moved).argmax())
    by = scaled.level(float(moved[day]))
    way = "plan less"
    if found.fits is None and found.steps[-1].turns_something:
        way = "take more stages, or leave `stages` out"
    elif sent.water_changes and not found.steps[-1].turns_something:
        way = "change less water at a time"
    elif not found.steps[-1].turns_something:
        way = "nothing is planned that would hold it"
    elif found.fits is False:
        way = f"not even {MOST_STAGES} stages avoid it: plan less"
    detail = (
        f"On day {day + 1} alkalinity moves by {by:+.2f} {scaled.level_unit}, more than the "
        f"{scaled.level(most):.2f} allowed: {way}."
    )
    return [remark("too_fast", detail, situation.system.id)]


def staging_advice(situation: Situation, found: Staged, scaled: Scaled) -> list[dict[str, Any]]:
    """What to do at each stage, in words, where there is more than one."""
    if len(found.steps) < 2:
        return []
    each = "; ".join(
        f"day {index * STAGE_DAYS}: {_words(step)}" for index, step in enumerate(found.steps) if _words(step)
    )
    ph = "" if found.at_once.ph is None else f" and pH by up to {found.at_once.ph:.2f}"
    detail = (
        f"In {len(found.steps)} stages {STAGE_DAYS} days apart: {each}. At once, alkalinity would move by up to "
        f"{scaled.level(found.at_once.alkalinity):.2f} {scaled.level_unit}{ph} a day. Test both before each "
        "stage; go on only where they are as foretold."
    )
    return [remark("in_stages", detail, situation.system.id)]


def _words(step: Step) -> str:
    said = []
    for reactor in step.reactors:
        if reactor.ahead is None or (reactor.wanted is None and float(reactor.ahead.supply_fraction) == 1.0):
            continue
        drip = float(reactor.ahead.drip_l_d)
        said.append(f"drip {drip:.1f} L/d ({drip / 1.44:.0f} mL/min)")
        if np.isfinite(reactor.ahead.gas_fraction):
            said.append(f"gas times {float(reactor.ahead.gas_fraction):.2f}")
    if step.limewater_l_d:
        said.append(f"limewater {step.limewater_l_d:+.1f} L/d")
    if step.dosed.value:
        said.append(f"dosing {step.dosed.value:+.0f} meq/d")
    return ", ".join(said)
