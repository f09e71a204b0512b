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
from service.science.drip_reading import ReadingAlone, reading_alone
from service.science.level_change import FEWEST_BEFORE, LevelChange, level_change

SIGNIFICANT_SCORE = 3.5
SIGNIFICANT_SCORE_OF_MEDIA = 2.7
"""Both by the findings study (tests/studies/findings.py): effluent tests scatter more than timed drips."""
LEAST_LOSS = 0.12
LEAST_LOSS_OF_MEDIA = 0.15
"""Smaller changes are left to the next cleaning or refill (our judgement)."""
SIGNIFICANT_SCORE_OF_READING = 2.7
"""From which the water did not follow the drip's reading, likewise."""
WRONG_FLOW = "wrong_flow"
LOOKED_BACK_DAYS = 90.0
RECENT_DAYS = 35.0
USUAL_CHECKS = 5
"""So many checks before the last say what a drip usually is."""
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
    wrong = read_wrong(history)
    if wrong is not None:
        return [remark(WRONG_FLOW, _misread(history, *wrong), history.reactor_id)]
    drip = drip_change(history)
    if _fell(drip, LEAST_LOSS, SIGNIFICANT_SCORE):
        assert drip is not None
        # a slower drip nears the ceiling and gives less for its gas: that is not the media's doing
        return [remark("slowing_drip", _slowing(history, drip), history.reactor_id)]
    given, found = given_change(history), []
    # what the effluent brings is its drip times what a litre gained
    if _fell(given, LEAST_LOSS_OF_MEDIA, SIGNIFICANT_SCORE_OF_MEDIA) and not is_in_doubt(history):
        assert given is not None
        found.append(remark("media_give_less", _less(history, given), history.reactor_id))
    return found


def drip_change(history: ReactorHistory, recent_days: float = RECENT_DAYS) -> LevelChange | None:
    """The likeliest change of the drip against what it was set to (or of the drip itself where nothing was set)."""
    days, value, relative_sd = _drip(history)
    return level_change(at_days=days, value=value, relative_sd=relative_sd, recent_days=recent_days)


def is_steady(history: ReactorHistory) -> bool:
    """Whether the drip is known as it runs: no change, its last two checks alike, no other at the effluent's test.

    What is brought is otherwise the product of a drip and an effluent that never were together.
    """
    days, value, _ = _drip(history)
    flow = value * _in_force(history, days)
    tested = history.clock.days_of(history.courses["effluent_alkalinity"].at_us)
    if not len(days) or not len(tested):
        return False
    if abs(flow[-1] / float(np.interp(tested[-1], days, flow)) - 1.0) > LEAST_LOSS:
        return False
    change = drip_change(history)
    if change is not None and _changed(change):
        return False
    return len(value) < 2 or bool(abs(value[-1] / value[-2] - 1.0) < LEAST_LOSS)


def _drip(history: ReactorHistory) -> tuple[Values, Values, Values]:
    """The checks of the drip over what it was set to: days, value, relative sd."""
    course = _since(history, history.courses["effluent_flow"], None)
    course = course.where(course.value > 0)
    days = history.clock.days_of(course.at_us)
    return days, course.value / _in_force(history, days), course.sd / course.value


def is_in_doubt(history: ReactorHistory) -> bool:
    """Whether the drip's reading changed and the water was not yet seen to follow, or to stay.

    The last check alone may be a slip until the next one. After two, the effluent tells, at constant gas, by two tests
    of its own. Until then the drip as it reads now and all that rests on it may be the reading's doing alone.
    """
    drip = drip_change(history, LOOKED_BACK_DAYS)
    if drip is None or not _changed(drip):
        return _last_is_off(history)
    if history.holds_ph:
        return False
    gained = gained_change(history, drip)
    return gained is None or reading_alone(flow=drip, gained=gained).unmoved


def _last_is_off(history: ReactorHistory) -> bool:
    _, value, _ = _drip(history)
    return len(value) > FEWEST_BEFORE and bool(
        abs(value[-1] / np.median(value[:-1][-USUAL_CHECKS:]) - 1.0) > LEAST_LOSS
    )


def read_wrong(history: ReactorHistory) -> tuple[LevelChange, ReadingAlone] | None:
    """A drip's reading that changed while the water did not follow; None where it did, or nothing can tell.

    At constant gas only, with bubbles to show that it was: where the chamber's pH is held the effluent stays anyway.
    """
    drip = drip_change(history, LOOKED_BACK_DAYS)  # a wrong reading goes on being wrong
    if drip is None or history.holds_ph or not _changed(drip):
        return None
    gained = gained_change(history, drip)
    if gained is None:
        return None
    found = reading_alone(flow=drip, gained=gained)
    return (drip, found) if found.unmoved and found.score > SIGNIFICANT_SCORE_OF_READING else None


def gained_change(history: ReactorHistory, drip: LevelChange) -> LevelChange | None:
    """The change, when the drip's reading changed, of what each litre gained for the same gas and setting."""
    effluent = _since(history, history.courses["effluent_alkalinity"], max(history.filled_at, default=None))
    days = history.clock.days_of(effluent.at_us)
    added = effluent.value - _tank(history, days)
    value = added * _per_bubble(history, days, _in_force(history, days))
    kept = np.isfinite(value) & (value > 0)
    if not kept.any():
        return None
    return level_change(
        at_days=days[kept],
        value=value[kept],
        relative_sd=effluent.sd[kept] / added[kept],
        recent_days=LOOKED_BACK_DAYS,
        begun_days=drip.at_days,
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


def _changed(drip: LevelChange) -> bool:
    return drip.score > SIGNIFICANT_SCORE and abs(drip.ratio - 1.0) > LEAST_LOSS


def _fell(change: LevelChange | None, least: float, score: float) -> bool:
    return change is not None and change.score > score and change.ratio < 1.0 - least


def _slowing(history: ReactorHistory, change: LevelChange) -> str:
    return (
        f"The drip fell by {_part(change)} {_since_words(history, change)}, by {change.after} checks against "
        f"{change.before} before: a clogging line or valve, or a pump that tires. Clean the line, time the drip before "
        "and after, and record both; the gas is for the faster drip."
    )


def _misread(history: ReactorHistory, change: LevelChange, alone: ReadingAlone) -> str:
    ratio, low, high = (100.0 * each for each in (change.ratio, change.low, change.high))
    did, least, most = (100.0 * each for each in (alone.gained_ratio, alone.low, alone.high))
    return (
        f"The drip reads {ratio:.0f} % ({low:.0f} to {high:.0f} %) of what it did {_since_words(history, change)}, and "
        f"the water knows nothing of it: at the same gas each litre would gain {100.0 * alone.expected_ratio:.0f} % of "
        f"what it did, and gains {did:.0f} % ({least:.0f} to {most:.0f} %). One of the two ways of timing it is wrong, "
        "and with it supply, demand and gas by the chemistry. Time the drip by hand with a measuring cylinder, twice, "
        "read to its line, before anything is turned; withdraw the readings that were wrong."
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
    return _per_bubble(history, days, _between(history.clock, history.courses["effluent_flow"], days))


def _per_bubble(history: ReactorHistory, days: Values, flow: Values) -> Values:
    bubbles = history.courses["bubble_rate"]
    counted = history.clock.days_of(bubbles.at_us)
    rate = np.full(len(days), np.nan)
    for index, day in enumerate(days):
        near: NDArray[np.bool_] = np.abs(counted - day) <= NEAR_DAYS
        if near.any():
            rate[index] = float(bubbles.value[near].mean())
    return flow / np.where(rate > 0, rate, np.nan)
