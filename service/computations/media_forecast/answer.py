"""From what was filled and what was brought to what is left and when to refill."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.media_forecast.gather import FILL_RELATIVE_SD, Fill, MediaRecords
from service.science.media import PURITY, REFILL_AT_FRACTION, MediaForecast, dissolved_kg, media_forecast

Z = 1.959964
SUPPLY_RELATIVE_SD = 0.11
"""What a watch (10 %) and a titrant (3 %) have in common through all checks, and the media's purity (3 %)."""
LONGEST_GAP_DAYS = 35.0
HORIZON_DAYS = 3650.0
WHY = {
    "media_fill": 'No fill of media is on record. POST /v1/additions {"kind": "media", "reactor_id", "at", "mass", '
    '"replaces"}: how much went in, and when.',
    "effluent_checks": "Time the drip (effluent_flow), test the effluent (effluent_alkalinity) and the system it "
    "feeds: what they bring is what dissolves.",
    "effluent_gap": "For {days:.0f} days nobody tested the effluent: what dissolved meanwhile is read off a straight "
    "line.",
}
CAUTIONS = (
    "Close the gas and let the pressure off before opening a chamber; CO2 gathers in it and below it. Keep water away "
    "from mains, and follow the maker's instructions and local codes.",
)


def shown(records: MediaRecords, *, zone: ZoneInfo, refill_at_fraction: float = REFILL_AT_FRACTION) -> dict[str, Any]:
    """One reactor's answer; every key is there whether or not the records can answer."""
    found = _forecast(records, refill_at_fraction)
    answer: dict[str, Any] = {
        "reactor_id": records.reactor.id,
        "at": records.at,
        "fills": [
            {"at": fill.at, "mass": _around(fill.mass_kg, fill.sd_kg, "kg"), "replaces": fill.replaces}
            for fill in records.fills
        ],
        "filled": _filled(records.fills),
        "dissolved": None, "left": None, "use": None, "refill_at": None, "refill_by": None,
        "used": {"fills": len(records.fills), "effluent_tests": records.checks, "longest_gap_days": records.gap_days},
        "set_aside": [], "findings": [], "advice": [],
        "missing": _missing(records),
        "assumptions": _assumptions(records, refill_at_fraction),
        "sources": sources_of(dissolved_kg, media_forecast),
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    if found is None:
        return answer
    assert records.supplied_meq is not None
    assert records.supply_meq_d is not None
    gone = float(dissolved_kg(supplied_meq=records.supplied_meq))
    use = 1000.0 * float(dissolved_kg(supplied_meq=records.supply_meq_d))
    instant = _refill(records, found)
    return {
        **answer,
        "dissolved": _around(gone, gone * SUPPLY_RELATIVE_SD, "kg"),
        "left": {
            "value": float(found.left_kg), "low": float(found.left_low_kg), "high": float(found.left_high_kg),
            "level": LEVEL, "unit": "kg",
        },
        "use": _around(use, use * SUPPLY_RELATIVE_SD, "g/d"),
        "refill_at": instant,
        "refill_by": _day(instant, zone),
        "findings": _findings(records, found, refill_at_fraction),
    }  # fmt: skip


def _forecast(records: MediaRecords, refill_at_fraction: float) -> MediaForecast | None:
    if records.supplied_meq is None or records.supply_meq_d is None:
        return None
    filled = math.fsum(fill.mass_kg for fill in records.fills)
    return media_forecast(
        filled_kg=filled,
        filled_sd=_fill_sd(records.fills),
        supplied_meq=records.supplied_meq,
        supplied_relative_sd=0.0,
        supply_meq_d=records.supply_meq_d,
        supply_sd=0.0,
        shared_relative_sd=SUPPLY_RELATIVE_SD,
        refill_at_fraction=refill_at_fraction * records.full_kg / filled,
    )


def _fill_sd(fills: tuple[Fill, ...]) -> float:
    return math.hypot(*(fill.sd_kg for fill in fills))


def _filled(fills: tuple[Fill, ...]) -> dict[str, Any] | None:
    return _around(math.fsum(fill.mass_kg for fill in fills), _fill_sd(fills), "kg") if fills else None


def _around(value: float, sd: float, unit: str) -> dict[str, Any]:
    return {"value": value, "low": value - Z * sd, "high": value + Z * sd, "level": LEVEL, "unit": unit}


def _refill(records: MediaRecords, found: MediaForecast) -> dict[str, Any]:
    days = {"value": found.refill_days, "low": found.refill_low_days, "high": found.refill_high_days}
    ends = {
        name: records.at + timedelta(days=float(end)) if float(end) < HORIZON_DAYS else None
        for name, end in days.items()
    }
    return {**ends, "level": LEVEL, "has_passed": float(found.refill_days) <= 0.0}


def _day(instant: dict[str, Any], zone: ZoneInfo) -> date | None:
    return None if instant["low"] is None else instant["low"].astimezone(zone).date()


def _findings(records: MediaRecords, found: MediaForecast, part: float) -> list[dict[str, Any]]:
    if float(found.refill_days) > 0.0:
        return []
    low = max(float(found.left_low_kg), 0.0)
    detail = (
        f"By what it has brought, {float(found.left_kg):.1f} kg ({low:.1f} to {float(found.left_high_kg):.1f}) of "
        f"media are left of {records.full_kg:.1f} kg when it was fullest: below {100 * part:.0f} %: time to refill. "
        "Look at the level, refill, and record the mass."
    )
    return [remark("media_low", detail, records.reactor.id)]


def _missing(records: MediaRecords) -> list[dict[str, Any]]:
    lacks = []
    if not records.fills:
        lacks.append(remark("media_fill", WHY["media_fill"], records.reactor.id))
    elif records.supplied_meq is None:
        lacks.append(remark("effluent_checks", WHY["effluent_checks"], records.reactor.id))
    elif records.gap_days > LONGEST_GAP_DAYS:
        lacks.append(remark("effluent_gap", WHY["effluent_gap"].format(days=records.gap_days), records.reactor.id))
    return lacks


def _assumptions(records: MediaRecords, part: float) -> list[str]:
    said = [
        f"Media are {100 * PURITY:.0f} % calcium carbonate; 50.04 mg of it dissolve for each meq brought.",
        f"Fills are known to {100 * FILL_RELATIVE_SD:.0f} % unless stated, what was brought to "
        f"{100 * SUPPLY_RELATIVE_SD:.0f} %; between checks it changes in a straight line.",
        f"Time to refill is when {100 * part:.0f} % of the most there was is left (common practice: half).",
    ]
    if records.fills and not records.fills[0].replaces:
        said.append("The first fill on record went into an empty reactor.")
    return said
