"""Swapping a cylinder: one call ends its place on the line and what is mounted, and begins the next one's."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.resources.equipment.gas_lines import membership
from service.resources.equipment.gas_lines.models import (
    CYLINDER,
    GAS_CAUTION,
    GAS_LINE,
    MEMBER,
    GasLine,
    GasLineMember,
    SwapSent,
)
from service.resources.equipment.gas_lines.queries import memberships
from service.resources.equipment.installations import actions as installations
from service.resources.equipment.installations.models import INSTALLATION
from service.resources.equipment.installations.queries import touching
from service.resources.equipment.intervals import Span, refuse_ahead, take_turns
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.models import Equipment
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note

NEW = "/new_cylinder_id"


def swapped(work: Work, cylinder_id: UUID, sent: SwapSent) -> tuple[dict[str, Any], bool]:
    """What the swap ended and began, and whether it is new; the same swap again is confirmed, not doubled.

    A swap in the past splits the old cylinder's time on the line: the new one stays as long as the old one did.
    Raises NotFound, NotAllowed, Unacceptable (not a cylinder, dip tube) or Conflict (on no line then, on another).
    """
    old = pieces.one(work.session, work.scope, cylinder_id, pointer="cylinder_id", place="path")
    work.caller.require(Right.RECORD, old.site_id)
    pieces.require_kind(old, CYLINDER, pointer="cylinder_id", place="path")
    new = pieces.one_of_kind(work.session, old.site_id, sent.new_cylinder_id, CYLINDER, pointer=NEW)
    if new.id == old.id:
        raise refused(NEW, "A cylinder is not swapped for itself. Send the id of the full one.", str(new.id))
    at = sent.at.astimezone(UTC)
    refuse_ahead(at, work.at, pointer="/at")
    take_turns(work.session, old.site_id)
    known = _known(work, old, new, at)
    if known is not None:
        return _answer(work, *known, at), False
    _exchange(work, old, new, at)
    known = _known(work, old, new, at)
    assert known is not None
    return _answer(work, *known, at), True


def _known(work: Work, old: Equipment, new: Equipment, at: datetime) -> tuple[GasLineMember, GasLineMember] | None:
    """The places that the old one left and the new one took at this instant, on one line, if they did."""
    held = memberships(work.session, [old.id, new.id])
    for left in held[old.id]:
        for taken in held[new.id]:
            if left.to_at == at == taken.from_at and left.line_id == taken.line_id:
                return left, taken
    return None


def _exchange(work: Work, old: Equipment, new: Equipment, at: datetime) -> None:
    place = _place(work, old, at)
    line = work.session.get_one(GasLine, place.line_id)
    rest = Span(at, place.to_at)
    membership.end(work, place, at)
    membership.begin(work, line, [(new, NEW)], rest)
    _move_what_is_mounted(work, old, new, at)
    before = GAS_LINE.body(line)
    line.version += 1
    work.session.flush()
    note(work, GAS_LINE, line, "changed", before=before, why="cylinder swap")


def _place(work: Work, old: Equipment, at: datetime) -> GasLineMember:
    held = memberships(work.session, [old.id])[old.id]
    for row in held:
        if row.span.holds_at(at) and row.from_at < at:
            return row
    known = "; ".join(f"{row.id} {row.span}" for row in held) or "none"
    detail = (
        f"{old.tag} was not on a gas line before and at this instant (its places on lines: {known}). "
        "Check `at`, or describe the line first."
    )
    raise Conflict(detail, (Fault("/at", detail, at.isoformat()),))


def _move_what_is_mounted(work: Work, old: Equipment, new: Equipment, at: datetime) -> None:
    """The new cylinder leaves where it stood, takes the old one's place, and carries what the old one carried."""
    for row in touching(work.session, new.id):
        if row.equipment_id == new.id and _began_before(row.span, at):
            installations.ended(work, row, at)
    for row in touching(work.session, old.id):
        if _began_before(row.span, at):
            stood = row.equipment_id == old.id
            installations.moved(
                work,
                row,
                at,
                equipment_id=new.id if stood else row.equipment_id,
                host_id=row.host_id if stood else new.id,
            )


def _began_before(span: Span, at: datetime) -> bool:
    return span.from_at < at and span.holds_at(at)


def _answer(work: Work, left: GasLineMember, taken: GasLineMember, at: datetime) -> dict[str, Any]:
    around_old, around_new = (touching(work.session, row.equipment_id) for row in (left, taken))
    ended = {row.id: row for row in [*around_old, *around_new] if row.to_at == at and row.from_at < at}
    return {
        "line_id": left.line_id,
        "ended": MEMBER.body(left),
        "begun": MEMBER.body(taken),
        "installations_ended": [INSTALLATION.body(row) for row in ended.values()],
        "installations_begun": [INSTALLATION.body(row) for row in around_new if row.from_at == at],
        "cautions": [GAS_CAUTION],
    }
