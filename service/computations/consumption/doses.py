"""Doses, limewater and salt on record, and what goes on of them until it is recorded, per litre of system."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from service.computations.consumption.parts import USUAL_C, column, say
from service.computations.consumption.practice import PRACTICE
from service.computations.timeframe import Clock, Volume
from service.resources.records.additions.queries import Added
from service.science.history import Doses
from service.science.tracer import salinity_gained

LASTING = timedelta(hours=12)  # shorter than that it was done by hand, once
TOTAL = {"alkalinity": "alkalinity_meq", "calcium": "calcium_mg", "magnesium": "magnesium_mg"}


def doses(
    quantity: str,
    clock: Clock,
    volume: Volume,
    additions: Sequence[Added],
    end: datetime,
    unstated: float,
    assumptions: list[str],
) -> Doses:
    """Doses and limewater, and what goes on of them until it is recorded.

    unstated: what new water holds of the quantity when nobody said.
    """
    if quantity == "salinity":
        return _salt(clock, volume, additions, unstated)
    dosed = [
        _Ran(row.at, row.ended_at or row.at, row.canonical[TOTAL[quantity]], row.relative_sd or _dose_sd(row))
        for row in additions
        if row.kind == "dose" and row.canonical.get(TOTAL.get(quantity, "")) is not None
    ]
    limed = [
        _limewater(row, quantity, assumptions)
        for row in additions
        if row.kind == "top_off" and row.canonical["liquid"] == "limewater" and quantity in PRACTICE.limewater_share
    ]
    ran = [
        *dosed,
        *limed,
        *_going_on(dosed, "dose", end, assumptions),
        *_going_on(limed, "limewater", end, assumptions),
    ]
    return Doses(
        start_days=column(clock.days(each.start) for each in ran),
        end_days=column(clock.days(each.end) for each in ran),
        amount=column(each.amount / volume.at(each.start) for each in ran),
        relative_sd=column(each.relative_sd for each in ran),
    )


def _salt(clock: Clock, volume: Volume, additions: Sequence[Added], salinity: float) -> Doses:
    """Salt that was weighed in, as the salinity it makes in water of about this one."""
    rows = [row for row in additions if row.kind == "salt"]
    grams = column(1000.0 * row.canonical["mass_kg"] for row in rows)
    litres = column(volume.at(row.at) for row in rows)
    days = column(clock.days(row.at) for row in rows)
    return Doses(
        start_days=days,
        end_days=days,
        amount=salinity_gained(added_g=grams, volume_l=litres, before_salinity=salinity, temperature_c=USUAL_C),
        relative_sd=column(row.relative_sd or PRACTICE.weighed_salt for row in rows),
    )


@dataclass(frozen=True)
class _Ran:
    """Something that ran in evenly from one instant to another: the amount in all, and its relative sd."""

    start: datetime
    end: datetime
    amount: float
    relative_sd: float


def _dose_sd(row: Added) -> float:
    lasted = row.ended_at is not None and row.ended_at > row.at
    return PRACTICE.dosing_pump if lasted else PRACTICE.measured_dose


def _limewater(row: Added, quantity: str, assumptions: list[str]) -> _Ran:
    strength, sd = _limewater_strength(row, assumptions)
    amount = strength * PRACTICE.limewater_share[quantity] * row.canonical["volume_l"]
    return _Ran(row.at, row.ended_at or row.at, amount, row.relative_sd or sd)


def _going_on(ran: Sequence[_Ran], what: str, end: datetime, assumptions: list[str]) -> list[_Ran]:
    """What is logged when it is over goes on until then: as the last one ran, for as long again, known to 30 %."""
    lasting = [each for each in ran if each.end - each.start >= LASTING]
    if not lasting:
        return []
    last = max(lasting, key=lambda each: each.end)
    until = min(end, last.end + (last.end - last.start))
    if until <= last.end:
        return []
    say(assumptions, f"The {what} that ended on {last.end:%Y-%m-%d} is taken to go on as it ran until it is recorded.")
    share = (until - last.end) / (last.end - last.start)
    return [_Ran(last.end, until, last.amount * share, PRACTICE.unrecorded_yet)]


def _limewater_strength(row: Added, assumptions: list[str]) -> tuple[float, float]:
    stated = row.canonical.get("strength_meq_per_l")
    if stated is not None:
        return stated, PRACTICE.titrated_limewater
    say(assumptions, PRACTICE.limewater_assumption)
    return PRACTICE.untitrated_limewater_meq_l, PRACTICE.untitrated_limewater
