"""From a simulated site to what its people would have sent, each act at its instant.

Readings of a room and a day are sent together by whoever did the round; everything else is one act a record.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from service.cli.demo_acts import Act, Correction, Recording, Round, Sent, Swap
from service.cli.demo_places import LINES, PLACES
from service.cli.demo_season import Season, as_printed
from service.resources.places.set_points.actions import SET_POINTS
from service.resources.records.additions.actions import ADDITIONS
from service.resources.records.maintenance_events.actions import MAINTENANCE_EVENTS
from service.resources.records.readings.actions import READINGS
from service.resources.records.stock_changes.actions import STOCK_CHANGES
from service.simulation import (
    Addition,
    MaintenanceEvent,
    Reading,
    Scenario,
    SetPoint,
    SimulatedGasLine,
    SimulatedSite,
    SimulatedSystem,
    StockChange,
)

Dated = tuple[datetime, UUID, Act]
ON_THE_SCALE = "cylinder and valve, cap off, regulator off"
LOW_PH_CUT_OFF = 7.55
STOCK_MEQ_L = 1000.0  # the dosing stock: a set rate in meq/d becomes litres
SET_FROM_THE_START = ("effluent_flow", "dosing_rate")
WRITTEN_UP_AFTER = timedelta(minutes=20)
THOUGHT_AGAIN_AFTER = timedelta(hours=26)
MISTAKEN = ("LAGOON", "RACKS", "QUARANTINE")
DRAINED_AFTER = timedelta(hours=1)


def acts_of(site: SimulatedSite, scenario: Scenario, season: Season) -> Iterator[Dated]:
    """Everything recorded of the site but its probes: when, by whom, what."""
    yield from _rounds(site, season)
    for system in site.systems:
        yield from _written_up(system, season)
    for line in site.gas_lines:
        yield from (act for act in _swaps(line, season) if act[0] < season.at(site.days))
    yield from (_cut_off(season, code) for line in site.gas_lines for code in line.feeds)
    yield from _filled_before(scenario, site, season)


def _rounds(site: SimulatedSite, season: Season) -> Iterator[Dated]:
    """The readings of every room and day, sent together after the last of them."""
    rounds: dict[tuple[str, date], list[tuple[datetime, dict[str, Any]]]] = defaultdict(list)
    for room, subject_id, reading in _readings(site, season):
        at = season.at(reading.taken_at)
        rounds[room, at.date()].append((at, _reading(season, room, subject_id, reading, at)))
    for (room, _), readings in rounds.items():
        readings.sort(key=lambda reading: reading[0])
        last = readings[-1][0]
        yield last + WRITTEN_UP_AFTER, season.on_duty(room, last), Round([item for _, item in readings])


def _readings(site: SimulatedSite, season: Season) -> Iterator[tuple[str, UUID, Reading]]:
    """Every reading with the room it was made in and what it is about."""
    described = season.described
    for system in site.systems:
        for reading in (*system.recorded.readings, *system.recorded.check_standards):
            yield PLACES[system.code].room, described.subjects[system.code, reading.subject], reading
    for line in site.gas_lines:
        for reading in line.weighings:
            hung = described.cylinders[line.code][sum(swap <= reading.taken_at for swap in line.swaps)]
            yield LINES[line.code].room, hung, reading


def _reading(season: Season, room: str, subject_id: UUID, reading: Reading, at: datetime) -> dict[str, Any]:
    """A reading in the unit its kit prints."""
    value, unit = as_printed(reading.quantity, reading.value, reading.unit)
    conditions: dict[str, Any] = {}
    if reading.quantity == "cylinder_gross_mass":
        conditions["hung_on_scale"] = ON_THE_SCALE
    if reading.stated is not None:
        stated, in_unit = as_printed(reading.quantity, reading.stated, reading.unit)
        conditions["stated_value"] = {"value": stated, "unit": in_unit}
    body: dict[str, Any] = {
        "id": str(_reading_id(season, subject_id, reading)),
        "subject_id": str(subject_id),
        "quantity": reading.quantity,
        "value": value,
        "unit": unit,
        "taken_at": at.isoformat(),
        "method": str(season.described.methods[reading.quantity, reading.method]),
        "purpose": reading.purpose,
        "observed_by": season.name_of(season.on_duty(room, at)),
        "conditions": conditions,
        "confirm": True,
    }
    return body if reading.lot is None else {**body, "lot_id": str(season.described.lots[reading.lot])}


def _reading_id(season: Season, subject_id: UUID, reading: Reading) -> UUID:
    return season.record_id("reading", subject_id, reading.quantity, reading.purpose, reading.taken_at)


def _written_up(system: SimulatedSystem, season: Season) -> Iterator[Dated]:
    """What is recorded of a system besides its readings."""
    recorded, code = system.recorded, system.code
    yield from (_addition(season, code, addition) for addition in recorded.additions)
    for point in recorded.set_points:
        if point.at > 0 or point.code in SET_FROM_THE_START:
            yield _set_point(season, code, point)
    yield from (_maintenance(season, code, event) for event in recorded.maintenance)
    yield from (_stock_change(season, code, change) for change in recorded.stock_changes)
    if code in MISTAKEN:
        yield _second_thought(season, code, recorded.of("temperature")[-2])


def _addition(season: Season, code: str, addition: Addition) -> Dated:
    """An addition, recorded when it ended; water that runs on, when it began."""
    begun, ended = season.at(addition.start), season.at(addition.end)
    described = season.described
    body: dict[str, Any] = {"system_id": str(described.subjects[code, "system"]), "confirm": True}
    amount = {"value": round(addition.amount, 1), "unit": addition.unit}
    water = {"alkalinity": {"value": addition.alkalinity_meq_l, "unit": "meq/L"}}
    span = {"started_at": begun.isoformat(), "ended_at": ended.isoformat()}
    match addition.kind:
        case "dose":
            body |= {"kind": "dose", "alkalinity": amount, **span}
        case "water_change":
            body |= {"kind": "water_change", "at": begun.isoformat(), "volume": amount, "new_water": water}
        case "exchange":
            flow = {"value": round(addition.amount / (addition.end - addition.start), 1), "unit": "L/d"}
            body |= {"kind": "exchange", "started_at": begun.isoformat(), "flow": flow, "new_water": water}
            ended = begun
        case "media":
            return begun, season.life_support, _media(season, code, addition.amount, begun)
        case _:
            body |= {"kind": "top_off", "liquid": addition.kind, "volume": amount, **span}
            if addition.kind == "limewater":
                body["strength"] = {"value": addition.alkalinity_meq_l, "unit": "meq/L"}
    record_id = season.record_id(code, addition.kind, addition.start)
    return ended, season.life_support, Recording(ADDITIONS, record_id, body)


def _media(season: Season, code: str, mass_kg: float, at: datetime) -> Recording:
    """A chamber filled anew."""
    body = {
        "kind": "media",
        "reactor_id": str(season.described.subjects[code, "reactor"]),
        "at": at.isoformat(),
        "mass": {"value": round(mass_kg, 1), "unit": "kg"},
        "replaces": True,
        "confirm": True,
    }
    return Recording(ADDITIONS, season.record_id(code, "media", at.isoformat()), body)


def _filled_before(scenario: Scenario, site: SimulatedSite, season: Season) -> Iterator[Dated]:
    """The last filling of every reactor before the season, as long ago as it took to use what is gone."""
    courses = {system.code: system.truth.media for system in site.systems}
    for system in scenario.system:
        if system.reactor:
            media = courses[system.code]
            a_day = float(media[0] - media[24 * 5]) / 5.0  # kg; nobody refills in the first five days
            gone = system.reactor.media_kg * (1.0 - system.reactor.media_share_at_start)
            filled = season.at(-round(gone / a_day))
            yield season.at(0), season.life_support, _media(season, system.code, system.reactor.media_kg, filled)


def _set_point(season: Season, code: str, point: SetPoint) -> Dated:
    """A set-point; a dosing rate as litres of the stock solution."""
    value, unit = point.value, point.unit
    if point.code == "dosing_rate":
        value, unit = 1000 * value / STOCK_MEQ_L, "mL/d"
    value, unit = as_printed(point.code, value, unit)
    at = season.at(point.at)
    body = {
        "subject_id": str(season.described.subjects[code, point.subject]),
        "quantity": point.code,
        "value": round(value, 1),
        "unit": unit,
        "from": at.isoformat(),
        "reason": point.reason or "as set up",
    }
    return at, season.supervisor, Recording(SET_POINTS, season.record_id(code, "set", point.code, point.at), body)


def _cut_off(season: Season, code: str) -> Dated:
    """The low-pH cut-off of a system that a reactor feeds, as set up."""
    at = season.at(0)
    body = {
        "subject_id": str(season.described.subjects[code, "system"]),
        "quantity": "low_ph_cut_off",
        "value": LOW_PH_CUT_OFF,
        "unit": "[pH]",
        "from": at.isoformat(),
        "reason": "below the lowest nights of the weeks before",
    }
    return at, season.supervisor, Recording(SET_POINTS, season.record_id(code, "set", "low_ph_cut_off"), body)


def _maintenance(season: Season, code: str, event: MaintenanceEvent) -> Dated:
    """A job done."""
    at = season.at(event.at)
    by = season.on_duty(PLACES[code].room, at)
    body: dict[str, Any] = {
        "subject_id": str(season.described.subjects[code, event.subject]),
        "kind": event.kind,
        "performed_at": at.isoformat(),
        "what": event.what,
        "minutes": 5 + 5 * (len(event.what) % 6),
        "performed_by": season.name_of(by),
    }
    if event.what == "drip line cleaned":
        body["restores"] = ["effluent_flow"]
    return at, by, Recording(MAINTENANCE_EVENTS, season.record_id(code, "job", event.what, event.at), body)


def _stock_change(season: Season, code: str, change: StockChange) -> Dated:
    """Corals that came."""
    at = season.at(change.at)
    count, what = change.note.split(" ", 1)
    body = {
        "subject_id": str(season.described.subjects[code, "system"]),
        "kind": "added",
        "at": at.isoformat(),
        "count": int(count),
        "what": what,
    }
    return at, season.supervisor, Recording(STOCK_CHANGES, season.record_id(code, "stock", change.at), body)


def _second_thought(season: Season, code: str, reading: Reading) -> Dated:
    """A slip of the pen in the last days, put right by the supervisor the day after."""
    record_id = _reading_id(season, season.described.subjects[code, reading.subject], reading)
    body = {"reason": "read from the wrong thermometer", "value": round(reading.value + 0.2, 1)}
    at = season.at(reading.taken_at) + THOUGHT_AGAIN_AFTER
    return at, season.supervisor, Correction(READINGS, record_id, body)


def _swaps(line: SimulatedGasLine, season: Season) -> Iterator[Dated]:
    """The swaps of a line; what is empty leaves to be filled and may come back."""
    hung = season.described.cylinders[line.code]
    for number, day in enumerate(line.swaps):
        at = season.at(day)
        yield at, season.life_support, Swap(hung[number], hung[number + 1], at)
        yield at + DRAINED_AFTER, season.supervisor, Sent(hung[number], "out_of_service", 1)
        back = LINES[line.code].refilled_after
        if back is not None:
            yield season.at(day + back), season.supervisor, Sent(hung[number], "in_service", 2)
