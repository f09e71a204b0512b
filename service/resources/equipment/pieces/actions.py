"""Describing pieces of equipment, and changing what is known of them and in what state they are."""

from __future__ import annotations

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.resources.equipment.feeds import queries as feeds
from service.resources.equipment.gas_lines import queries as gas_lines
from service.resources.equipment.installations import queries as installations
from service.resources.equipment.intervals import take_turns
from service.resources.equipment.pieces.models import (
    EQUIPMENT,
    RETIRED,
    Equipment,
    EquipmentPatch,
    EquipmentRead,
    EquipmentSent,
)
from service.resources.equipment.pieces.queries import has_dip_tube, shown
from service.resources.equipment.pieces.specifications import checked
from service.resources.keeping.things import Thing, refuse_taken
from service.resources.places.rooms import queries as rooms
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import new_subject


def describe(work: Work, sent: EquipmentSent) -> Equipment:
    """The new piece of equipment."""
    site = sites.one(work.session, work.scope, sent.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    among = [Equipment.site_id == site.id]
    refuse_taken(work.session, Equipment, field="tag", value=sent.tag, among=among, what="piece of equipment")
    specification = checked(sent.kind, sent.specification, at=work.at)
    room_id = rooms.id_on_site(work.session, site.id, sent.room_id)
    return Equipment(
        id=new_subject(work.session, site.id, sent.kind).id,
        site_id=site.id,
        tag=sent.tag,
        kind=sent.kind,
        name=sent.name,
        specification=specification,
        state=sent.state,
        room_id=room_id,
        described_at=work.at,
    )


def amend(work: Work, row: Equipment, patch: EquipmentPatch) -> None:
    """Change what the patch names. What is still in use is not retired, and no dip tube comes onto a gas line."""
    take_turns(work.session, row.site_id)
    if patch.specification is not None:
        row.specification = checked(row.kind, patch.specification, at=work.at)
        _refuse_liquid_on_a_line(work, row)
    if patch.state == RETIRED:
        _refuse_in_use(work, row)
    if patch.state is not None:
        row.state = patch.state
    if "room_id" in patch.model_fields_set:
        row.room_id = rooms.id_on_site(work.session, row.site_id, patch.room_id)
    if "name" in patch.model_fields_set:
        row.name = patch.name


def _refuse_liquid_on_a_line(work: Work, row: Equipment) -> None:
    still = gas_lines.still_on(work.session, row.id) if has_dip_tube(row) else None
    if still is not None:
        detail = (
            f"This cylinder is on a gas line ({still.line_id}, {still.span}); one with a dip tube delivers liquid and "
            "is refused there. Swap it first, and have the line checked by whoever is trained for it."
        )
        raise Conflict(detail, (Fault("/specification/dip_tube", detail, True),))


def _refuse_in_use(work: Work, row: Equipment) -> None:
    for what, found in (
        ("an installation", installations.still_mounted(work.session, row.id)),
        ("a place on a gas line", gas_lines.still_on(work.session, row.id)),
        ("a feed", feeds.still_feeding(work.session, row.id)),
    ):
        if found is not None:
            detail = f"{row.tag} still has {what}: {found.id}, {found.span}. End that first."
            raise Conflict(detail, (Fault("/state", detail, RETIRED),))


PIECES = Thing(
    kept=EQUIPMENT,
    singular="piece_of_equipment",
    plural="equipment",
    sent=EquipmentSent,
    patch=EquipmentPatch,
    read=EquipmentRead,
    describe=describe,
    amend=amend,
    show=shown,
)
