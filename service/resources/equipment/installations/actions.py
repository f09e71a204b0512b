"""Mounting equipment on other equipment, tanks, systems and rooms, and taking it off."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.resources.equipment.installations import queries
from service.resources.equipment.installations.models import (
    INSTALLATION,
    Installation,
    InstallationPatch,
    InstallationRead,
    InstallationSent,
)
from service.resources.equipment.intervals import Span, span_sent, take_turns
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.keeping.kept import note
from service.resources.keeping.things import Thing, bodies
from service.resources.places.subjects import subject_of
from service.storage.types import new_id


def describe(work: Work, sent: InstallationSent) -> Installation:
    """The new installation."""
    piece = pieces.one(work.session, work.scope, sent.equipment_id)
    work.caller.require(Right.DESCRIBE, piece.site_id)
    span = span_sent(sent.from_, sent.to)
    take_turns(work.session, piece.site_id)
    pieces.refuse_retired(piece, span, pointer="/equipment_id")
    return _fitting(work, piece.site_id, sent.equipment_id, sent.host_id, span)


def amend(work: Work, row: Installation, patch: InstallationPatch) -> None:
    """Change what the patch names; the whole interval is checked anew."""
    take_turns(work.session, row.site_id)
    end = patch.to if "to" in patch.model_fields_set else row.to_at
    span = span_sent(patch.from_ or row.from_at, end, may_be_empty=True)
    host_id = patch.host_id or row.host_id
    if not span.is_empty:
        pieces.refuse_retired(pieces.one(work.session, work.scope, row.equipment_id), span, pointer="/to")
        _check(work, row.site_id, row.equipment_id, host_id, span, besides=row.id)
    row.host_id, row.from_at, row.to_at = host_id, span.from_at, span.to_at


def moved(work: Work, row: Installation, at: datetime, *, equipment_id: UUID, host_id: UUID) -> None:
    """End a stay at an instant and begin another there, to where the first would have ended; both in the trail."""
    rest = Span(at, row.to_at)
    ended(work, row, at)
    begun = _fitting(work, row.site_id, equipment_id, host_id, rest)
    work.session.add(begun)
    work.session.flush()
    note(work, INSTALLATION, begun, "described")


def ended(work: Work, row: Installation, at: datetime) -> None:
    """End a stay at an instant, entered into the trail."""
    before = INSTALLATION.body(row)
    row.to_at = at
    row.version += 1
    work.session.flush()
    note(work, INSTALLATION, row, "changed", before=before)


def _fitting(work: Work, site_id: UUID, equipment_id: UUID, host_id: UUID, span: Span) -> Installation:
    _check(work, site_id, equipment_id, host_id, span, besides=None)
    return Installation(
        id=new_id(),
        site_id=site_id,
        equipment_id=equipment_id,
        host_id=host_id,
        from_at=span.from_at,
        to_at=span.to_at,
        described_at=work.at,
    )


def _check(work: Work, site_id: UUID, equipment_id: UUID, host_id: UUID, span: Span, *, besides: UUID | None) -> None:
    host = subject_of(work.session, work.scope, host_id, pointer="/host_id")
    if host.site_id != site_id:
        raise refused("/host_id", "Equipment is mounted within its own site.", str(host_id))
    if host_id == equipment_id:
        raise refused("/host_id", "Nothing is mounted on itself. Send the id of what carries it.", str(host_id))
    elsewhere = queries.rival(work.session, equipment_id, span, besides=besides)
    if elsewhere is not None:
        detail = (
            f"It is mounted on {elsewhere.host_id} then: installation {elsewhere.id}, {elsewhere.span}. "
            "End that one first, or choose another time."
        )
        raise Conflict(detail, (Fault("/equipment_id", detail, str(equipment_id)),))
    for carrier, shared in queries.carriers(work.session, host_id, span, besides=besides):
        if carrier.host_id == equipment_id:
            detail = (
                f"This closes a circle: the host stands, directly or not, on this piece by installation {carrier.id}, "
                f"{shared}. End that one first."
            )
            raise Conflict(detail, (Fault("/host_id", detail, str(host_id)),))


INSTALLATIONS = Thing(
    kept=INSTALLATION,
    singular="installation",
    plural="installations",
    sent=InstallationSent,
    patch=InstallationPatch,
    read=InstallationRead,
    describe=describe,
    amend=amend,
    show=bodies(INSTALLATION),
)
