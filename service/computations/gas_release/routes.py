"""/v1/rooms/{id}/gas-release: what the gas in a room's cylinders would come to in its air."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request, Response

from service.computations.answers import remark
from service.computations.gas_release.answer import answered
from service.computations.gas_release.gather import RoomRecords, gather
from service.computations.gas_release.models import RoomGasReleaseRead
from service.computations.gas_release.situation import (
    USUAL_LEAK_G_H,
    USUAL_LEAK_HOURS,
    Leak,
    Released,
    Situation,
)
from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.errors import NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.keeping.things import found
from service.resources.places.rooms.actions import ROOMS
from service.resources.places.sites.exposure_limits import limits_of
from service.resources.places.sites.models import Site

router = APIRouter(prefix="/rooms", tags=["gas"])
OXYGEN_DOES_NOT_PROTECT = (
    "The room has an oxygen monitor and no carbon dioxide monitor: carbon dioxide is toxic long before an oxygen "
    "monitor sounds. Ask the site's safety officer for a carbon dioxide monitor."
)
NO_CHARGE = "The cylinder's charge or water capacity is not described: PATCH its specification."
NO_MONITOR = (
    "No carbon dioxide monitor is described in this room. Describe it as a gas_monitor, or ask the site's safety "
    "officer for one."
)


@router.get(
    "/{room_id}/gas-release",
    response_model=RoomGasReleaseRead,
    responses={**UNCHANGED, **may_refuse(NotFound, Unacceptable)},
)
def read_gas_release(
    room_id: Annotated[Id, Path(description="The room's id.")],
    request: Request,
    response: Response,
    door: DoorOf,
    at: AskedAt = None,
    gas_mass: Annotated[
        float | None, Query(gt=0, le=10_000, description="Gas that gets out, kg; left out, the cylinders in the room.")
    ] = None,
    leak_rate: Annotated[float, Query(gt=0, le=1e6, description="A lasting leak, g/h.")] = USUAL_LEAK_G_H,
    leak_hours: Annotated[float, Query(gt=0, le=1000, description="How long it lasts, h.")] = USUAL_LEAK_HOURS,
    supply_air: Annotated[
        float | None,
        Query(ge=0, le=1e6, description="Carbon dioxide in the incoming air, ppm; left out, as last read in the room."),
    ] = None,
) -> Any:
    """What the gas in a room's cylinders would come to in its air. Screening numbers, never a clearance."""
    with door.read() as work:
        room = found(work, ROOMS, room_id)
        instant = at or resolved(work.session, [room.site_id], work.at)
        tag = tag_for(work.session, request, site_ids=[room.site_id], at=instant, form="json")
        response.headers["ETag"] = tag
        held = held_already(request, tag)
        if held is not None:
            return held
        records = gather(work.session, room, instant)
        air = records.air if supply_air is None else replace(records.air, supply_ppm=supply_air)
        situation = Situation(
            air=air,
            released=_released(records) if gas_mass is None else [Released("as_asked", gas_mass)],
            leak=Leak(leak_rate, leak_hours),
            limits=limits_of(work.session.get_one(Site, room.site_id).exposure_limits),
        )
        return {**_shown(records, situation), "at": instant}


def _released(records: RoomRecords) -> list[Released]:
    """The largest cylinder, and all of them together where there are several."""
    masses = [each.full_kg for each in records.cylinders if each.full_kg is not None]
    largest = [Released("largest_cylinder", max(masses))] if masses else []
    return [*largest, Released("all_cylinders", sum(masses))] if len(masses) > 1 else largest


def _shown(records: RoomRecords, situation: Situation) -> dict[str, Any]:
    answer = answered(situation)
    return {
        **answer,
        "room_id": records.room.id,
        "cylinders": [
            {
                "equipment_id": each.piece.id,
                "tag": each.piece.tag,
                "gas": None if each.full_kg is None else {"value": each.full_kg, "unit": "kg"},
                "placed_by": each.placed_by,
            }
            for each in records.cylinders
        ],
        "monitors": list(records.co2_monitors),
        "used": {"readings": records.readings, "cylinders": len(records.cylinders)},
        "set_aside": [],
        "missing": [*answer["missing"], *_missing(records)],
        "findings": [*answer["findings"], *_findings(records)],
        "assumptions": [
            *answer["assumptions"],
            "A cylinder counts as full, whatever is left in it today: the next one will be.",
        ],
    }


def _missing(records: RoomRecords) -> list[dict[str, Any]]:
    said = [
        remark(
            "charge",
            "The cylinder's charge or water capacity is not described: PATCH its specification.",
            each.piece.id,
        )
        for each in records.cylinders
        if each.full_kg is None
    ]
    if records.unplaced:
        detail = (
            f"Nothing says in which room {', '.join(records.unplaced)} stand: PATCH the equipment with `room_id`. They "
            "are not counted here."
        )
        said.append(remark("cylinder_room", detail))
    return said


def _findings(records: RoomRecords) -> list[dict[str, Any]]:
    if records.co2_monitors or not records.cylinders:
        return []
    if records.oxygen_monitors:
        return [remark("oxygen_monitor_does_not_protect", OXYGEN_DOES_NOT_PROTECT, records.room.id)]
    return [remark("no_co2_monitor", NO_MONITOR, records.room.id)]
