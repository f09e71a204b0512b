"""Describes the invented holding hall: people, rooms, systems, tanks, reactors, gas lines, pumps and probes."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from service.access.caller import Caller, Work
from service.cli.demo_places import (
    CO2_ALARM,
    LINES,
    MONITORED,
    PLACES,
    REACTORS,
    ROOMS,
    SITE,
    STAFF,
    Line,
)
from service.cli.opening import OPERATOR
from service.http.shapes import Shape
from service.resources.catalogue.lots.actions import LOTS
from service.resources.catalogue.methods.actions import METHODS
from service.resources.equipment.feeds.actions import FEEDS
from service.resources.equipment.gas_lines.actions import GAS_LINES
from service.resources.equipment.installations.actions import INSTALLATIONS
from service.resources.equipment.pieces.actions import PIECES
from service.resources.keeping.things import Thing, described
from service.resources.people.persons import actions as people
from service.resources.people.persons.models import PersonSent
from service.resources.places.rooms import actions as rooms
from service.resources.places.sites.actions import SITES
from service.resources.places.sites.queries import id_named
from service.resources.places.systems.actions import SYSTEMS
from service.resources.places.tanks.actions import TANKS
from service.science.units import convert
from service.simulation import Reading, Scenario, SimulatedGasLine, SimulatedSite, SimulatedSystem

MODES = {"constant_gas": "constant_gas", "ph_controlled": "controlled_ph"}
RELATIVE = {"effluent_flow", "effluent_alkalinity", "bubble_rate", "limewater_strength"}
SETTLING_DAYS = 14


@dataclass
class Described:
    """What was described: the ids that records need, and the staff as callers."""

    site_id: UUID
    staff: dict[UUID, Caller] = field(default_factory=dict)
    subjects: dict[tuple[str, str], UUID] = field(default_factory=dict)
    """By code of the system, and system, reactor, probe, pump or top_off"""
    probes: dict[tuple[str, str], UUID] = field(default_factory=dict)
    """By code of the system and quantity"""
    methods: dict[tuple[str, str], UUID] = field(default_factory=dict)
    lots: dict[str, UUID] = field(default_factory=dict)
    cylinders: dict[str, list[UUID]] = field(default_factory=dict)
    """By code of the gas line, in the order they hang on it"""


class _Describer:
    """Describes things from plain bodies, as a script would by the API."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def __call__(self, thing: Thing[Any], **body: Any) -> UUID:
        sent: Shape = thing.sent.model_validate(body)
        row_id: UUID = described(self._work, thing, sent).id
        return row_id


def describe_site(work: Work, scenario: Scenario, site: SimulatedSite, start: datetime) -> Described:
    """Everything that stands in the hall, in place since the season began."""
    describe = _Describer(work)
    found = Described(describe(SITES, **SITE))
    for name, role in STAFF:
        person = people.add(work, PersonSent(name=name, role=role, site_id=found.site_id), id_named)
        found.staff[person.id] = replace(OPERATOR, id=person.id, name=name, kind="person", roles={found.site_id: role})
    room_ids = {room["tag"]: describe(rooms.ROOMS, site_id=found.site_id, **room) for room in ROOMS}
    for tag in MONITORED:
        _piece(describe, found, f"monitor-{tag}", "gas_monitor", room_ids[tag], quantity="room_co2",
               alarm_set_points=[CO2_ALARM])  # fmt: skip
    for system in site.systems:
        _describe_system(describe, found, system, room_ids)
        _describe_equipment(describe, found, system, room_ids[PLACES[system.code].room], start)
        _describe_methods(describe, found, (*system.recorded.readings, *system.recorded.check_standards), start)
    for line in site.gas_lines:
        _describe_reactors(describe, found, line, scenario, room_ids)
        _describe_gas_line(describe, found, line, scenario, start)
        _describe_methods(describe, found, line.weighings, start)
    return found


def _piece(describe: _Describer, found: Described, tag: str, kind: str, room_id: UUID, **specification: Any) -> UUID:
    return describe(
        PIECES, site_id=found.site_id, tag=tag, kind=kind, room_id=room_id, specification=specification
    )  # fmt: skip


def _describe_system(
    describe: _Describer, found: Described, system: SimulatedSystem, room_ids: dict[str, UUID]
) -> None:
    place = PLACES[system.code]
    held = {point.code: point for point in system.recorded.set_points if point.at == 0}
    target = held.get("target_alkalinity")
    system_id = describe(
        SYSTEMS,
        site_id=found.site_id,
        tag=system.code.lower(),
        name=system.name,
        room_id=room_ids[place.room],
        quarantine_class=place.quarantine_class,
        water_volume={"value": system.recorded.water_volume_l, "unit": "L"},
        reference_salinity=held["reference_salinity"].value,
        targets={"alkalinity": _rounded_target(target.value)} if target else {},
    )
    found.subjects[system.code, "system"] = system_id
    for tag, name, litres in place.tanks:
        describe(TANKS, system_id=system_id, tag=tag, name=name, gross_volume={"value": litres, "unit": "L"})


def _rounded_target(meq_l: float) -> dict[str, Any]:
    """The target as a keeper says it: a tenth of a dKH."""
    return {"value": round(float(convert(meq_l, unit="meq/L", to="dKH")), 1), "unit": "dKH"}


def _describe_equipment(
    describe: _Describer, found: Described, system: SimulatedSystem, room_id: UUID, start: datetime
) -> None:
    """The probes in a system, and the pump or stirrer beside it."""
    place, code = PLACES[system.code], system.code
    for probe in system.recorded.probes:
        piece = _piece(
            describe, found, f"{probe.quantity}-probe-{code.lower()}", "probe", room_id, quantity=probe.quantity
        )
        describe(INSTALLATIONS, equipment_id=piece, host_id=found.subjects[code, "system"], **_since(start))
        found.probes[code, probe.quantity] = piece
        if probe.quantity == "ph":
            found.subjects[code, "probe"] = piece
    if place.dosing_pump:
        found.subjects[code, "pump"] = _piece(describe, found, place.dosing_pump, "dosing_pump", room_id)
    if place.stirrer:
        volume = {"value": 30, "unit": "L"}
        found.subjects[code, "top_off"] = _piece(
            describe, found, place.stirrer, "limewater_stirrer", room_id, volume=volume
        )


def _describe_methods(describe: _Describer, found: Described, readings: tuple[Reading, ...], start: datetime) -> None:
    """Every method that was used, with the repeatability its readings state, and every reagent lot."""
    for reading in readings:
        key = (reading.quantity, reading.method)
        if key not in found.methods:
            how_well: dict[str, Any] = (
                {"relative_sd": round(reading.sd / reading.value, 3)}
                if reading.quantity in RELATIVE
                else {"repeatability": {"value": reading.sd, "unit": _unit_of_sd(reading.unit, reading.quantity)}}
            )
            found.methods[key] = describe(METHODS, name=reading.method, quantity=reading.quantity, **how_well)
        if reading.lot is not None and reading.lot not in found.lots:
            opened = start + timedelta(days=reading.taken_at)
            found.lots[reading.lot] = describe(
                LOTS, number=reading.lot, method_id=found.methods[key], opened_at=opened.isoformat()
            )


def _unit_of_sd(unit: str, quantity: str) -> str:
    return "[pH]" if quantity == "ph" or quantity.endswith("_ph") else unit


def _describe_reactors(
    describe: _Describer, found: Described, line: SimulatedGasLine, scenario: Scenario, room_ids: dict[str, UUID]
) -> None:
    specs = {system.code: system for system in scenario.system}
    for code in line.feeds:
        spec = specs[code].reactor
        assert spec is not None
        found.subjects[code, "reactor"] = describe(
            PIECES,
            site_id=found.site_id,
            tag=REACTORS[code],
            kind="calcium_reactor",
            name=f"{specs[code].name} reactor",
            room_id=room_ids[PLACES[code].room],
            specification={
                "chambers": 1,
                "chamber_volume": {"value": spec.chamber_l, "unit": "L"},
                "media_kind": "aragonite",
                "media_mass": {"value": spec.media_kg, "unit": "kg"},
                "operation_mode": MODES[spec.mode],
            },
        )
    for tag in sorted({PLACES[code].room for code in line.feeds}):
        found.subjects[line.code, "room"] = room_ids[tag]


def _describe_gas_line(
    describe: _Describer, found: Described, line: SimulatedGasLine, scenario: Scenario, start: datetime
) -> None:
    """One line with its reactors, its regulator on the first cylinder, and the others beside it."""
    place, room_id = LINES[line.code], found.subjects[line.code, "room"]
    since = _since(start - _hung_before(line, scenario))
    for tag in place.cylinders:
        found.cylinders.setdefault(line.code, []).append(
            _cylinder(describe, found, tag, place, line.code, scenario, room_id)
        )
    first = found.cylinders[line.code][0]
    regulator = _piece(describe, found, place.regulator, "co2_regulator", room_id, stages=2)
    describe(INSTALLATIONS, equipment_id=regulator, host_id=first, **since)
    reactor_ids = [found.subjects[code, "reactor"] for code in line.feeds]
    describe(
        GAS_LINES, site_id=found.site_id, tag=place.tag, name=f"Gas line {place.tag[-1]}", cylinder_ids=[first],
        reactor_ids=reactor_ids, **since,
    )  # fmt: skip
    for code, reactor_id in zip(line.feeds, reactor_ids, strict=True):
        describe(FEEDS, reactor_id=reactor_id, system_id=found.subjects[code, "system"], **since)


def _cylinder(
    describe: _Describer, found: Described, tag: str, place: Line, code: str, scenario: Scenario, room_id: UUID
) -> UUID:
    (spec,) = (line.cylinder for line in scenario.gas_line if line.code == code)
    return _piece(
        describe, found, tag, "co2_cylinder", room_id,
        stamped_tare={"value": spec.tare_kg, "unit": "kg"}, tare_includes="valve, no cap",
        water_capacity={"value": place.water_capacity_l, "unit": "L"},
        charge={"value": spec.charge_kg, "unit": "kg"}, dip_tube=False,
    )  # fmt: skip


def _hung_before(line: SimulatedGasLine, scenario: Scenario) -> timedelta:
    """How long before the season the first cylinder was hung: full then, and used as in the first fortnight."""
    (spec,) = (each.cylinder for each in scenario.gas_line if each.code == line.code)
    a_day = line.lost_g[24 * SETTLING_DAYS] / SETTLING_DAYS / 1000.0
    return timedelta(days=round((spec.charge_kg - spec.at_start_kg) / float(a_day)))


def _since(at: datetime) -> dict[str, str]:
    return {"from": at.isoformat()}
