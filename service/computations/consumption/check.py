"""One new reading against the course the records lead to expect: is it worth testing again?"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from sqlmodel import Session

from service.computations.answers import remark, sources_of
from service.computations.consumption.answer import ASSUMED, NO_VOLUME, SCALES, Scaled, estimates, missing, used
from service.computations.consumption.gather import Gathered, gather
from service.computations.consumption.models import CheckSent
from service.resources.catalogue.methods.queries import named, repeatabilities
from service.resources.keeping.amounts import refused
from service.resources.places.systems.models import System
from service.science.answer import ConsumptionEstimate, Expected
from service.science.consumption import estimate_consumption
from service.science.quantities import EntryError, canonical

TEST_AGAIN_BEYOND = 3.0  # sd; one sound reading in 370 lies farther out


def checked(session: Session, system: System, sent: CheckSent, *, window: timedelta) -> dict[str, Any]:
    """The reading's score against what was expected of it just before it was taken, and a verdict."""
    if sent.quantity not in SCALES:
        raise refused("/quantity", f"A course is known for {', '.join(SCALES)}.", sent.quantity)
    value = _canonical(sent)
    scaled = Scaled(sent.quantity, None)
    found = gather(session, [system], sent.quantity, start=sent.taken_at - window, end=sent.taken_at)[system.id]
    estimate = None if found is None else estimates([found], sent.quantity, at=sent.taken_at)[0]
    expected = None if estimate is None else estimate.expected
    answer: dict[str, Any] = {
        "system_id": system.id,
        "quantity": sent.quantity,
        "taken_at": sent.taken_at,
        "reading": {"value": value, "unit": scaled.level_unit},
        "expected": None,
        "score": None,
        "verdict": "unknown",
        "used": {} if found is None or estimate is None else used(found, estimate),
        "set_aside": [],
        "missing": _missing(found, sent.quantity, estimate),
        "findings": [],
        "advice": [],
        "assumptions": [] if found is None else [*ASSUMED, *found.inputs.assumptions],
        "sources": sources_of(estimate_consumption),
        "cautions": [],
    }
    if expected is not None:
        answer.update(_judged(expected, scaled, value, _sd(session, sent, value), system))
    return answer


def _judged(expected: Expected, scaled: Scaled, value: float, sd: float, system: System) -> dict[str, Any]:
    """How far off the reading is, where such readings would lie, and whether to test again."""
    score = expected.score(value=value, reading_sd=sd)
    low, high = expected.band(reading_sd=sd)
    again = abs(score) > TEST_AGAIN_BEYOND
    sentence = f"{abs(score):.0f} sd off the expected course: test again?"
    return {
        "expected": scaled.level_bounds(expected.value, (high - low) / 2),
        "score": score,
        "verdict": "test_again" if again else "as_expected",
        "findings": [remark("off_course", sentence, system.id)] if again else [],
    }


def _missing(found: Gathered | None, quantity: str, estimate: ConsumptionEstimate | None) -> list[dict[str, Any]]:
    if found is None or estimate is None:
        return [NO_VOLUME]
    return [missing(found, quantity, lack) for lack in estimate.missing]


def _canonical(sent: CheckSent) -> float:
    conditions = {
        name: part.model_dump() if hasattr(part, "model_dump") else part for name, part in sent.conditions.items()
    }
    try:
        return canonical(sent.quantity, sent.value, sent.unit, conditions)
    except EntryError as error:
        place = "" if error.field in {"value", "unit", "quantity"} else "/conditions"
        raise refused(f"{place}/{error.field}", str(error)) from error


def _sd(session: Session, sent: CheckSent, value: float) -> float:
    """How well the reading is known: as stated, else by its method, else by practice."""
    if sent.relative_sd is not None:
        return max(abs(sent.relative_sd * value), 1e-6)
    method = None if sent.method is None else named(session, sent.quantity, sent.method)
    key = (sent.quantity, str(method.id) if method else sent.method)
    return max(repeatabilities(session, [key])[key].at(value), 1e-6)
