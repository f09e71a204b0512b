"""Has what a system takes changed? Today against a week and four weeks ago, and what was recorded about its stock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from math import hypot
from typing import Any
from zoneinfo import ZoneInfo

from service.computations.answers import LEVEL
from service.computations.consumption.answer import Scaled
from service.computations.consumption.gather import Gathered
from service.reports import wording
from service.science.answer import ConsumptionEstimate

NEAR = timedelta(days=7)  # a change of stock so long before the earlier instant may still be what is seen
AGO_IN_WORDS = {1: "a week ago", 4: "four weeks ago"}


def demand_changes(
    found: tuple[Gathered, ConsumptionEstimate] | None,
    ago: Sequence[timedelta],
    events: Sequence[dict[str, Any]],
    scaled: Scaled,
    *,
    zone: ZoneInfo,
) -> list[dict[str, Any]]:
    """The changes of demand that are not none, the shortest span first; `ago` as its course was asked for.

    Both ends are smoothed by all readings. Their errors are added as if independent: what they share (a pump that gives
    too little at both ends) would only narrow the difference, so that nothing is called a change too lightly.
    """
    course = None if found is None else found[1].course
    if found is None or found[1].value is None or course is None or len(course.at_days) != len(ago) + 1:
        return []
    ends = [
        (scaled.rate(float(value)), scaled.rate(float(low)), scaled.rate(float(high)))
        for value, low, high in zip(course.value, course.low, course.high, strict=True)
    ]
    now = ends[-1]
    at = found[0].clock.at(float(course.at_days[-1]))
    changes = []
    for span, then in sorted(zip(ago, ends[:-1], strict=True), key=lambda each: each[0]):
        change = _difference(now, then, scaled.rate_unit)
        if change["low"] > 0 or change["high"] < 0:
            weeks = span // timedelta(weeks=1)
            near = [each for each in events if each["kind"] == "stock" and at - span - NEAR <= each["at"] <= at]
            said = _words(change, then[0], weeks, near, zone)
            changes.append({"weeks": weeks, "change": change, "words": said, "events": near})
    return changes


def _difference(now: tuple[float, ...], then: tuple[float, ...], unit: str) -> dict[str, Any]:
    value = now[0] - then[0]
    low = value - hypot(now[0] - now[1], then[2] - then[0])
    high = value + hypot(now[2] - now[0], then[0] - then[1])
    return {"value": value, "low": low, "high": high, "level": LEVEL, "unit": unit}


def _words(change: dict[str, Any], then: float, weeks: int, near: Sequence[dict[str, Any]], zone: ZoneInfo) -> str:
    """Such as: It uses 0.21 dKH/d more than four weeks ago (0.11 to 0.31), since 24 colonies added on 3 November."""
    more = change["value"] > 0
    size = change if more else {"value": -change["value"], "low": -change["high"], "high": -change["low"]}
    part = f", {100 * abs(change['value']) / then:.0f} % of it" if then > 0 else ""
    since = f", since {near[-1]['what']} on {wording.date_of(near[-1]['at'], zone)}" if near else ""
    return (
        f"It uses {wording.figure(size)} {change['unit']} {'more' if more else 'less'} than {AGO_IN_WORDS[weeks]} "
        f"({wording.between(size)}{part}){since}."
    )
