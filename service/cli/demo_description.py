"""What the invented holding hall consists of: its people, rooms, systems, tanks and equipment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from service.access.caller import Caller, Work
from service.access.rights import Role
from service.cli.opening import OPERATOR
from service.http.shapes import Shape
from service.resources.catalogue.lots.actions import LOTS
from service.resources.catalogue.methods.actions import METHODS
from service.resources.equipment.feeds.actions import FEEDS
from service.resources.equipment.gas_lines.actions import GAS_LINES
from service.resources.equipment.installations.actions import INSTALLATIONS
from service.resources.equipment.pieces.actions import PIECES
from service.resources.keeping.records import record_one
from service.resources.keeping.things import Thing, described
from service.resources.people.persons import actions as people
from service.resources.people.persons.models import PersonSent
from service.resources.places.rooms.actions import ROOMS
from service.resources.places.set_points.actions import SET_POINTS
from service.resources.places.sites.actions import SITES
from service.resources.places.sites.queries import id_named
from service.resources.places.systems.actions import SYSTEMS
from service.resources.places.tanks.actions import TANKS
from service.science.units import convert
from service.simulation import SimulatedSystem

SITE = {"tag": "holding-hall", "name": "The Holding Hall", "time_zone": "Europe/Berlin", "units": {"alkalinity": "dKH"}}
STAFF = (("Ner Tidewell", Role.SUPERVISOR), ("Oska Brine", Role.KEEPER), ("Imre Shoal", Role.KEEPER))
ROOMS_SENT: tuple[dict[str, Any], ...] = (
    {"tag": "hall", "name": "Hall", "free_volume": {"value": 210, "unit": "m3"}, "air_changes_per_hour": 1.5},
    {"tag": "back-room", "name": "Back room", "free_volume": {"value": 38, "unit": "m3"}, "below_ground": True},
)
PLACES: dict[str, dict[str, Any]] = {
    "LAGOON": {
        "room": "hall",
        "class": "clean",
        "tanks": (("lagoon-1", "Lagoon", 1500), ("lagoon-2", "Frag shelf", 260)),
    },
    "NURSERY": {
        "room": "hall",
        "class": "clean",
        "tanks": (("nursery-1", "Nursery left", 300), ("nursery-2", "Nursery right", 300)),
    },
    "QUARANTINE": {"room": "back-room", "class": "quarantine", "tanks": (("quarantine-1", "Quarantine", 280),)},
}
LOW_PH_CUT_OFF = 7.6
HUNG_BEFORE = timedelta(days=215)  # full then; at 16.5 g a day 0.95 kg are left when the season begins
RELATIVE = {"effluent_flow", "effluent_alkalinity", "bubble_rate", "limewater_strength"}


@dataclass
class Described:
    """What was described: the ids that records need, and the staff as callers."""

    site_id: UUID
    staff: dict[UUID, Caller] = field(default_factory=dict)
    subjects: dict[tuple[str, str], UUID] = field(default_factory=dict)
    methods: dict[tuple[str, str], UUID] = field(default_factory=dict)
    lots: dict[str, UUID] = field(default_factory=dict)
    cylinders: list[UUID] = field(default_factory=list)


class _Describer:
    """Describes things from plain bodies, as a script would by the API."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def __call__(self, thing: Thing[Any], **body: Any) -> UUID:
        sent: Shape = thing.sent.model_validate(body)
        row_id: UUID = described(self._work, thing, sent).id
        return row_id


def describe_site(work: Work, systems: Sequence[SimulatedSystem], start: datetime) -> Described:
    """Everything that stands in the hall, in place since the season began."""
    describe = _Describer(work)
    found = Described(describe(SITES, **SITE))
    for name, role in STAFF:
        person = people.add(work, PersonSent(name=name, role=role, site_id=found.site_id), id_named)
        found.staff[person.id] = replace(OPERATOR, id=person.id, name=name, kind="person", roles={found.site_id: role})
    rooms = {room["tag"]: describe(ROOMS, site_id=found.site_id, **room) for room in ROOMS_SENT}
    for system in systems:
        _describe_system(describe, found, system, rooms)
        _describe_methods(describe, found, system, start)
    _describe_gas(describe, found, rooms, start)
    _set_cut_off(work, found, start)
    _describe_small_equipment(describe, found, rooms, start)
    return found


def _describe_system(describe: _Describer, found: Described, system: SimulatedSystem, rooms: dict[str, UUID]) -> None:
    place = PLACES[system.code]
    held = {point.code: point for point in system.recorded.set_points if point.at == 0}
    target = held.get("target_alkalinity")
    system_id = describe(
        SYSTEMS,
        site_id=found.site_id,
        tag=system.code.lower(),
        name=system.name,
        room_id=rooms[place["room"]],
        quarantine_class=place["class"],
        water_volume={"value": system.recorded.water_volume_l, "unit": "L"},
        reference_salinity=held["reference_salinity"].value,
        targets={"alkalinity": _rounded_target(target.value)} if target else {},
    )
    found.subjects[system.code, "system"] = system_id
    for tag, name, litres in place["tanks"]:
        describe(TANKS, system_id=system_id, tag=tag, name=name, gross_volume={"value": litres, "unit": "L"})


def _rounded_target(meq_l: float) -> dict[str, Any]:
    """The target as a keeper says it: a tenth of a dKH."""
    return {"value": round(float(convert(meq_l, unit="meq/L", to="dKH")), 1), "unit": "dKH"}


def _describe_methods(describe: _Describer, found: Described, system: SimulatedSystem, start: datetime) -> None:
    """Every method that was used, with the repeatability its readings state, and every reagent lot."""
    for reading in system.recorded.readings:
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


def _describe_gas(describe: _Describer, found: Described, rooms: dict[str, UUID], start: datetime) -> None:
    """One reactor on one gas line with two cylinders to take turns."""
    at, hall = (start - HUNG_BEFORE).isoformat(), rooms["hall"]
    reactor = describe(
        PIECES, site_id=found.site_id, tag="reactor-1", kind="calcium_reactor", name="Lagoon reactor", room_id=hall,
        specification={
            "chambers": 1, "chamber_volume": {"value": 20, "unit": "L"}, "media_kind": "aragonite",
            "media_mass": {"value": 18, "unit": "kg"}, "operation_mode": "constant_gas",
        },
    )  # fmt: skip
    found.cylinders = [
        describe(
            PIECES, site_id=found.site_id, tag=tag, kind="co2_cylinder", room_id=hall,
            specification={
                "stamped_tare": {"value": 6.85, "unit": "kg"}, "tare_includes": "valve, no cap",
                "water_capacity": {"value": 6.62, "unit": "L"}, "charge": {"value": 4.5, "unit": "kg"},
                "dip_tube": False,
            },
        )
        for tag in ("cylinder-a", "cylinder-b")
    ]  # fmt: skip
    regulator = describe(
        PIECES,
        site_id=found.site_id,
        tag="regulator-1",
        kind="co2_regulator",
        specification={"stages": 2},
        room_id=hall,
    )
    first = found.cylinders[0]
    describe(INSTALLATIONS, equipment_id=regulator, host_id=first, **{"from": at})
    describe(
        GAS_LINES, site_id=found.site_id, tag="gas-1", name="Hall gas line",
        cylinder_ids=[first], reactor_ids=[reactor], **{"from": at},
    )  # fmt: skip
    describe(FEEDS, reactor_id=reactor, system_id=found.subjects["LAGOON", "system"], **{"from": at})
    found.subjects["LAGOON", "reactor"], found.subjects["LAGOON", "cylinder"] = reactor, first


def _set_cut_off(work: Work, found: Described, at: datetime) -> None:
    """The lagoon's low-pH cut-off, as set up."""
    system_id = found.subjects["LAGOON", "system"]
    sent = {
        "subject_id": str(system_id), "quantity": "low_ph_cut_off", "value": LOW_PH_CUT_OFF, "unit": "[pH]",
        "from": at.isoformat(), "reason": "below the lowest nights of the first weeks",
    }  # fmt: skip
    record_one(work, SET_POINTS, uuid5(system_id, "low-pH cut-off"), SET_POINTS.sent.model_validate(sent))


def _describe_small_equipment(describe: _Describer, found: Described, rooms: dict[str, UUID], start: datetime) -> None:
    probe = describe(
        PIECES,
        site_id=found.site_id,
        tag="ph-probe-1",
        kind="probe",
        specification={"quantity": "ph"},
        room_id=rooms["hall"],
    )
    describe(
        INSTALLATIONS, equipment_id=probe, host_id=found.subjects["LAGOON", "system"], **{"from": start.isoformat()}
    )
    found.subjects["LAGOON", "probe"] = probe
    describe(
        PIECES,
        site_id=found.site_id,
        tag="dosing-1",
        kind="dosing_pump",
        name="Nursery dosing pump",
        room_id=rooms["hall"],
    )
    found.subjects["QUARANTINE", "top_off"] = describe(
        PIECES, site_id=found.site_id, tag="lime-1", kind="limewater_stirrer", name="Limewater stirrer",
        specification={"volume": {"value": 30, "unit": "L"}}, room_id=rooms["back-room"],
    )  # fmt: skip
