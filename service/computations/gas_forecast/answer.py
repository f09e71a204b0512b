"""From forecasts to answers: what is left, what is used, when the liquid goes, when it is empty, by when to change."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.gas_forecast.gather import LineRecords
from service.computations.gas_forecast.leak import leak
from service.computations.timeframe import Clock
from service.science.co2 import CRITICAL_TEMPERATURE_C, gas_density, liquid_gone_in_range
from service.science.cylinder_life import CylinderForecast, Estimate, Instant, Levels, forecast_cylinder_life
from service.science.gas_line import CHARGE_RELATIVE_SD, TARE_SD_KG
from service.science.level_change import slope_change

Z = 1.959964
ENOUGH_WEIGHINGS = 5
USABLE_BAR = 10.0  # below it a regulator no longer holds its delivery pressure (common practice)
CAUTIONS = (
    "Cylinders hold gas at high pressure: chained upright, cool, changed by people who were shown how. Follow the gas "
    "supplier's instructions and local codes.",
    "CO2 is toxic at a few per cent while oxygen still reads normal: an oxygen monitor does not protect. Ask the "
    "site's safety officer.",
)
WHY_NULL = {
    "no_cylinder": "No cylinder is on this line at that instant. Put one on it with PATCH /v1/gas-lines.",
    "several_cylinders": "Several cylinders are on this line at once: describe and weigh them as one.",
    "stamped_tare": "The cylinder's stamped tare is not described: without it a weighing says nothing of the gas. "
    "PATCH its specification.",
    "water_capacity": "The cylinder's water capacity is not described: without it nobody can say when the liquid goes "
    "or the pressure falls. PATCH its specification.",
    "a_second_weighing": "A second weighing, a week or more after the first, tells the rate.",
    "a_weighing_of_this_cylinder": "Weigh the cylinder that is on the line now, and record it as cylinder_gross_mass.",
    "no_line": "This cylinder is on no gas line at that instant.",
}


def forecasts(
    records: Sequence[LineRecords], *, at: datetime, temperature_c: tuple[float, float]
) -> list[CylinderForecast | None]:
    """The forecast of each line, all in one call; None where there is no history to forecast from."""
    known = [each for each in records if each.history is not None]
    answers = iter(
        forecast_cylinder_life(
            histories=[each.history for each in known if each.history is not None],
            at_days=[each.clock.days(at) for each in known],
            levels=[_levels(each, temperature_c) for each in known],
        )
    )
    return [None if each.history is None else next(answers) for each in records]


def shown(
    records: LineRecords | None,
    forecast: CylinderForecast | None,
    *,
    at: datetime,
    zone: ZoneInfo,
    lead: timedelta,
    temperature_c: tuple[float, float],
    cylinder_id: UUID | None = None,
) -> dict[str, Any]:
    """One line's answer; every key is there whether or not the records can answer."""
    answer: dict[str, Any] = {
        "gas_line_id": records and records.line.id,
        "cylinder_id": cylinder_id if records is None or records.cylinder is None else records.cylinder.id,
        "at": at,
        "remaining": None, "use": None, "liquid_gone_at": None, "empty_at": None, "change_by": None,
        "used": {}, "set_aside": [], "findings": [], "advice": [],
        "missing": _obstacles(records),
        "assumptions": _assumptions(temperature_c, lead),
        "sources": sources_of(forecast_cylinder_life, liquid_gone_in_range, gas_density, slope_change),
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    if records is None or forecast is None:
        return answer
    knows_levels = records.specification.capacity_l is not None
    liquid_gone = _instant(forecast.liquid_gone, records.clock)
    empty = _instant(forecast.empty, records.clock) if knows_levels else None
    answer.update(
        remaining=_bounds(forecast.remaining_kg, "kg"),
        use=_bounds(forecast.use_g_d, "g/d"),
        liquid_gone_at=liquid_gone,
        empty_at=empty,
        change_by=_change_by(liquid_gone or empty, lead, zone),
        used=_used(records, forecast),
        set_aside=[*_set_aside(records, forecast), *_impossible(records)],
        findings=_findings(records, forecast, temperature_c),
        advice=_advice(records),
    )
    if forecast.missing is not None:
        answer["missing"].append(remark(forecast.missing, WHY_NULL[forecast.missing], records.line.id))
    return answer


def _levels(records: LineRecords, temperature_c: tuple[float, float]) -> Levels:
    """The masses at which the last liquid goes and the regulator starves, for a room within a range."""
    low, high = temperature_c
    litres = records.specification.capacity_l
    if litres is None:
        return Levels()
    gone = liquid_gone_in_range(water_capacity_l=litres, lowest_temperature_c=low, highest_temperature_c=high)
    empty = gas_density(temperature_c=np.array([low, high]), pressure_bar=USABLE_BAR).density_kg_m3 * litres / 1000
    has_liquid = bool(np.isfinite(gone.mass_kg))
    return Levels(
        liquid_gone_kg=float(gone.mass_kg) if has_liquid else None,
        liquid_gone_sd_kg=float(gone.sd_kg) if has_liquid else 0.0,
        empty_kg=float(empty.mean()),
        empty_sd_kg=float(np.ptp(empty) / np.sqrt(12)),
    )


def _bounds(estimate: Estimate | None, unit: str) -> dict[str, Any] | None:
    if estimate is None:
        return None
    return {"value": estimate.value, "low": estimate.low, "high": estimate.high, "level": LEVEL, "unit": unit}


def _instant(found: Instant | None, clock: Clock) -> dict[str, Any] | None:
    if found is None:
        return None
    ends = {name: getattr(found, name) for name in ("value", "low", "high")}
    return {
        **{name: None if days is None else clock.at(days) for name, days in ends.items()},
        "level": LEVEL,
        "has_passed": found.has_passed,
    }


def _change_by(instant: dict[str, Any] | None, lead: timedelta, zone: ZoneInfo) -> date | None:
    """The early end of the forecast less the lead time, as a day of the site."""
    if instant is None or instant["low"] is None:
        return None
    early: datetime = instant["low"] - lead
    return early.astimezone(zone).date()


def _obstacles(records: LineRecords | None) -> list[dict[str, Any]]:
    if records is None:
        return [remark("no_line", WHY_NULL["no_line"])]
    cylinder_id = None if records.cylinder is None else records.cylinder.id
    return [remark(name, WHY_NULL[name], cylinder_id) for name in records.obstacles]


def _used(records: LineRecords, forecast: CylinderForecast) -> dict[str, Any]:
    assert records.history is not None
    instants = [records.clock.at(each.at_days) for each in records.history.weighings]
    return {
        "weighings": len(instants) - len(_aside(forecast)),
        "set_aside": len(_aside(forecast)) + len(records.impossible),
        "cylinders": len(records.history.cylinders),
        "flow_changes": len(records.history.flow_changes),
        "from": min(instants, default=None),
        "to": max(instants, default=None),
    }


def _aside(forecast: CylinderForecast) -> list[int]:
    """Indices of weighings set aside; a stated charge has none."""
    return [index for index in forecast.set_aside if index >= 0]


def _set_aside(records: LineRecords, forecast: CylinderForecast) -> list[dict[str, Any]]:
    assert records.history is not None
    reason = "net mass far from what the other weighings say"
    return [
        _left_out(records.weighing_ids[index], records.clock.at(weighing.at_days), weighing.net_kg, reason)
        for index in _aside(forecast)
        for weighing in [records.history.weighings[index]]
    ]


def _impossible(records: LineRecords) -> list[dict[str, Any]]:
    heavy = "net mass above what this cylinder can hold"
    light = "lighter than the stamped tare"
    return [
        _left_out(each.reading_id, each.at, each.net_kg, heavy if each.is_heavy else light)
        for each in records.impossible
    ]


def _left_out(reading_id: UUID, at: datetime, net_kg: float, reason: str) -> dict[str, Any]:
    return {"reading_id": reading_id, "taken_at": at, "value": net_kg, "unit": "kg", "score": None, "reason": reason}


def _findings(
    records: LineRecords, forecast: CylinderForecast, temperature_c: tuple[float, float]
) -> list[dict[str, Any]]:
    found = [*leak(records), *_of_impossible(records), *_of_charge(records)]
    for jump in forecast.scale_jumps:
        instant = records.clock.at(jump.at_days)
        jumped = f"Weighings jumped by {jump.size_kg:+.2f} kg before {instant:%Y-%m-%d}"
        detail = f"{jumped}: did something else hang on the scale?"
        found.append(remark("scale_jump", detail, records.line.id))
    if temperature_c[1] >= CRITICAL_TEMPERATURE_C:
        detail = (
            "From 31.0 C on there is no liquid in the cylinder, so none can go: pressure falls as gas is used, from "
            "the first day. Keep cylinders cool."
        )
        found.append(remark("no_liquid", detail, records.line.id))
    return found


def _of_impossible(records: LineRecords) -> list[dict[str, Any]]:
    """What a weighing beyond the cylinder's own limits means."""
    assert records.cylinder is not None
    found = []
    heavy = [each for each in records.impossible if each.is_heavy]
    if heavy:
        detail = (
            f"{len(heavy)} weighing(s) show more gas than the cylinder may hold ({heavy[-1].net_kg:.2f} kg net): was a "
            "regulator, cap or hose on the scale, is the tare or the unit right? If all of that is right the cylinder "
            "is overfilled: leave it alone and call the gas supplier."
        )
        found.append(remark("heavier_than_full", detail, records.cylinder.id))
    if len(heavy) < len(records.impossible):
        detail = "A weighing lies below the stamped tare: is the tare that of this cylinder, and the unit right?"
        found.append(remark("lighter_than_tare", detail, records.cylinder.id))
    return found


def _of_charge(records: LineRecords) -> list[dict[str, Any]]:
    """A weighing clearly above the charge that the cylinder on the line is described with."""
    assert records.history is not None
    assert records.cylinder is not None
    charge = records.specification.charge_kg
    current = len(records.history.cylinders) - 1
    net = [each for each in records.history.weighings if each.cylinder == current]
    if charge is None or not net:
        return []
    most = max(net, key=lambda each: each.net_kg)
    sd = float(np.hypot(np.hypot(CHARGE_RELATIVE_SD * charge, TARE_SD_KG), most.sd_kg))
    if most.net_kg - charge <= Z * sd:
        return []
    detail = (
        f"A weighing shows {most.net_kg:.2f} kg of gas where {charge:g} kg is the charge described: was something else "
        "on the scale, or is the tare or the charge another cylinder's?"
    )
    return [remark("heavier_than_charge", detail, records.cylinder.id)]


def _advice(records: LineRecords) -> list[dict[str, Any]]:
    """Three weighings seldom bound the day from above: say what narrows it."""
    assert records.history is not None
    assert records.cylinder is not None
    if len(records.history.weighings) >= ENOUGH_WEIGHINGS:
        return []
    detail = "Weigh the cylinder once a week, always with the same things on it: the forecast narrows with each."
    return [remark("weigh_weekly", detail, records.cylinder.id)]


def _assumptions(temperature_c: tuple[float, float], lead: timedelta) -> list[str]:
    low, high = temperature_c
    return [
        f"The cylinder stands between {low:g} and {high:g} C; else say lowest_temperature and highest_temperature.",
        f"Empty is {USABLE_BAR:g} bar absolute, where a regulator starves (common practice).",
        f"A change is planned {lead.days} days before the early end of the forecast; say otherwise with lead_days.",
        "With liquid present the pressure says nothing about what is left: the forecast is by weighing.",
    ]
