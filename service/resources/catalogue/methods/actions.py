"""Describing and changing methods."""

from __future__ import annotations

from service.access.caller import Work
from service.http.shapes import Amount
from service.resources.catalogue.methods.models import METHOD, Method, MethodPatch, MethodRead, MethodSent
from service.resources.keeping.amounts import refused
from service.resources.keeping.things import Thing, bodies, refuse_taken
from service.science.quantities import EntryError, quantity_named
from service.science.units import UnitError, convert
from service.storage.types import new_id


def describe(work: Work, sent: MethodSent) -> Method:
    """The new method."""
    try:
        quantity_named(sent.quantity)
    except EntryError as error:
        raise refused("/quantity", str(error), sent.quantity) from error
    if (sent.repeatability is None) == (sent.relative_sd is None):
        raise refused("/repeatability", "Send either repeatability or relative_sd: one standard deviation.")
    refuse_taken(
        work.session, Method, field="name", value=sent.name, among=[Method.quantity == sent.quantity], what="method"
    )
    return Method(
        id=new_id(),
        name=sent.name,
        quantity=sent.quantity,
        repeatability=sent.repeatability and sent.repeatability.model_dump(),
        sd=_sd(sent.quantity, sent.repeatability),
        relative_sd=sent.relative_sd,
        described_at=work.at,
    )


def amend(work: Work, method: Method, patch: MethodPatch) -> None:
    """Change what the patch names; the two ways to state repeatability replace each other."""
    if patch.repeatability is not None and patch.relative_sd is not None:
        raise refused("/repeatability", "Send either repeatability or relative_sd: one standard deviation.")
    if patch.name is not None:
        method.name = patch.name
    if patch.repeatability is not None:
        method.repeatability = patch.repeatability.model_dump()
        method.sd, method.relative_sd = _sd(method.quantity, patch.repeatability), None
    if patch.relative_sd is not None:
        method.repeatability, method.sd, method.relative_sd = None, None, patch.relative_sd


def _sd(quantity: str, repeatability: Amount | None) -> float | None:
    """The repeatability in the quantity's canonical unit: a difference, so scales with an offset are refused."""
    if repeatability is None:
        return None
    unit = quantity_named(quantity).unit
    try:
        zero = convert(0.0, unit=repeatability.unit, to=unit)
        sd = float(convert(repeatability.value, unit=repeatability.unit, to=unit)) - float(zero)
    except UnitError as error:
        raise refused("/repeatability/unit", str(error), repeatability.unit) from error
    if sd <= 0:
        raise refused("/repeatability/value", "A standard deviation above zero is expected.", repeatability.value)
    return sd


METHODS = Thing(
    kept=METHOD,
    singular="method",
    plural="methods",
    sent=MethodSent,
    patch=MethodPatch,
    read=MethodRead,
    describe=describe,
    amend=amend,
    show=bodies(METHOD),
    is_catalogue=True,
)
