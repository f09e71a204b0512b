"""Dilution is no consumption: what a changing salinity takes from everything else dissolved in the water.

Water that leaves with its salt and is made up fresh, or evaporates and is not made up, moves alkalinity, calcium and
magnesium in proportion to salinity. Between water changes, which are events of their own,

    dA/dt = (A / S) dS/dt
"""

from __future__ import annotations

import numpy as np

from service.science import Values
from service.science.history import Doses
from service.science.water_course import WaterCourse

OFTEN_ENOUGH_SD = 0.03
"""Salinity a day. A slope known worse than 0.2 a week says nothing that is worth correcting for (common practice)."""
PIECE_DAYS = 7.0
CARRIED_ON_DAYS = 14.0
"""So long after its last reading a slope is taken to go on (common practice)."""
SALT_COMPOSITION_SD = 0.2
"""Relative: how far salt may be from bringing everything in proportion (common practice)."""
LEAST = 1e-9


def weeks_until(*, first_day: float, at_day: float) -> Values:
    """The instants at which a course of salinity is wanted: every week back from the day asked about, in order.

    Source: PRACTICE. Check value: none, tested by test_diluted_water_is_not_consumed. Shapes: as many as weeks fit.
    """
    return np.arange(at_day, first_day - PIECE_DAYS, -PIECE_DAYS)[::-1]


def dilution(*, course: WaterCourse, level: float, salt: Doses) -> Doses:
    """The same as additions to a history, one from each instant of the course to the next, with their relative sds.

    level: about where the quantity stands, its unit. salt: recorded additions of salt, in salinity, which brings the
    quantity along. Weeks whose slope is known worse than 0.2 a week are left out: nothing is corrected there.

    (A / S) dS/dt, as water, salt and solute are conserved together.

    Source: DERIVED, PRACTICE. Check value: none, tested by test_diluted_water_is_not_consumed.
    Shapes: one system; the result has a row a week and one a recorded addition of salt.
    """
    start, end = course.at_days[:-1], course.at_days[1:]
    slope, sd, salinity = (0.5 * (each[1:] + each[:-1]) for each in (course.slope, course.slope_sd, course.level))
    kept = (sd <= OFTEN_ENOUGH_SD) & (start >= course.first_read - PIECE_DAYS) & (end <= _until(course))
    rate, rate_sd = level / salinity * slope, level / salinity * sd
    size = np.maximum(np.abs(rate), LEAST)
    brought = level / np.interp(salt.start_days, course.at_days, course.level) * salt.amount
    return Doses(
        start_days=np.concatenate([start[kept], salt.start_days]),
        end_days=np.concatenate([end[kept], salt.end_days]),
        amount=np.concatenate([(np.copysign(size, rate) * (end - start))[kept], brought]),
        relative_sd=np.concatenate([(rate_sd / size)[kept], np.full(len(brought), SALT_COMPOSITION_SD)]),
    )


def dilution_now(*, course: WaterCourse, level: float) -> tuple[float, float] | None:
    """What dilution takes a day at the last instant of the course, and its sd: positive where salinity falls.

    Unit of the level a day; None where salinity is not read often enough to say.

    Source: DERIVED, PRACTICE. Check value: none, tested by test_diluted_water_is_not_consumed.
    """
    if course.slope_sd[-1] > OFTEN_ENOUGH_SD or course.at_days[-1] > _until(course):
        return None
    share = level / course.level[-1]
    return float(-share * course.slope[-1]), float(share * course.slope_sd[-1])


def _until(course: WaterCourse) -> float:
    return course.last_read + CARRIED_ON_DAYS
