"""Describing gas lines, and changing what is on them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.resources.equipment.gas_lines import membership
from service.resources.equipment.gas_lines.membership import Named
from service.resources.equipment.gas_lines.models import (
    CYLINDER,
    GAS_LINE,
    REACTOR,
    GasLine,
    GasLineMember,
    GasLinePatch,
    GasLineRead,
    GasLineSent,
)
from service.resources.equipment.gas_lines.queries import members, shown
from service.resources.equipment.intervals import Span, refuse_ahead, take_turns
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.keeping.things import Thing, refuse_taken
from service.resources.places.sites import queries as sites
from service.storage.types import new_id

FIELDS = {"cylinder_ids": CYLINDER, "reactor_ids": REACTOR}


def describe(work: Work, sent: GasLineSent) -> GasLine:
    """The new gas line, with its cylinders and reactors on it."""
    site = sites.one(work.session, work.scope, sent.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    take_turns(work.session, site.id)
    refuse_taken(work.session, GasLine, field="tag", value=sent.tag, among=[GasLine.site_id == site.id], what="line")
    refuse_ahead(sent.from_, work.at, pointer="/from")
    if not sent.cylinder_ids and not sent.reactor_ids:
        raise refused("/cylinder_ids", "A line has at least one cylinder or reactor. Send its id.")
    line = GasLine(id=new_id(), site_id=site.id, tag=sent.tag, name=sent.name, described_at=work.at)
    named = [piece for field in FIELDS for piece in _named(work, site.id, field, getattr(sent, field))]
    work.session.add(line)
    work.session.flush()
    membership.begin(work, line, named, Span(sent.from_.astimezone(UTC)))
    return line


def amend(work: Work, line: GasLine, patch: GasLinePatch) -> None:
    """Change what the patch names: what is no longer listed ends at `from`, what is newly listed begins there."""
    take_turns(work.session, line.site_id)
    if "name" in patch.model_fields_set:
        line.name = patch.name
    listed = {field: ids for field in FIELDS if (ids := getattr(patch, field)) is not None}
    if patch.from_ is not None and not listed:
        raise refused("/from", "This is when a change of cylinder_ids or reactor_ids holds from. Send one of them.")
    at = (patch.from_ or work.at).astimezone(UTC)
    refuse_ahead(at, work.at, pointer="/from")
    ever = members(work.session, [line.id])[line.id]
    for field, ids in listed.items():
        same_kind = [row for row in ever if row.kind == FIELDS[field]]
        _replace(work, line, same_kind, _named(work, line.site_id, field, ids), at)


def _replace(work: Work, line: GasLine, ever: Sequence[GasLineMember], named: Sequence[Named], at: datetime) -> None:
    _refuse_changed_since(ever, at)
    on_it = {row.equipment_id: row for row in ever if row.span.holds_at(at)}
    wanted = {piece.id for piece, _ in named}
    for equipment_id, row in on_it.items():
        if equipment_id not in wanted:
            membership.end(work, row, at)
    membership.begin(work, line, [(piece, pointer) for piece, pointer in named if piece.id not in on_it], Span(at))


def _refuse_changed_since(ever: Sequence[GasLineMember], at: datetime) -> None:
    """A whole list holds until further notice, so it cannot be slipped in before a change that is known already."""
    for row in ever:
        if row.from_at > at or (row.to_at is not None and row.to_at > at):
            detail = (
                f"What is on this line changed after that: {row.equipment_id} is on it by {row.id}, {row.span}. "
                "Choose that instant or a later one; a past exchange of one cylinder is a swap."
            )
            raise Conflict(detail, (Fault("/from", detail, at.isoformat()),))


def _named(work: Work, site_id: UUID, field: str, ids: Sequence[UUID]) -> list[Named]:
    named: list[Named] = []
    for index, equipment_id in enumerate(ids):
        pointer = f"/{field}/{index}"
        if equipment_id in ids[:index]:
            raise refused(pointer, "This id is listed twice. Send it once.", str(equipment_id))
        piece = pieces.one_of_kind(work.session, site_id, equipment_id, FIELDS[field], pointer=pointer)
        named.append((piece, pointer))
    return named


GAS_LINES = Thing(
    kept=GAS_LINE,
    singular="gas_line",
    plural="gas_lines",
    sent=GasLineSent,
    patch=GasLinePatch,
    read=GasLineRead,
    describe=describe,
    amend=amend,
    show=shown,
)
