"""What a run-away's answer says in words: cautions, what is missing, what was found, what to do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from service.computations.answers import remark
from service.computations.run_away.situation import Body, Situation, delay_of
from service.science.hazards import BELOW_NIGHT_MINIMUM

TEST_EVERY = timedelta(days=31)
FEW_NIGHTS = 10
A_PROBES_ERROR = 0.05  # between two calibrations (common practice)
LOWEST_TANK_CUT_OFF = 7.0  # below it somebody means the chamber
CAUTIONS = (
    "A stuck valve or a welded relay defeats any cut-off: it lessens the risk, it does not remove it. This service "
    "records and computes; it switches no gas and is no safety system.",
    "The tank's low-pH cut-off and the control of the chamber's pH are two things, with two probes: neither replaces "
    "the other.",
    "What does not dissolve goes to the room. CO2 is toxic at a few per cent while oxygen still reads normal: an "
    "oxygen monitor does not protect. No room number is a clearance.",
    "Gas under pressure, mains near salt water: follow local codes, the gas supplier's instructions and the site's "
    "safety officer; leave regulators, relays and wiring to licensed trades.",
)
WHY = {
    "feed": "No system is fed by this reactor at that instant: describe it with POST /v1/feeds.",
    "water_volume": "The net water volume was never stated. PATCH the system with `water_volume`.",
    "alkalinity_readings": "Test the system's alkalinity: how far gas moves its pH depends on it.",
    "ph": "Read the system's pH, best before the lights go on or by a probe: nobody knows where a fault would begin.",
    "ph_or_alkalinity": "The lowest pH and the alkalinity on record do not belong to one water: read both again.",
    "effluent_flow": "Time the drip and record it as effluent_flow on the reactor: what it carries depends on it.",
    "gas_mass": "No cylinder with a known charge is on the reactor's gas line: what could run out is not known.",
    "room": "Neither the reactor nor its system has a room: PATCH one of them with `room_id`.",
    "cut_off": "No low-pH cut-off is set on the system, its reactor or a controller: record it as a set-point "
    "low_ph_cut_off on the system.",
    "chamber_pressure": "The chamber's pressure was not read in the last 28 days (chamber_pressure): one atmosphere is "
    "taken.",
    "delivery_pressure": "The delivery pressure was not read in the last 28 days: whether gas flows at all is not "
    "told.",
    "gas_exchange": "How fast this water exchanges gas with the air is not known and taken as a range. Readings of "
    "drip, effluent, the system's pH and room_co2 of the last 28 days tell it roughly.",
}


def missing(situation: Situation) -> list[dict[str, Any]]:
    """What is missing of the reactor and of each system."""
    said = [remark(code, WHY[code], situation.subject_id) for code in situation.lacks]
    return [*said, *(remark(code, WHY[code], body.system_id) for body in situation.bodies for code in body.lacks)]


def findings(situation: Situation, systems: list[dict[str, Any]], at: datetime | None) -> list[dict[str, Any]]:
    """What was found of drip, pressures, chamber control and each system's cut-off."""
    said = [remark(code, detail, situation.subject_id) for code, detail in _of_reactor(situation)]
    for body, shown in zip(situation.bodies, systems, strict=True):
        found = [
            *_of_start(body),
            *_of_reached(body, situation),
            *_of_cut_off(body, shown, at),
            *_of_flow(situation, shown),
        ]
        said += [remark(code, detail, body.system_id) for code, detail in found]
    return said


def advice(systems: list[dict[str, Any]], at: datetime | None) -> list[dict[str, Any]]:
    """Where a cut-off would lie, and when to test it."""
    said = []
    for shown in systems:
        cut_off, suggested = shown["cut_off"], shown["cut_off"]["suggested"]
        if suggested is not None:
            less, more = BELOW_NIGHT_MINIMUM
            detail = (
                f"A tank cut-off at pH {suggested['low']:.2f} to {suggested['high']:.2f}: {less:g} to {more:g} below "
                f"this system's own lowest of 30 days, {suggested['night_minimum']:.2f} (common practice)."
            )
            said.append(remark("cut_off_below_nights", detail, shown["system_id"]))
        tested = cut_off["last_test"]
        if tested is None or (at is not None and at - tested["at"] > TEST_EVERY):
            detail = (
                "Test the cut-off monthly (common practice): lower the probe's reading as in a real fault, note the pH "
                "at which it trips, how long the valve takes and whether the bubbles stopped."
            )
            said.append(remark("test_the_cut_off", detail, shown["system_id"]))
    return said


def assumptions(situation: Situation) -> list[str]:
    """What was taken for granted."""
    asked, exchange = situation.asked, situation.exchange
    said = [
        "Each tank is well mixed, its alkalinity constant; aragonite in it would buffer slowly and is left out.",
        "gas_reaches_tank: all of the gas dissolves in that one tank. through_drip: only what the drip carries from a "
        "chamber full of gas at its pressure, media at saturation.",
        f"Gas exchange {exchange.low:.2g} to {exchange.high:.2g} per hour ({_said_by(exchange.by)}), towards the "
        "tank's own steady state; without_exchange counts none.",
        f"The gas stops {_delays(situation)} after the cut-off is passed, and {asked.held_gas_g:g} g held "
        "in chamber and line still follow; say otherwise with delay_minutes and held_gas.",
        "The whole cylinder is a full one.",
    ]
    if asked.flow_is_assumed:
        said.append(
            f"The run-away flow is taken as {asked.flow_g_h:g} g/h (a judgement: a valve left open passes from tens to "
            "thousands of grams an hour). Say otherwise with flow."
        )
    return said


def _delays(situation: Situation) -> str:
    """The delay of each system in words; a measured one leaves out how far the probe lags behind the water."""
    asked = situation.asked
    minutes = sorted({delay_of(asked, body) for body in situation.bodies} or {asked.delay_minutes})
    words = f"{' or '.join(f'{each:.2g}' if each < 1 else f'{each:g}' for each in minutes)} minutes"
    is_measured = asked.delay_is_assumed and any(body.cut_off.closing_minutes is not None for body in situation.bodies)
    return f"{words} (as timed in the last signed test; how far the probe lags is left out)" if is_measured else words


def _said_by(by: str) -> str:
    return {
        "range": "not known here, of tanks of this trade, from memory",
        "balance": "from the steady balance of gas, photosynthesis and respiration left out, widened by two",
        "relaxation": "from how pH came back after a disturbance, read by one probe to 0.01",
        "as_asked": "as sent",
    }[by]


def _of_reactor(situation: Situation) -> Iterator[tuple[str, str]]:
    if situation.drip_l_d == 0:
        yield (
            "no_drip",
            "Nothing drips: gas that still flows gathers in the chamber and comes out into the tank or the room. Close "
            "the gas until water runs again.",
        )
    delivery, chamber = situation.pressures.delivery_bar, situation.pressures.chamber_bar
    if delivery is not None and chamber is not None and delivery <= chamber:
        yield (
            "delivery_not_above_chamber",
            f"The regulator delivers {delivery:.2f} bar absolute into a chamber at {chamber:.2f}: no gas flows, and "
            "water can run back into the gas line. Have check valve and delivery pressure looked at.",
        )


def _of_start(body: Body) -> Iterator[tuple[str, str]]:
    start = body.start
    if start is None or start.by == "as_asked":
        return
    if start.by == "lowest_reading":
        yield (
            "no_night_readings",
            f"pH was read on {start.days} days of 30, never between 2 and 10 o'clock: the nights are lower than "
            f"{start.ph:.2f}, by 0.1 to 0.3 as a rule (common practice). Times are shorter and the suggested cut-off "
            "lies lower than told.",
        )
    elif start.nights < FEW_NIGHTS:
        yield (
            "few_nights",
            f"pH was read on {start.nights} nights of 30 only: the lowest night may be lower than {start.ph:.2f}.",
        )


def _of_reached(body: Body, situation: Situation) -> Iterator[tuple[str, str]]:
    passed = [f"{ph:g}" for ph in situation.asked.to_ph if body.start is not None and ph >= body.start.ph]
    if body.start is not None and passed:
        yield (
            "already_there",
            f"The water is at pH {body.start.ph:.2f} without any fault: {', '.join(passed)} takes no gas at all.",
        )


def _of_cut_off(body: Body, shown: dict[str, Any], at: datetime | None) -> Iterator[tuple[str, str]]:
    cut_off, suggested = body.cut_off, shown["cut_off"]["suggested"]
    if cut_off.ph is not None and suggested is not None:
        if cut_off.ph > suggested["night_minimum"] - BELOW_NIGHT_MINIMUM[0] / 2:
            yield (
                "cut_off_within_the_nights",
                f"The cut-off at {cut_off.ph:.2f} lies within the system's own nights (lowest "
                f"{suggested['night_minimum']:.2f}): it trips by itself, and what trips nightly gets bridged.",
            )
        elif cut_off.ph < suggested["low"] - A_PROBES_ERROR:
            yield (
                "cut_off_low",
                f"The cut-off at {cut_off.ph:.2f} lies lower than {suggested['low']:.2f}: a fault is cut off later "
                "than it could be.",
            )
    if cut_off.ignored_ph is not None:
        yield (
            "cut_off_is_the_chambers",
            f"A low_ph_cut_off of {cut_off.ignored_ph:.2f} is set: no tank's. It is not counted; what holds the "
            "chamber's pH is recorded as chamber_ph on the reactor.",
        )
    if not cut_off.knows_tests:
        return
    if cut_off.tested is None:
        yield "cut_off_never_tested", "No test of the low-pH cut-off is on record: nobody knows whether it shuts."
    elif cut_off.tested.bubbles_stopped is False:
        yield (
            "cut_off_did_not_shut",
            "In the last signed test the bubbles did not stop as asked: shut the cylinder by hand, and have the valve "
            "looked at by whoever is trained for it.",
        )
    elif at is not None and at - cut_off.tested.at > TEST_EVERY:
        days = (at - cut_off.tested.at).days
        yield "cut_off_test_old", f"The cut-off was last tested {days} days ago."


def _of_flow(situation: Situation, shown: dict[str, Any]) -> Iterator[tuple[str, str]]:
    largest = shown["largest_flow"]
    if largest is None:
        return
    most = largest["flow"]["without_exchange"]
    if most is not None and situation.asked.flow_g_h > most:
        yield (
            "cut_off_too_late",
            f"At {situation.asked.flow_g_h:g} g/h pH falls below {largest['stays_above_ph']:.2f} before the valve has "
            f"shut: in this model it stays above up to {most:.3g} g/h. A smaller orifice, a smaller cylinder or less "
            "delay would change that.",
        )
