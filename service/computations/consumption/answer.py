"""From estimates to answers: numbers with intervals, what was set aside, what is missing, in the unit asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID

import numpy as np
from numpy.typing import NDArray

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.consumption.calcium_ratio import per_alkalinity, ratio_findings
from service.computations.consumption.gather import Gathered
from service.computations.consumption.kit import kit_finding, lot_in_use
from service.computations.consumption.reactor_calcium import together
from service.computations.consumption.shifts import named_shifts
from service.computations.consumption.water import Beside, Part, carbonate_lost, salinity_part, water_findings
from service.resources.keeping.amounts import refused
from service.science.answer import ConsumptionEstimate, LevelShift, Missing
from service.science.consumption import ALKALINITY, CALCIUM, MAGNESIUM, Scale, estimate_consumption
from service.science.history import SystemHistory
from service.science.quantities import QUANTITIES
from service.science.units import UnitError, convert

SCALES: dict[str, Scale] = {"alkalinity": ALKALINITY, "calcium": CALCIUM, "magnesium": MAGNESIUM}
RATE_UNITS = {"alkalinity": "meq/L/d", "calcium": "mg/L/d", "magnesium": "mg/L/d"}
SUBSTANCES = {"calcium": "Ca", "magnesium": "Mg"}

ALONE = Beside()
NO_VOLUME = remark("water_volume", "The net water volume was never stated. PATCH the system with `water_volume`.")
ASSUMED = (
    "Inputs are known as well as stated, else as common practice has it: a timed drip to 10 %, effluent by kit to 3 %, "
    "a dosing pump to 5 %, limewater to 15 %, a water volume to 5 %.",
    "Consumption is whatever leaves the water that is not on record as leaving: skeletons, but also nitrification and "
    "precipitation.",
)


def per_day(unit: str) -> str:
    """The rate unit that belongs to a level unit: dKH/d to dKH, mg/L/d CaCO3 to mg/L CaCO3."""
    return unit.replace("/L", "/L/d", 1) if "/L " in unit else f"{unit}/d"


class Scaled:
    """Numbers of one quantity as they leave: in its canonical units, or in the unit asked for."""

    def __init__(self, quantity: str, rate_unit: str | None) -> None:
        self._quantity = quantity
        self.rate_unit = rate_unit or RATE_UNITS[quantity]
        self.level_unit = self._level_unit()

    def rate(self, value: float) -> float:
        """A rate, from canonical."""
        return float(convert(value, unit=RATE_UNITS[self._quantity], to=self.rate_unit, substance=self._substance))

    def level(self, value: float) -> float:
        """A level, from canonical."""
        unit = QUANTITIES[self._quantity].unit
        return float(convert(value, unit=unit, to=self.level_unit, substance=self._substance))

    def levels(self, values: NDArray[np.float64]) -> list[float]:
        """Levels, from canonical, all at once."""
        unit = QUANTITIES[self._quantity].unit
        converted = convert(values, unit=unit, to=self.level_unit, substance=self._substance)
        return [float(value) for value in converted.tolist()]

    def canonical_level(self, value: float) -> float:
        """A level, or a difference of levels, in the canonical unit."""
        unit = QUANTITIES[self._quantity].unit
        return float(convert(value, unit=self.level_unit, to=unit, substance=self._substance))

    def rate_bounds(self, value: float | None, low: float | None, high: float | None) -> dict[str, Any] | None:
        """A rate with its interval, or None."""
        if value is None or low is None or high is None:
            return None
        return _bounds(self.rate(value), self.rate(low), self.rate(high), self.rate_unit)

    def part(self, part: Part | None) -> dict[str, Any] | None:
        """A part of the demand with its interval, or None."""
        return None if part is None else self.rate_bounds(*part.interval)

    def level_bounds(self, value: float, half_width: float) -> dict[str, Any]:
        """A level with its interval."""
        low, high = self.level(value - half_width), self.level(value + half_width)
        return _bounds(self.level(value), low, high, self.level_unit)

    @property
    def _substance(self) -> str | None:
        return SUBSTANCES.get(self._quantity)

    def _level_unit(self) -> str:
        """The level unit that belongs to the rate unit: dKH for dKH/d. Raises Unacceptable naming `unit`."""
        level = self.rate_unit.replace("/d", "", 1)
        try:
            convert(1.0, unit=RATE_UNITS[self._quantity], to=self.rate_unit, substance=self._substance)
            convert(1.0, unit=QUANTITIES[self._quantity].unit, to=level, substance=self._substance)
        except UnitError as error:
            raise refused("unit", str(error), self.rate_unit, place="query") from error
        return level


def estimates(
    gathered: Sequence[Gathered], quantity: str, *, at: datetime, course_at: Sequence[datetime] = ()
) -> list[ConsumptionEstimate]:
    """The estimate of every system at an instant, all in one call, with courses at the instants asked for."""
    courses = None
    if course_at:
        courses = [_since_first_reading(each, course_at) for each in gathered]
    return estimate_consumption(
        histories=[undiluted(each) for each in gathered],
        at_days=np.array([each.clock.days(at) for each in gathered]),
        course_at_days=courses,
        scale=SCALES[quantity],
    )


def undiluted(gathered: Gathered) -> SystemHistory:
    """The history with what dilution brought among its inputs, so that it is not taken for consumption."""
    history = gathered.history
    return (
        replace(history, doses=together([history.doses, gathered.diluted])) if len(gathered.diluted.amount) else history
    )


def _since_first_reading(gathered: Gathered, instants: Sequence[datetime]) -> NDArray[np.float64]:
    """The instants, in days, that have a reading at or before them: before the first there is nothing to show."""
    days = np.array([gathered.clock.days(instant) for instant in instants])
    read = gathered.history.readings.at_days
    return days[days >= read[0]] if len(read) else days[:0]


def shown(
    system_id: UUID,
    quantity: str,
    at: datetime,
    gathered: Gathered | None,
    estimate: ConsumptionEstimate | None,
    scaled: Scaled,
    *,
    beside: Beside = ALONE,
) -> dict[str, Any]:
    """One system's answer; every key is there whether or not the records can answer.

    beside: the alkalinity of the same water, its nitrate and its calcium, where they bear on the quantity.
    """
    common = {
        "system_id": system_id,
        "quantity": quantity,
        "at": at,
        "advice": [],
        "sources": sources_of(estimate_consumption),
    }
    empty = {"at": [], "value": [], "low": [], "high": [], "unit": scaled.rate_unit}
    if gathered is None or estimate is None:
        return {
            **common,
            "estimate": None, "course": empty, "expected": None, "per_alkalinity": None,
            "nitrate_share": None, "salinity_share": None,
            "used": {}, "set_aside": [], "missing": [NO_VOLUME],
            "findings": [], "assumptions": [], "cautions": [],
        }  # fmt: skip
    is_calcium = quantity == "calcium"
    ratio = per_alkalinity(estimate, beside.estimate) if is_calcium and beside.estimate is not None else None
    lost = carbonate_lost(beside)
    told = {each.at_days for each in lost} if quantity == "alkalinity" else set()
    nitrate = beside.nitrate if quantity == "alkalinity" else None
    return {
        **common,
        "per_alkalinity": ratio,
        "nitrate_share": scaled.part(nitrate),
        "salinity_share": scaled.part(salinity_part(gathered)),
        "estimate": scaled.rate_bounds(estimate.value, estimate.low, estimate.high),
        "course": _course(gathered, estimate, scaled) or empty,
        "expected": expected_level(estimate, scaled),
        "used": used(gathered, estimate),
        "set_aside": set_aside(gathered, estimate, scaled),
        "missing": [missing(gathered, quantity, each) for each in estimate.missing],
        "findings": [
            *(
                level_shift(gathered, quantity, each, scaled)
                for each in named_shifts(gathered.history, estimate)
                if each.at_days not in told
            ),
            *of_kit(gathered, quantity, estimate, scaled),
            *ratio_findings(ratio, system_id, beside.nitrate, beside.estimate, has_lost=bool(lost)),
            *water_findings(gathered, beside, lost=lost),
        ],
        "assumptions": [*ASSUMED, *gathered.inputs.assumptions],
        "cautions": [],
    }


def expected_level(estimate: ConsumptionEstimate, scaled: Scaled) -> dict[str, Any] | None:
    """The level in the water at the instant of the estimate; None where the records lead nowhere, or below zero."""
    if estimate.expected is None or estimate.expected.value <= 0:
        return None
    return scaled.level_bounds(estimate.expected.value, 1.96 * estimate.expected.sd)


def used(gathered: Gathered, estimate: ConsumptionEstimate) -> dict[str, Any]:
    """Counts and window of what went in."""
    window = estimate.used
    return {
        "readings": window.readings,
        "set_aside": window.set_aside,
        "doses": len(gathered.history.doses.amount),
        "water_changes": window.water_changes,
        "input_checks": window.checks,
        "from": None if window.from_days is None else gathered.clock.at(window.from_days),
        "to": None if window.to_days is None else gathered.clock.at(window.to_days),
    }


def set_aside(gathered: Gathered, estimate: ConsumptionEstimate, scaled: Scaled) -> list[dict[str, Any]]:
    """The readings that were not believed, each with its id."""
    course = gathered.course
    return [
        {
            "reading_id": course.origin[each.index],
            "taken_at": gathered.clock.at(float(gathered.history.readings.at_days[each.index])),
            "value": scaled.level(float(course.value[each.index])),
            "unit": scaled.level_unit,
            "score": each.score,
            "reason": each.reason,
        }
        for each in estimate.set_aside
    ]


def missing(gathered: Gathered, quantity: str, lack: Missing) -> dict[str, Any]:
    """What would settle the estimate, in words."""
    subject = gathered.inputs.feed_ids.get(lack.subject)
    source = gathered.inputs.feed_labels.get(lack.subject, lack.subject)
    if lack.what == "readings":
        return remark(f"{quantity}_readings", f"More readings of {quantity}, a day or more apart, would settle it.")
    if lack.what == "calibration":
        detail = "What runs in is known too poorly: a timed drip, a titrated effluent or a calibrated pump settles it."
        return remark("input_calibration", detail, subject)
    code, what = (
        ("inlet_flow", "flow") if lack.what == "flow" else (f"inlet_{quantity}", f"{quantity} of what it brings")
    )
    ever = gathered.inputs.was_checked(lack.subject, lack.what)
    said = "is known too poorly: measure it again" if ever else "was never measured in this window: measure it"
    record = f" (effluent_{'flow' if lack.what == 'flow' else quantity})" if source.startswith("reactor") else ""
    return remark(code, f"The {what}{record} of {source} {said}.", subject)


def level_shift(gathered: Gathered, quantity: str, shift: LevelShift, scaled: Scaled) -> dict[str, Any]:
    """A jump that no record explains, named."""
    size, low, high = (scaled.level(value) for value in (shift.size, shift.low, shift.high))
    first, last = (f"{gathered.clock.at(days):%Y-%m-%d %H:%M}" for days in (shift.after_days, shift.at_days))
    fell = "a water change nobody recorded, a recorded dose that was not given, or a new reagent?"
    cause, verb = ("an addition nobody recorded?", "rose") if size > 0 else (fell, "fell")
    least, most = (low, high) if size > 0 else (-high, -low)
    by = f"{abs(size):.2f} ({least:.2f} to {most:.2f}) {scaled.level_unit}"
    detail = f"{quantity.capitalize()} {verb} by {by} at once between {first} and {last} UTC: {cause}"
    return remark("level_shift", detail, gathered.system.id)


def of_kit(gathered: Gathered, quantity: str, estimate: ConsumptionEstimate, scaled: Scaled) -> list[dict[str, Any]]:
    """What is to be said of the reagent lot in use: nothing, where it reads as lots usually do."""
    course = gathered.course
    found = lot_in_use(estimate, course.lot.tolist(), course.lot_ids, gathered.standards)
    if found is None:
        return []
    subject = gathered.system.id
    return [kit_finding(found, quantity=quantity, level=scaled.level, unit=scaled.level_unit, system_id=subject)]


def _course(gathered: Gathered, estimate: ConsumptionEstimate, scaled: Scaled) -> dict[str, Any] | None:
    course = estimate.course
    if course is None:
        return None
    return {
        "at": [gathered.clock.at(float(day)) for day in course.at_days],
        "value": [scaled.rate(float(value)) for value in course.value],
        "low": [scaled.rate(float(value)) for value in course.low],
        "high": [scaled.rate(float(value)) for value in course.high],
        "unit": scaled.rate_unit,
    }


def _bounds(value: float, low: float, high: float, unit: str) -> dict[str, Any]:
    return {"value": value, "low": low, "high": high, "level": LEVEL, "unit": unit}


def level_course(
    gathered: Gathered, estimate: ConsumptionEstimate, scaled: Scaled, *, since_days: float
) -> dict[str, Any]:
    """The level in the water at every reading and water change since a day, with its band."""
    course, unit = estimate.levels, scaled.level_unit
    if course is None:
        return {"at": [], "value": [], "low": [], "high": [], "unit": unit}
    kept = course.at_days >= since_days
    columns = {name: getattr(course, name)[kept] for name in ("value", "low", "high")}
    return {
        "at": [gathered.clock.at(float(day)) for day in course.at_days[kept]],
        **{name: scaled.levels(values) for name, values in columns.items()},
        "unit": unit,
    }
