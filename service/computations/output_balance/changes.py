"""Has the reactor changed of itself? A drip that slows, media that give less for the same gas.

Checks by one watch and one titrant share their errors, so a change shows long before the amount is known as well.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from service.computations.answers import remark
from service.computations.timeframe import Clock
from service.resources.places.set_points.models import SetPoint
from service.resources.records.queries import Course
from service.science import Values
from service.science.level_change import LevelChange, level_change

SIGNIFICANT_SCORE = 3.5
SIGNIFICANT_SCORE_OF_MEDIA = 2.7
"""Both by the findings study (tests/studies/findings.py): effluent tests scatter more than timed drips."""
LEAST_LOSS = 0.12
LEAST_LOSS_OF_MEDIA = 0.15
"""Smaller changes are left to the next cleaning or refill (our judgement)."""
LOOKED_BACK_DAYS = 90.0
NEAR_DAYS = 4.0
"""A bubble count this close to an effluent test tells the gas it was made with."""


@dataclass(frozen=True)
class ReactorHistory:
    """What was checked of one reactor over the months: its drip, effluent, bubbles, and the tank it draws from.

    `tanks`: alkalinity of each system it feeds, with the share of the effluent; `drip_settings` in time order.
    """

    reactor_id: UUID
    clock: Clock
    courses: Mapping[str, Course]
    tanks: Sequence[tuple[float, Course]]
    drip_settings: Sequence[SetPoint]
    filled_at: Sequence[datetime]
    holds_ph: bool


def changes(history: ReactorHistory) -> list[dict[str, Any]]:
    """What has changed of itself, each with its evidence and what would confirm it."""
    drip = drip_change(history)
    if _fell(drip, LEAST_LOSS, SIGNIFICANT_SCORE):
        assert drip is not None
        # a slower drip nears the ceiling and gives less for its gas: that is not the media's doing
        return [remark("slowing_drip", _slowing(history, drip), history.reactor_id)]
    given, found = given_change(history), []
    if _fell(given, LEAST_LOSS_OF_MEDIA, SIGNIFICANT_SCORE_OF_MEDIA):
        assert given is not None
        found.append(remark("media_give_less", _less(history, given), history.reactor_id))
    return found


def drip_change(history: ReactorHistory) -> LevelChange | None:
    """The likeliest change of the drip against what it was set to (or of the drip itself where nothing was set)."""
    course = _since(history, history.courses["effluent_flow"], None)
    days = history.clock.days_of(course.at_us)
    set_to = _in_force(history, days)
    kept = course.value > 0
    value = course.value / set_to
    return level_change(
        at_days=days[kept], value=value[kept], relative_sd=course.sd[kept] / np.where(kept, course.value, 1.0)[kept]
    )


def given_change(history: ReactorHistory) -> LevelChange | None:
    """The likeliest change of what dissolves for the same gas, since the media were last filled.

    Alkalinity brought a day for each bubble; where a controller holds the chamber pH, alkalinity added to each litre.
    """
    effluent = _since(history, history.courses["effluent_alkalinity"], max(history.filled_at, default=None))
    days = history.clock.days_of(effluent.at_us)
    added = effluent.value - _tank(history, days)
    basis = np.ones(len(days)) if history.holds_ph else _flow_per_bubble(history, days)
    value = added * basis
    kept = np.isfinite(value) & (value > 0)
    if not kept.any():
        return None
    return level_change(at_days=days[kept], value=value[kept], relative_sd=effluent.sd[kept] / added[kept])


def _fell(change: LevelChange | None, least: float, score: float) -> bool:
    return change is not None and change.score > score and change.ratio < 1.0 - least


def _slowing(history: ReactorHistory, change: LevelChange) -> str:
    return (
        f"The drip fell by {_part(change)} {_since_words(history, change)}, by {change.after} checks against "
        f"{change.before} before: a clogging line or valve, or a pump that tires. Clean the line, time the drip before "
        "and after, and record both; the gas is for the faster drip."
    )


def _less(history: ReactorHistory, change: LevelChange) -> str:
    of_what = "Each litre of effluent brings" if history.holds_ph else "For the same bubbles the effluent brings"
    return (
        f"{of_what} {_part(change)} less alkalinity {_since_words(history, change)}, by {change.after} tests against "
        f"{change.before} before: media spent, channelled or coated, or gas that is lost after the bubble counter. "
        "Look at the media level and the flow through the bed; test the effluent once more before opening anything. "
        "Close the gas and let the pressure off first."
    )


def _part(change: LevelChange) -> str:
    part, most, least = (100.0 * (1.0 - each) for each in (change.ratio, change.low, change.high))
    return f"{part:.0f} % ({max(least, 0.0):.0f} to {most:.0f} %)"


def _since_words(history: ReactorHistory, change: LevelChange) -> str:
    first, last = (history.clock.at(days) for days in (change.after_days, change.at_days))
    return f"between {first.day} {first:%B} and {last.day} {last:%B %Y}"


def _since(history: ReactorHistory, course: Course, begun: datetime | None) -> Course:
    """The part of a course that is still about this drip, these media."""
    if not len(course):
        return course
    days = history.clock.days_of(course.at_us)
    first = days[-1] - LOOKED_BACK_DAYS
    if begun is not None:
        first = max(first, history.clock.days(begun))
    return course.where(days >= first)


def _in_force(history: ReactorHistory, days: Values) -> Values:
    """What the drip was set to at each check, L/d; ones where it was never set before the first of them."""
    settings = [each for each in history.drip_settings if each.value > 0]
    begun = np.array([history.clock.days(each.at) for each in settings])
    if not len(days) or not len(begun) or begun[0] > days[0]:
        return np.ones(len(days))
    held = np.array([each.value for each in settings])
    return np.asarray(held[np.searchsorted(begun, days, side="right") - 1])


def _tank(history: ReactorHistory, days: Values) -> Values:
    """Alkalinity of what the chamber is fed, in the shares of its systems; NaN outside their records."""
    total = np.zeros(len(days))
    for share, course in history.tanks:
        total = total + share * _between(history.clock, course, days)
    shares = sum(share for share, _ in history.tanks)
    return total / shares if shares else np.full(len(days), np.nan)


def _between(clock: Clock, course: Course, days: Values) -> Values:
    if not len(course):
        return np.full(len(days), np.nan)
    return np.interp(days, clock.days_of(course.at_us), course.value)


def _flow_per_bubble(history: ReactorHistory, days: Values) -> Values:
    """Litres a day for each bubble a second at each effluent test; NaN where no bubbles were counted near it."""
    flow = _between(history.clock, history.courses["effluent_flow"], days)
    bubbles = history.courses["bubble_rate"]
    counted = history.clock.days_of(bubbles.at_us)
    rate = np.full(len(days), np.nan)
    for index, day in enumerate(days):
        near: NDArray[np.bool_] = np.abs(counted - day) <= NEAR_DAYS
        if near.any():
            rate[index] = float(bubbles.value[near].mean())
    return flow / np.where(rate > 0, rate, np.nan)
