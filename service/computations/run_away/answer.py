"""From tanks, a flow of gas and a cut-off to how soon, how far, and what is left for the room."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import numpy as np

from service.computations.answers import sources_of
from service.computations.gas_release import answer as gas_release
from service.computations.gas_release.situation import Leak, Released
from service.computations.gas_release.situation import Situation as ReleaseSituation
from service.computations.output_balance.numbers import bounds
from service.computations.run_away.situation import Body, Exchange, Pressures, Situation, delay_of
from service.computations.run_away.words import CAUTIONS, advice, assumptions, findings, missing
from service.science import Values
from service.science.constants import STANDARD_ATMOSPHERE_BAR
from service.science.hazards import (
    Tank,
    drip_carry_over_g_h,
    gas_to_reach_g,
    hours_to_reach,
    largest_flow_g_h,
    suggested_cut_off,
    whole_cylinder,
)
from service.science.room import closed_room, ventilated_room

FORMULAS = (
    gas_to_reach_g,
    hours_to_reach,
    drip_carry_over_g_h,
    whole_cylinder,
    largest_flow_g_h,
    suggested_cut_off,
    closed_room,
    ventilated_room,
)
STAYS_ABOVE_PH = 7.5
BELOW_CUT_OFF = 0.1


def answered(situation: Situation, *, at: datetime | None = None) -> dict[str, Any]:
    """The whole answer but `used` and `set_aside`, which are the caller's to add."""
    systems = [_system(body, situation) for body in situation.bodies]
    room, found_of_room = _room(situation, systems)
    return {
        "flow": _amount(situation.asked.flow_g_h, "g/h"),
        "ordinary_use": bounds(situation.ordinary_use, "g/d"),
        "drip": None if situation.drip_l_d is None else _amount(situation.drip_l_d, "L/d"),
        "pressures": {
            "delivery": _bar(situation.pressures.delivery_bar),
            "chamber": _bar(situation.pressures.chamber_bar),
        },
        "exchange": {
            "low": situation.exchange.low, "high": situation.exchange.high, "unit": "/h", "by": situation.exchange.by,
        },
        "chamber_control_ph": situation.chamber_control_ph,
        "systems": systems,
        "room": room,
        "missing": missing(situation),
        "findings": [*findings(situation, systems, at), *found_of_room],
        "advice": advice(systems, at),
        "assumptions": assumptions(situation),
        "sources": sources_of(*FORMULAS),
        "cautions": list(CAUTIONS),
    }  # fmt: skip


def _system(body: Body, situation: Situation) -> dict[str, Any]:
    tank, start = body.tank, body.start
    answer: dict[str, Any] = {
        "system_id": body.system_id, "share": body.share,
        "starts_at": None if start is None else {
            "ph": start.ph, "by": start.by, "at": start.at, "nights": start.nights, "days": start.days,
        },
        "reaches": [], "drip_carries": None, "whole_cylinder": None, "largest_flow": None,
        "cut_off": _cut_off(body),
    }  # fmt: skip
    if tank is None:
        return answer
    carried = _carried(tank, body.share, situation)
    answer["reaches"] = _reaches(tank, body, carried, situation)
    answer["drip_carries"] = None if carried is None else _amount(carried, "g/h")
    answer["whole_cylinder"] = _whole(tank, situation.gas_kg)
    answer["largest_flow"] = _largest(tank, body, situation)
    return answer


def _cut_off(body: Body) -> dict[str, Any]:
    record, start = body.cut_off, body.start
    suggested = None
    if start is not None:
        found = suggested_cut_off(daily_lowest_ph_nbs=np.array([start.ph]))
        suggested = {
            "low": float(found.low_ph_nbs),
            "high": float(found.high_ph_nbs),
            "night_minimum": float(found.night_minimum_ph_nbs),
        }
    tested = record.tested
    return {
        "ph": record.ph,
        "set_at": record.set_at,
        "suggested": suggested,
        "last_test": None if tested is None else {
            "at": tested.at, "what": tested.what, "findings": tested.findings, "performed_by": tested.performed_by,
            "commissioning_id": tested.commissioning_id, "trip_ph": tested.trip_ph,
            "closing_time": None if tested.closing_minutes is None else _amount(tested.closing_minutes, "min"),
            "bubbles_stopped": tested.bubbles_stopped,
        },
    }  # fmt: skip


def _carried(tank: Tank, share: float, situation: Situation) -> float | None:
    """What the drip brings this tank at most, g/h: never more than flows."""
    if situation.drip_l_d is None:
        return None
    found = drip_carry_over_g_h(
        tank=tank, drip_l_d=situation.drip_l_d * share, chamber_pco2_atm=_chamber_atm(situation.pressures)
    )
    return min(max(float(found), 0.0), situation.asked.flow_g_h)


def _chamber_atm(pressures: Pressures) -> float:
    return 1.0 if pressures.chamber_bar is None else pressures.chamber_bar / STANDARD_ATMOSPHERE_BAR


def _reaches(tank: Tank, body: Body, carried: float | None, situation: Situation) -> list[dict[str, Any]]:
    """How soon each pH asked for and the cut-off are reached."""
    aims = [("ph", ph) for ph in situation.asked.to_ph]
    if body.cut_off.ph is not None:
        aims.append(("cut_off", body.cut_off.ph))
    to = np.array([ph for _, ph in aims])
    gas = gas_to_reach_g(tank=tank, to_ph_nbs=to)
    kla = _exchanges(situation.exchange)

    def minutes(flow_g_h: float) -> Values:
        hours = hours_to_reach(tank=tank, to_ph_nbs=to[:, None], flow_g_h=flow_g_h, kla_per_hour=kla)
        return np.where(to[:, None] >= float(tank.ph_nbs), 0.0, 60 * hours)

    at_once, dripped = minutes(situation.asked.flow_g_h), None if carried is None else minutes(carried)
    return [
        {
            "what": what,
            "ph": ph,
            "gas": _amount(float(gas[place]), "g"),
            "gas_reaches_tank": _across(at_once[place], "min"),
            "through_drip": None if dripped is None else _across(dripped[place], "min"),
        }
        for place, (what, ph) in enumerate(aims)
    ]


def _exchanges(exchange: Exchange) -> Values:
    return np.array([0.0, exchange.low, exchange.high])


def _across(values: Values, unit: str) -> dict[str, Any]:
    none, low, high = (float(value) if math.isfinite(value) else None for value in values)
    return {"without_exchange": none, "exchange_low": low, "exchange_high": high, "unit": unit}


def _whole(tank: Tank, gas_kg: float | None) -> dict[str, Any] | None:
    if gas_kg is None:
        return None
    found = whole_cylinder(tank=tank, gas_kg=gas_kg)
    return {
        "gas": _amount(gas_kg, "kg"),
        "lowest_ph": float(found.ph_nbs),
        "dissolved": _amount(float(found.dissolved_kg), "kg"),
        "to_room": _amount(float(found.to_room_kg), "kg"),
    }


def _largest(tank: Tank, body: Body, situation: Situation) -> dict[str, Any] | None:
    cut_off_ph, delay = body.cut_off.ph, delay_of(situation.asked, body)
    if cut_off_ph is None:
        return None
    asked = situation.asked
    above = min(STAYS_ABOVE_PH, cut_off_ph - BELOW_CUT_OFF) if asked.stays_above_ph is None else asked.stays_above_ph
    found = largest_flow_g_h(
        tank=tank,
        cut_off_ph_nbs=cut_off_ph,
        lowest_ph_nbs=above,
        delay_hours=delay / 60,
        held_gas_g=asked.held_gas_g,
        kla_per_hour=_exchanges(situation.exchange),
    )
    return {
        "flow": _across(np.broadcast_to(found, (3,)), "g/h"),
        "stays_above_ph": above,
        "cut_off_ph": cut_off_ph,
        "delay": _amount(delay, "min"),
        "held_gas": _amount(asked.held_gas_g, "g"),
    }


def _room(situation: Situation, systems: list[dict[str, Any]]) -> tuple[dict[str, Any] | None, list[dict[str, Any]]]:
    """What the drips do not carry, let into the room, and a whole cylinder that misses the water; what was found."""
    room = situation.room
    if room is None:
        return None, []
    carried = sum(each["drip_carries"]["value"] for each in systems if each["drip_carries"] is not None)
    rate = max(situation.asked.flow_g_h - carried, 0.0)
    released = [] if situation.gas_kg is None else [Released("whole_cylinder", situation.gas_kg)]
    found = gas_release.answered(ReleaseSituation(room.air, released, Leak(rate), room.limits))
    shown = {
        "room_id": room.room_id,
        "rate": _amount(rate, "g/h"),
        "leak": found["leak"],
        "whole_cylinder": found["releases"][0] if released else None,
    }
    return shown, found["findings"]


def _bar(value: float | None) -> dict[str, Any] | None:
    return None if value is None else _amount(value, "bar")


def _amount(value: float, unit: str) -> dict[str, Any]:
    return {"value": value, "unit": unit}
