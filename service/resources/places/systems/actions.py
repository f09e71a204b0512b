"""Describing and changing systems."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.http.shapes import Amount
from service.resources.keeping.amounts import amount_in, pointing_to
from service.resources.keeping.things import Thing, refuse_taken
from service.resources.places.rooms import queries as rooms
from service.resources.places.set_points.actions import open_set_point
from service.resources.places.set_points.codes import TARGET
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import new_subject
from service.resources.places.systems.models import SYSTEM, System, SystemPatch, SystemRead, SystemSent
from service.resources.places.systems.queries import shown
from service.storage.types import BEGINNING

KIND = "system"
AS_DESCRIBED = "as described"


def describe(work: Work, sent: SystemSent) -> System:
    """The new system, its volume, reference salinity and targets set from the stated instant or since always."""
    site = sites.one(work.session, work.scope, sent.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    refuse_taken(work.session, System, field="tag", value=sent.tag, among=[System.site_id == site.id], what="system")
    amount_in(sent.water_volume, "L", pointer="/water_volume", above=0)
    system = System(
        id=new_subject(work.session, site.id, KIND).id,
        site_id=site.id,
        tag=sent.tag,
        name=sent.name,
        room_id=rooms.id_on_site(work.session, site.id, sent.room_id),
        boron_factor=sent.boron_factor,
        quarantine_class=sent.quarantine_class,
        described_at=work.at,
    )
    work.session.add(system)
    work.session.flush()
    _set(
        work,
        system.id,
        sent.from_ or BEGINNING,
        volume=sent.water_volume,
        volume_sd=sent.water_volume_relative_sd,
        salinity=sent.reference_salinity,
        targets=sent.targets,
    )
    return system


def amend(work: Work, system: System, patch: SystemPatch) -> None:
    """Change what the patch names; volume, salinity and targets open a new interval."""
    if patch.water_volume is not None:
        amount_in(patch.water_volume, "L", pointer="/water_volume", above=0)
    if "room_id" in patch.model_fields_set:
        system.room_id = rooms.id_on_site(work.session, system.site_id, patch.room_id)
    for name in ("name", "boron_factor", "quarantine_class"):
        value = getattr(patch, name)
        if value is not None:
            setattr(system, name, value)
    _set(
        work,
        system.id,
        patch.from_ or work.at,
        volume=patch.water_volume,
        volume_sd=patch.water_volume_relative_sd,
        salinity=patch.reference_salinity,
        targets=patch.targets,
    )


def _set(
    work: Work,
    system_id: UUID,
    at: datetime,
    *,
    volume: Amount | None,
    volume_sd: float | None,
    salinity: float | None,
    targets: Mapping[str, Amount],
) -> None:
    if volume is not None:
        open_set_point(work, system_id, "water_volume", volume, at=at, why=AS_DESCRIBED, relative_sd=volume_sd)
    if salinity is not None:
        amount = Amount(value=salinity, unit="1")
        open_set_point(work, system_id, "reference_salinity", amount, at=at, why=AS_DESCRIBED)
    for quantity, amount in targets.items():
        with pointing_to(f"/targets/{quantity}"):
            open_set_point(work, system_id, TARGET + quantity, amount, at=at, why=AS_DESCRIBED)


SYSTEMS = Thing(
    kept=SYSTEM,
    singular="system",
    plural="systems",
    sent=SystemSent,
    patch=SystemPatch,
    read=SystemRead,
    describe=describe,
    amend=amend,
    show=shown,
)
