"""From records to a run-away: the systems a reactor feeds, their nights, their cut-off, the gas, the room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.computations.gas_release.gather import air_of, full_kg
from service.computations.last_read import Last, last_read
from service.computations.output_balance.chemistry import chemistry
from service.computations.output_balance.gather import ReactorRecords
from service.computations.output_balance.gather import gather as gather_reactors
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.outflow import inflow_of, mol_kg
from service.computations.output_balance.situation import Fed
from service.computations.run_away.exchange import exchange_by_balance
from service.computations.run_away.nights import Nights, lowest_of, shown_aside, thirty_days_before
from service.computations.run_away.situation import (
    TANK_PH_READS,
    UNKNOWN_EXCHANGE,
    Asked,
    Body,
    CutOffRecord,
    Exchange,
    Pressures,
    RoomOfIt,
    Situation,
    Start,
    Tested,
)
from service.computations.run_away.words import LOWEST_TANK_CUT_OFF, TEST_EVERY
from service.resources.equipment.gas_lines.models import CYLINDER
from service.resources.equipment.gas_lines.queries import line_of, members
from service.resources.equipment.installations.queries import mounts_on
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.rooms.models import Room
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.resources.places.sites.exposure_limits import limits_of
from service.resources.places.sites.models import Site
from service.resources.places.systems.models import System
from service.resources.records.commissionings.models import cut_off_test
from service.resources.records.commissionings.queries import last_cut_off_test
from service.resources.records.maintenance_events.queries import last_about
from service.resources.records.queries import system_courses
from service.science.hazards import Tank

CUT_OFF_WORDS = ("cut-off", "cut off", "cutoff")


@dataclass(frozen=True)
class RunAwayRecords:
    """One reactor's run-away at an instant, and what it was made of."""

    reactor: Equipment
    situation: Situation
    readings: dict[str, datetime]
    set_aside: list[dict[str, Any]]


def gather(session: Session, reactor: Equipment, at: datetime, asked: Asked) -> RunAwayRecords:
    """The records of one reactor, its systems, gas line and room."""
    records = gather_reactors(session, [reactor], at)[reactor.id]
    site = session.get_one(Site, reactor.site_id)
    fed = records.situation.fed
    cylinders = _cylinders(session, reactor.id, at)
    attached = [row.equipment_id for row in mounts_on(session, [reactor.id, *_ids(fed)]) if row.span.holds_at(at)]
    regulators = [
        row.equipment_id for row in mounts_on(session, [each.id for each in cylinders]) if row.span.holds_at(at)
    ]
    nights = system_courses(
        session,
        _ids(fed),
        "ph",
        start=thirty_days_before(at),
        end=at + timedelta(microseconds=1),
        probes_every=timedelta(hours=1),
    )
    shared = [reactor.id, *attached, *regulators]
    lows = {system_id: lowest_of(course, ZoneInfo(site.time_zone)) for system_id, course in nights.items()}
    bodies = [_body(session, each, lows, shared, at) for each in fed]
    room = _room(session, reactor, fed, site)
    gas = [kg for kg in map(full_kg, cylinders) if kg is not None]
    delivery = last_read(
        session, [reactor.id, *attached, *regulators, *(each.id for each in cylinders)], "delivery_pressure", at
    )
    chamber = last_read(session, [reactor.id], "chamber_pressure", at)
    air = None if room is None or room.room_id is None else last_read(session, [room.room_id], "room_co2", at)
    if room is not None and air is not None:
        room = replace(room, air=replace(room.air, supply_ppm=air.value))
    drip = records.situation.chamber.flow
    exchange = _exchange(records, bodies, air)
    situation = Situation(
        asked=asked,
        bodies=bodies,
        drip_l_d=None if drip is None else drip.value,
        gas_kg=sum(gas) if gas else None,
        exchange=exchange,
        pressures=Pressures(delivery and delivery.value, chamber and chamber.value),
        room=room,
        ordinary_use=records.situation.gas.by_weighing,
        chamber_control_ph=_set(session, [reactor.id], "chamber_ph", at),
        subject_id=reactor.id,
        lacks=[
            code
            for code, is_known in {
                "feed": bool(fed),
                "effluent_flow": drip is not None,
                "gas_mass": bool(gas),
                "room": room is not None,
                "chamber_pressure": chamber is not None,
                "delivery_pressure": delivery is not None,
                "gas_exchange": exchange.by != UNKNOWN_EXCHANGE.by,
            }.items()
            if not is_known
        ],
    )
    readings = {
        name: found.at
        for name, found in (("delivery_pressure", delivery), ("chamber_pressure", chamber), ("room_co2", air))
        if found is not None
    }
    readings |= {name: each.at for name, each in records.checks.items()}
    return RunAwayRecords(reactor, situation, readings, shown_aside(list(lows.values())))


def _ids(fed: Sequence[Fed]) -> list[UUID]:
    return [each.system_id for each in fed if each.system_id is not None]


def _body(session: Session, fed: Fed, lows: Mapping[UUID, Nights], shared: Sequence[UUID], at: datetime) -> Body:
    assert fed.system_id is not None
    start = lows[fed.system_id].start
    tank = _tank(fed, start)
    cut_off = _cut_off(session, fed.system_id, shared, at)
    known = {
        "water_volume": fed.volume_l is not None,
        "alkalinity_readings": fed.alkalinity is not None,
        "ph": start is not None,
        "ph_or_alkalinity": tank is not None or None in (start, fed.volume_l, fed.alkalinity),
        "cut_off": cut_off.ph is not None,
    }
    return Body(
        system_id=fed.system_id,
        tank=tank,
        share=fed.share,
        start=start,
        cut_off=cut_off,
        lacks=[code for code, is_known in known.items() if not is_known],
    )


def _tank(fed: Fed, start: Start | None) -> Tank | None:
    """The water at its lowest pH; None where something is not known, or no open tank has this pH and alkalinity."""
    if fed.volume_l is None or fed.alkalinity is None or fed.alkalinity.value <= 0 or start is None:
        return None
    if not TANK_PH_READS[0] <= start.ph <= TANK_PH_READS[1]:
        return None
    tank = Tank(
        volume_l=fed.volume_l,
        alkalinity_mol_kg=float(mol_kg(fed.alkalinity.value, fed.salinity, fed.temperature_c)),
        ph_nbs=start.ph,
        salinity=fed.salinity,
        temperature_c=fed.temperature_c,
        boron_factor=fed.boron_factor,
    )
    state = tank.state_at(start.ph)
    return tank if float(state.dic_mol_kg) > 0 and float(state.pco2_atm) <= 1.0 else None


def _cut_off(session: Session, system_id: UUID, shared: Sequence[UUID], at: datetime) -> CutOffRecord:
    """The tank cut-off: set on the system, else on its reactor or what is mounted; one below pH 7 is the chamber's."""
    held = set_points.history(session, [system_id, *shared], quantity="low_ph_cut_off")
    own = _in_force(held[system_id], at)
    others = [row for subject_id in shared if (row := _in_force(held[subject_id], at)) is not None]
    meant = own or max(others, key=lambda row: row.at, default=None)
    measured = _measured(session, [system_id, *shared], at)
    tested = _tested(measured, _told(session, [system_id, *shared], at), at)
    minutes = measured.closing_minutes if measured is not None and measured.bubbles_stopped else None
    if meant is None:
        return CutOffRecord(tested=tested, closing_minutes=minutes)
    if meant.value < LOWEST_TANK_CUT_OFF:
        return CutOffRecord(tested=tested, ignored_ph=meant.value, closing_minutes=minutes)
    return CutOffRecord(meant.value, meant.at, tested, closing_minutes=minutes)


def _tested(measured: Tested | None, told: Tested | None, at: datetime) -> Tested | None:
    """A signed test counts before one told in words, unless it has grown old and the words are newer."""
    if measured is None or told is None:
        return measured or told
    return told if told.at > measured.at and at - measured.at > TEST_EVERY else measured


def _measured(session: Session, subject_ids: Sequence[UUID], at: datetime) -> Tested | None:
    """The last signed run that tested the cut-off."""
    run = last_cut_off_test(session, subject_ids, at)
    if run is None or run.cut_off_tested_at is None:
        return None
    procedure = run.asked
    found = cut_off_test(run, procedure)
    assert found is not None
    minutes = found["closing_time"]["value"]
    stopped = "the bubbles stopped" if found["bubbles_stopped"] else "the bubbles did NOT stop as asked"
    made = "" if found["simulated_by"] is None else f" ({found['simulated_by']})"
    return Tested(
        at=run.cut_off_tested_at,
        what=procedure.title,
        findings=f"Tripped at pH {found['trip_ph']:.2f}{made}, shut after {minutes:.2g} min; {stopped}.",
        performed_by=run.entered.get("started_by"),
        commissioning_id=run.id,
        trip_ph=found["trip_ph"],
        closing_minutes=minutes,
        bubbles_stopped=found["bubbles_stopped"],
    )


def _told(session: Session, subject_ids: Sequence[UUID], at: datetime) -> Tested | None:
    """The last test that an event tells of in words."""
    event = last_about(session, subject_ids, CUT_OFF_WORDS, at)
    if event is None:
        return None
    entered = event.entered
    return Tested(event.at, entered["what"], entered.get("findings"), entered.get("performed_by"))


def _in_force(history: Sequence[SetPoint], at: datetime) -> SetPoint | None:
    return set_points.in_force(history, at).get("low_ph_cut_off")


def _set(session: Session, subject_ids: Sequence[UUID], quantity: str, at: datetime) -> float | None:
    held = set_points.history(session, subject_ids, quantity=quantity)
    rows = [row for history in held.values() for row in set_points.in_force(history, at).values()]
    return max(rows, key=lambda row: row.at).value if rows else None


def _cylinders(session: Session, reactor_id: UUID, at: datetime) -> list[Equipment]:
    """The cylinders on the reactor's gas line at an instant."""
    line_id = line_of(session, [reactor_id], at).get(reactor_id)
    if line_id is None:
        return []
    ids = [
        row.equipment_id
        for row in members(session, [line_id])[line_id]
        if row.kind == CYLINDER and row.span.holds_at(at)
    ]
    return list(session.exec(select(Equipment).where(col(Equipment.id).in_(ids)).order_by(col(Equipment.tag))))


def _room(session: Session, reactor: Equipment, fed: Sequence[Fed], site: Site) -> RoomOfIt | None:
    """The reactor's room, else that of a system it feeds."""
    systems = session.exec(select(System).where(col(System.id).in_(_ids(fed))).order_by(col(System.tag)))
    room_ids = [room_id for room_id in (reactor.room_id, *(row.room_id for row in systems)) if room_id is not None]
    if not room_ids:
        return None
    room = session.get_one(Room, room_ids[0])
    return RoomOfIt(room.id, air_of(room), limits_of(site.exposure_limits))


def _exchange(records: ReactorRecords, bodies: Sequence[Body], air: Last | None) -> Exchange:
    """By the balance of the one system that the reactor feeds; of several nobody knows which lost how much."""
    situation = records.situation
    inflow = inflow_of(situation.fed)
    drip = situation.chamber.flow
    if len(bodies) != 1 or bodies[0].tank is None or inflow is None or drip is None:
        return UNKNOWN_EXCHANGE
    found, ph = chemistry(situation.chamber, inflow), situation.fed[0].ph
    if found is None or ph is None:
        return UNKNOWN_EXCHANGE
    added = found.found.added_co2_mol_kg
    return exchange_by_balance(
        tank=bodies[0].tank,
        ph=ph,
        added_mol_kg=Number(float(added.value), float(added.sd)),
        drip_l_d=drip.value,
        room_co2_ppm=None if air is None else air.value,
    )
