"""Describing and changing lots."""

from __future__ import annotations

from service.access.caller import Work
from service.errors import Fault, NotFound
from service.resources.catalogue.lots.models import LOT, Lot, LotPatch, LotRead, LotSent
from service.resources.catalogue.methods.models import Method
from service.resources.keeping.things import Thing, bodies
from service.storage.types import new_id


def describe(work: Work, sent: LotSent) -> Lot:
    """The new lot."""
    if sent.method_id is not None and work.session.get(Method, sent.method_id) is None:
        detail = "There is no method with this id."
        raise NotFound(detail, (Fault("/method_id", detail, str(sent.method_id)),))
    return Lot(
        id=new_id(),
        number=sent.number,
        method_id=sent.method_id,
        opened_at=sent.opened_at,
        expires_on=sent.expires_on,
        described_at=work.at,
    )


def amend(work: Work, lot: Lot, patch: LotPatch) -> None:
    """Change what the patch names."""
    for name, value in patch.model_dump(exclude_unset=True).items():
        setattr(lot, name, value)


LOTS = Thing(
    kept=LOT,
    singular="lot",
    plural="lots",
    sent=LotSent,
    patch=LotPatch,
    read=LotRead,
    describe=describe,
    amend=amend,
    show=bodies(LOT),
    is_catalogue=True,
)
