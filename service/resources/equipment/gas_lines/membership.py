"""Putting cylinders and reactors onto a gas line, and taking them off: each change has its entry in the trail."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from service.access.caller import Work
from service.errors import Conflict, Fault
from service.resources.equipment.gas_lines import queries
from service.resources.equipment.gas_lines.models import CYLINDER, MEMBER, GasLine, GasLineMember
from service.resources.equipment.intervals import Span
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.models import Equipment
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.storage.types import new_id

Named = tuple[Equipment, str]
"""A piece of equipment and the pointer to where its id was sent."""


def begin(work: Work, line: GasLine, named: Sequence[Named], span: Span) -> None:
    """Put pieces onto a line for a time. Raises Conflict naming the line that one is on, Unacceptable for dip tubes."""
    pointers = {piece.id: pointer for piece, pointer in named}
    for piece, pointer in named:
        _refuse_liquid(piece, pointer)
        pieces.refuse_retired(piece, span, pointer=pointer)
    for rival, tag in queries.rivals(work.session, list(pointers), span):
        detail = (
            f"It is on the gas line '{tag}' ({rival.line_id}) then: {rival.id}, {rival.span}. "
            "Take it off that line first, or choose another time."
        )
        raise Conflict(detail, (Fault(pointers[rival.equipment_id], detail, str(rival.equipment_id)),))
    for piece, _ in named:
        member = GasLineMember(
            id=new_id(),
            site_id=line.site_id,
            line_id=line.id,
            equipment_id=piece.id,
            kind=piece.kind,
            from_at=span.from_at,
            to_at=span.to_at,
            described_at=work.at,
        )
        work.session.add(member)
        work.session.flush()
        note(work, MEMBER, member, "described")


def end(work: Work, member: GasLineMember, at: datetime) -> None:
    """Take a piece off its line at an instant."""
    before = MEMBER.body(member)
    member.to_at = at
    member.version += 1
    work.session.flush()
    note(work, MEMBER, member, "changed", before=before)


def _refuse_liquid(piece: Equipment, pointer: str) -> None:
    if piece.kind == CYLINDER and pieces.has_dip_tube(piece):
        raise refused(pointer, pieces.LIQUID_CAUTION, str(piece.id))
