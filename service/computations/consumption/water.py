"""What the water itself says of a consumption: nitrate formed, salinity that moves, carbonate that fell out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.computations.consumption.gather import Gathered
from service.science.answer import ConsumptionEstimate
from service.science.dilution import dilution_now
from service.science.nitrate import alkalinity_of_nitrate_meq_l_d
from service.science.precipitation import Precipitated, fall_between, precipitated
from service.science.water_course import NITRATE, WaterCourse, water_courses

Z_95 = 1.959964
SIGNIFICANT_SCORE = 3.0
"""By the findings study (tests/studies/findings.py): the water is looked at again and again."""
NITRATE_KIT_SD = 0.10
"""Relative, of what all readings of a nitrate kit share (common practice)."""
LEAST_NITRATE_SHARE = 0.10
"""Of the demand of alkalinity; less is not worth a word (a judgement)."""
LEAST_DRIFT_A_WEEK = 0.2
LEAST_OFF = 1.0
"""Of salinity: what a keeper would act on (judgements)."""
INSTRUMENT_SD = 0.25
"""Of salinity, of what all readings of an instrument share (common practice)."""
FEWEST_READINGS, LEAST_SPAN_DAYS = 8, 21.0
"""Of salinity, before anything is said of it."""
SALINITY_SCORE = 2.5
"""By the same study: the sd allows for slopes that turn, and is three times what slopes of steady water scatter by."""
FRESH_DAYS = 28.0
"""A course whose last reading is older says nothing of the present (common practice)."""


@dataclass(frozen=True)
class Part:
    """A named part of the demand, in its canonical unit a day, and its sd."""

    value: float
    sd: float

    @property
    def interval(self) -> tuple[float, float, float]:
        """Value and 95 % interval."""
        return self.value, self.value - Z_95 * self.sd, self.value + Z_95 * self.sd


@dataclass(frozen=True)
class Beside:
    """What lies beside one system's alkalinity: nitrate taken, and the calcium that may have fallen with it."""

    alkalinity: Gathered | None = None
    estimate: ConsumptionEstimate | None = None
    calcium: Gathered | None = None
    nitrate: Part | None = None


def nitrate_parts(gathered: Mapping[UUID, Gathered | None], at_day: float) -> dict[UUID, Part | None]:
    """Alkalinity that went with nitrate a day in many systems, meq/L/d, by the smoothed course of nitrate."""
    known = [each for each in gathered.values() if each is not None]
    courses = water_courses(
        histories=[each.history for each in known], at_days=[np.array([at_day])] * len(known), pace=NITRATE
    )
    found: dict[UUID, Part | None] = dict.fromkeys(gathered)
    found.update({each.system.id: _nitrate(course) for each, course in zip(known, courses, strict=True)})
    return found


def _nitrate(course: WaterCourse | None) -> Part | None:
    if course is None or not _is_fresh(course):
        return None
    slope, sd = (
        float(alkalinity_of_nitrate_meq_l_d(nitrate_mg_l_d=each[-1])) for each in (course.slope, course.slope_sd)
    )
    return Part(slope, float(np.hypot(sd, NITRATE_KIT_SD * slope)))


def salinity_part(gathered: Gathered) -> Part | None:
    """What dilution would have shown as consumption, and is taken out of it; unit of the quantity a day."""
    course = gathered.salinity
    found = None if course is None else dilution_now(course=course, level=gathered.usual_level)
    return None if found is None else Part(*found)


def water_findings(
    gathered: Gathered, beside: Beside, *, lost: Sequence[Precipitated] | None = None
) -> list[dict[str, Any]]:
    """All that the water says, the most pressing first; `lost` where it was asked before."""
    lost = carbonate_lost(beside) if lost is None else lost
    return [
        *(_fell_out(gathered, beside, each) for each in lost),
        *_of_nitrate(gathered, beside),
        *_of_salinity(gathered),
    ]


def carbonate_lost(beside: Beside) -> list[Precipitated]:
    """What fell out of the water at once: jumps of alkalinity that calcium made too."""
    if beside.estimate is None or beside.calcium is None:
        return []
    found = []
    for shift in beside.estimate.level_shifts:
        if shift.size < 0:
            fall = fall_between(history=beside.calcium.history, after_days=shift.after_days, at_days=shift.at_days)
            found.append(None if fall is None else precipitated(alkalinity=shift, calcium=fall))
    return [each for each in found if each is not None]


def _fell_out(gathered: Gathered, beside: Beside, lost: Precipitated) -> dict[str, Any]:
    first, last = (f"{gathered.clock.at(days):%Y-%m-%d %H:%M}" for days in (lost.after_days, lost.at_days))
    alkalinity, calcium, ratio = (_told(each, places) for each, places in _places(lost))
    given = " Something was dosed about then." if _was_dosed(beside, lost) else ""
    detail = (
        f"Calcium carbonate fell out of the water: between {first} and {last} UTC alkalinity fell by {alkalinity} "
        f"meq/L and calcium by {calcium} mg/L, {ratio} mg a meq.{given} A kit that is off shows in one of the two, "
        "dilution takes some 150 mg a meq. Read calcium again with another kit, and look for white deposits on heaters "
        "and pumps."
    )
    return remark("precipitation", detail, gathered.system.id)


def _places(lost: Precipitated) -> list[tuple[tuple[float, float, float], int]]:
    return [(lost.alkalinity, 2), (lost.calcium, 0), (lost.ratio, 0)]


def _told(numbers: tuple[float, float, float], places: int) -> str:
    value, low, high = numbers
    return f"{value:.{places}f} ({low:.{places}f} to {high:.{places}f})"


def _was_dosed(beside: Beside, lost: Precipitated) -> bool:
    """Whether a dose by hand, or one that had just begun, lies in the day before the fall or between its two tests."""
    if beside.alkalinity is None:
        return False
    begun = beside.alkalinity.history.doses.start_days
    return bool(np.any((begun >= lost.after_days - 1.0) & (begun <= lost.at_days)))


def _of_nitrate(gathered: Gathered, beside: Beside) -> list[dict[str, Any]]:
    part, estimate = beside.nitrate, beside.estimate
    if part is None or estimate is None or estimate.best is None or estimate.best <= 0:
        return []
    if part.value < SIGNIFICANT_SCORE * part.sd or part.value < LEAST_NITRATE_SHARE * estimate.best:
        return []
    detail = (
        f"Nitrate that is formed takes {_told(part.interval, 3)} meq/L/d of alkalinity, "
        f"{part.value / estimate.best:.0%} of the demand: no skeleton gets it, and no calcium goes with it. "
        "Read nitrate again with another kit; less food, more that takes nitrate up, or water changes lower it."
    )
    return [remark("nitrate_takes_alkalinity", detail, gathered.system.id)]


def _of_salinity(gathered: Gathered) -> list[dict[str, Any]]:
    course = gathered.salinity
    if course is None or not _is_fresh(course):
        return []
    if course.readings < FEWEST_READINGS or course.last_read - course.first_read < LEAST_SPAN_DAYS:
        return []
    return [*_drifts(gathered, course), *_is_off(gathered, course)]


def _drifts(gathered: Gathered, course: WaterCourse) -> list[dict[str, Any]]:
    slope, sd = 7.0 * float(course.slope[-1]), 7.0 * float(course.slope_sd[-1])
    if abs(slope) < max(SALINITY_SCORE * sd, LEAST_DRIFT_A_WEEK):
        return []
    numbers = Part(abs(slope), sd).interval
    falls = slope < 0
    cause = (
        "Water leaves with its salt and is made up fresh: wet skimmate, a leak, a top-off that runs over"
        if falls
        else "Evaporation is not made up, or what is dosed or topped off brings salt"
    )
    detail = (
        f"Salinity {'falls' if falls else 'rises'} by {_told(numbers, 2)} a week beside water changes and recorded "
        f"salt. {cause}; or the instrument drifts. Evaporation leaves the salt behind: made up fresh to the same mark, "
        "it moves nothing. Read salinity with a calibrated conductivity meter or another instrument. What it dilutes "
        "or concentrates is taken out of the consumption."
    )
    return [remark("salinity_drifts", detail, gathered.system.id)]


def _is_off(gathered: Gathered, course: WaterCourse) -> list[dict[str, Any]]:
    level, wanted = float(course.level[-1]), gathered.reference_salinity
    sd = float(np.hypot(course.level_sd[-1], INSTRUMENT_SD))
    off = level - wanted
    if abs(off) < max(SIGNIFICANT_SCORE * sd, LEAST_OFF):
        return []
    detail = (
        f"Salinity stands at {_told(Part(level, sd).interval, 1)}, {abs(off):.1f} {'above' if off > 0 else 'below'} "
        f"its reference of {wanted:.1f}. Read it with a calibrated conductivity meter or another instrument before "
        "anything is changed, and then change it slowly (common practice: 1 a day at most)."
    )
    return [remark("salinity_off", detail, gathered.system.id)]


def _is_fresh(course: WaterCourse) -> bool:
    return float(course.at_days[-1]) - course.last_read <= FRESH_DAYS
