"""What was not read, and which reading would settle it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from service.computations.answers import remark
from service.computations.output_balance.situation import Fed, Situation

WHY = {
    "effluent_flow": "Time the drip and record it as effluent_flow on the reactor.",
    "effluent_alkalinity": "Test the effluent and record it as effluent_alkalinity on the reactor.",
    "effluent_ph": "Read the pH in the chamber (chamber_ph) or of a fresh sample (effluent_ph): without it nothing is "
    "known of gas and ceiling.",
    "feed": "No system is fed by this reactor at that instant: describe it with POST /v1/feeds.",
    "water_volume": "The net water volume was never stated. PATCH the system with `water_volume`.",
    "alkalinity_readings": "Test the system's alkalinity: what the effluent adds is counted from there.",
    "ph": "Read the system's pH: without it nothing is known of the gas, nor of where the system settles.",
    "demand": "What the system takes is not known well enough yet; /v1/systems/{id}/consumption says what would "
    "settle it.",
    "other_supplies": "Another reactor feeds this system, and its drip or effluent was not checked in the last 28 "
    "days.",
    "weighing": "Weigh the cylinder of this reactor's gas line twice, a week or more apart.",
    "gas_line": "The reactor is on no gas line: describe one with POST /v1/gas-lines, and weigh its cylinder.",
    "shared_line": "Several reactors share the gas line: what was weighed cannot be told apart. A gas flow meter on "
    "each "
    "reactor could.",
    "bubble_calibration": "Bubbles are only relative until weighed: count them between weighings, three weighings at "
    "least.",
}


def missing(situation: Situation, stale: Mapping[str, datetime]) -> list[dict[str, Any]]:
    """What is missing of the chamber and of each system, with the age of a check that is too old."""
    said = [remark(code, WHY[code] + _age(code, stale), situation.subject_id) for code in _of_chamber(situation)]
    return [*said, *(remark(code, WHY[code], fed.system_id) for fed in situation.fed for code in _of_system(fed))]


def missing_of_gas(situation: Situation, *, is_on_line: bool, is_alone: bool) -> list[dict[str, Any]]:
    """What is missing to see the gas another way."""
    codes = []
    if not is_on_line:
        codes.append("gas_line")
    elif not is_alone:
        codes.append("shared_line")
    elif situation.gas.by_weighing is None:
        codes.append("weighing")
    if situation.gas.bubbles_per_s is not None and situation.gas.by_bubbles is None:
        codes.append("bubble_calibration")
    return [remark(code, WHY[code], situation.subject_id) for code in codes]


def _of_chamber(situation: Situation) -> list[str]:
    chamber = situation.chamber
    stops = chamber.flow is not None and chamber.flow.value == 0
    known = {
        "effluent_flow": chamber.flow is not None,
        "effluent_alkalinity": chamber.alkalinity is not None or stops,
        "effluent_ph": chamber.ph is not None or stops,
        "feed": bool(situation.fed),
    }
    return [code for code, is_known in known.items() if not is_known]


def _of_system(fed: Fed) -> list[str]:
    known = {
        "water_volume": fed.volume_l,
        "alkalinity_readings": fed.alkalinity,
        "ph": fed.ph,
        "demand": fed.demand,
        "other_supplies": fed.others,
    }
    return [code for code, value in known.items() if value is None]


def _age(code: str, stale: Mapping[str, datetime]) -> str:
    return f" The last was on {stale[code]:%Y-%m-%d}: too old to say what it is today." if code in stale else ""
