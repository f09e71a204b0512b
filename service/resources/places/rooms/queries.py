"""Finding rooms."""

from __future__ import annotations

from uuid import UUID

from sqlmodel import Session

from service.errors import Fault, NotFound
from service.resources.places.rooms.models import Room


def id_on_site(session: Session, site_id: UUID, room_id: UUID | None) -> UUID | None:
    """The room's id once it is known to be of this site; None stays None. Raises NotFound naming `room_id`."""
    if room_id is None:
        return None
    room = session.get(Room, room_id)
    if room is None or room.site_id != site_id:
        detail = "There is no room with this id on this site."
        raise NotFound(detail, (Fault("/room_id", detail, str(room_id)),))
    return room_id
