"""Describing and changing rooms."""

from __future__ import annotations

from service.access.caller import Work
from service.access.rights import Right
from service.http.shapes import Amount
from service.resources.keeping.amounts import amount_in, refused
from service.resources.keeping.things import Thing, bodies, refuse_taken
from service.resources.places.rooms.models import ROOM, Room, RoomPatch, RoomRead, RoomSent
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import new_subject

KIND = "room"


def describe(work: Work, sent: RoomSent) -> Room:
    """The new room."""
    site = sites.one(work.session, work.scope, sent.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    refuse_taken(work.session, Room, field="tag", value=sent.tag, among=[Room.site_id == site.id], what="room")
    _check(sent.free_volume, sent.height, sent.air_changes_per_hour)
    return Room(
        id=new_subject(work.session, site.id, KIND).id,
        site_id=site.id,
        tag=sent.tag,
        name=sent.name,
        free_volume=sent.free_volume and sent.free_volume.model_dump(),
        height=sent.height and sent.height.model_dump(),
        air_changes_per_hour=sent.air_changes_per_hour,
        below_ground=sent.below_ground,
    )


def amend(work: Work, room: Room, patch: RoomPatch) -> None:
    """Change what the patch names."""
    _check(patch.free_volume, patch.height, patch.air_changes_per_hour)
    for name, value in patch.model_dump(exclude_unset=True).items():
        if value is not None or name in {"free_volume", "height", "air_changes_per_hour"}:
            setattr(room, name, value)


def _check(free_volume: Amount | None, height: Amount | None, air_changes_per_hour: float | None) -> None:
    if free_volume is not None:
        amount_in(free_volume, "m3", pointer="/free_volume", above=0)
    if height is not None:
        amount_in(height, "m", pointer="/height", above=0)
    if air_changes_per_hour is not None and air_changes_per_hour < 0:
        raise refused("/air_changes_per_hour", "Zero or more is expected.", air_changes_per_hour)


ROOMS = Thing(
    kept=ROOM,
    singular="room",
    plural="rooms",
    sent=RoomSent,
    patch=RoomPatch,
    read=RoomRead,
    describe=describe,
    amend=amend,
    show=bodies(ROOM),
)
