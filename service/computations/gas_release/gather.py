"""From records to a room's air: which cylinders stand in it, what its monitors read, which limits hold."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.computations.gas_release.situation import USUAL_ROOM_C, Air
from service.computations.last_read import last_read
from service.resources.equipment.feeds.queries import feeds_from
from service.resources.equipment.gas_lines.models import CYLINDER, REACTOR
from service.resources.equipment.gas_lines.queries import members, memberships
from service.resources.equipment.installations.queries import mounts_of
from service.resources.equipment.pieces.models import Equipment
from service.resources.equipment.pieces.queries import of_site
from service.resources.equipment.pieces.specifications import of_kind
from service.resources.places.rooms.models import Room
from service.resources.places.systems.models import System
from service.science.room import OUTDOOR_PPM
from service.science.units import convert

MOST_KG_L = 0.75  # the highest filling ratio in use; 49 CFR 173.304a allows 0.68, others more
NOT_THERE = {"planned", "retired"}


@dataclass(frozen=True)
class Standing:
    """A cylinder in the room: what it holds when full, and what says that it stands there."""

    piece: Equipment
    full_kg: float | None
    placed_by: str


@dataclass(frozen=True)
class RoomRecords:
    """One room's air and what stands in it."""

    room: Room
    air: Air
    cylinders: tuple[Standing, ...]
    co2_monitors: tuple[str, ...]
    oxygen_monitors: tuple[str, ...]
    unplaced: tuple[str, ...]
    readings: Mapping[str, datetime]


def gather(session: Session, room: Room, at: datetime) -> RoomRecords:
    """One room at an instant, in a fixed number of queries."""
    pieces = [piece for piece in of_site(session, room.site_id) if piece.state not in NOT_THERE]
    places = _places(session, pieces, at)
    here = [piece for piece in pieces if places.get(piece.id, _NOWHERE)[0] == room.id]
    monitors = [piece for piece in here if piece.kind == "gas_monitor"]
    by_gas = {
        quantity: [piece for piece in monitors if piece.specification.get("quantity") == quantity]
        for quantity in ("room_co2", "oxygen")
    }
    co2 = last_read(session, [room.id, *(piece.id for piece in by_gas["room_co2"])], "room_co2", at)
    celsius = last_read(session, [room.id], "temperature", at)
    return RoomRecords(
        room=room,
        air=air_of(room, supply_ppm=co2 and co2.value, temperature_c=celsius and celsius.value),
        cylinders=tuple(
            Standing(piece, full_kg(piece), places[piece.id][1]) for piece in here if piece.kind == CYLINDER
        ),
        co2_monitors=tuple(piece.tag for piece in by_gas["room_co2"]),
        oxygen_monitors=tuple(piece.tag for piece in by_gas["oxygen"]),
        unplaced=tuple(piece.tag for piece in pieces if piece.kind == CYLINDER and piece.id not in places),
        readings={name: found.at for name, found in (("room_co2", co2), ("temperature", celsius)) if found is not None},
    )


def air_of(room: Room, *, supply_ppm: float | None = None, temperature_c: float | None = None) -> Air:
    """A room as described, with what was read in it."""
    return Air(
        free_volume_m3=_amount(room.free_volume, "m3"),
        height_m=_amount(room.height, "m"),
        air_changes_per_hour=room.air_changes_per_hour,
        below_ground=room.below_ground,
        temperature_c=USUAL_ROOM_C if temperature_c is None else temperature_c,
        supply_ppm=OUTDOOR_PPM if supply_ppm is None else supply_ppm,
    )


def full_kg(cylinder: Equipment) -> float | None:
    """What a cylinder holds when full: its charge, else the most that is filled into its water capacity."""
    known = of_kind(CYLINDER, cylinder.specification)
    if known.charge_kg is not None:
        return float(known.charge_kg)
    return None if known.capacity_l is None else MOST_KG_L * float(known.capacity_l)


_NOWHERE: tuple[UUID | None, str] = (None, "")


def _places(session: Session, pieces: Sequence[Equipment], at: datetime) -> dict[UUID, tuple[UUID, str]]:
    """The room of each piece and what says so; pieces that nothing places are left out."""
    rooms = set(session.exec(select(Room.id).where(col(Room.site_id).in_({piece.site_id for piece in pieces}))))
    placed = {piece.id: (piece.room_id, "room") for piece in pieces if piece.room_id is not None}
    for mount in mounts_of(session, [piece.id for piece in pieces]):
        if mount.span.holds_at(at) and mount.host_id in rooms:
            placed.setdefault(mount.equipment_id, (mount.host_id, "installation"))
    homeless = [piece.id for piece in pieces if piece.kind == CYLINDER and piece.id not in placed]
    for cylinder_id, room_id in _by_gas_line(session, homeless, placed, at):
        placed.setdefault(cylinder_id, (room_id, "gas_line"))
    return placed


def _by_gas_line(
    session: Session, cylinder_ids: Sequence[UUID], placed: Mapping[UUID, tuple[UUID, str]], at: datetime
) -> Iterator[tuple[UUID, UUID]]:
    """Cylinders whose room is that of a reactor on their line, or of a system that it feeds."""
    on = {
        cylinder_id: row.line_id
        for cylinder_id, rows in memberships(session, cylinder_ids).items()
        for row in rows
        if row.span.holds_at(at)
    }
    reactors = {
        line_id: [row.equipment_id for row in rows if row.kind == REACTOR and row.span.holds_at(at)]
        for line_id, rows in members(session, sorted(set(on.values()))).items()
    }
    feeds = feeds_from(session, [each for ids in reactors.values() for each in ids])
    fed = {feed.reactor_id: feed.system_id for feed in feeds if feed.span.holds_at(at)}
    systems = {row.id: row.room_id for row in session.exec(select(System).where(col(System.id).in_(fed.values())))}
    for cylinder_id, line_id in on.items():
        for reactor_id in reactors[line_id]:
            room_id = placed[reactor_id][0] if reactor_id in placed else systems.get(fed.get(reactor_id, reactor_id))
            if room_id is not None:
                yield cylinder_id, room_id


def _amount(stored: Any, unit: str) -> float | None:
    return None if stored is None else float(convert(stored["value"], unit=stored["unit"], to=unit))
