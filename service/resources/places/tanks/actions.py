"""Describing tanks, and moving them between systems."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault
from service.http.shapes import Amount
from service.resources.keeping.amounts import amount_in, refused
from service.resources.keeping.things import Thing, described, refuse_taken
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import new_subject
from service.resources.places.systems import queries as systems
from service.resources.places.systems.actions import SYSTEMS
from service.resources.places.systems.models import System, SystemSent
from service.resources.places.tanks.models import TANK, Dimensions, Placement, Tank, TankPatch, TankRead, TankSent
from service.resources.places.tanks.queries import shown
from service.storage.types import BEGINNING

KIND = "tank"
UNMEASURED_VOLUME_SD = 0.15  # net water guessed from a gross volume: rock, sand and sump are unknown (our judgement)


def describe(work: Work, sent: TankSent) -> Tank:
    """The new tank, on the system named, or on a new one of its own."""
    _check_volumes(sent)
    if sent.system_id is not None:
        system = systems.one(work.session, work.scope, sent.system_id)
        if sent.site_id is not None and sent.site_id != system.site_id:
            raise refused("/site_id", "The system stands on another site. Leave site_id out.", str(sent.site_id))
        work.caller.require(Right.DESCRIBE, system.site_id)
        _refuse_taken(work, system.site_id, sent.tag)
    else:
        system = _own_system(work, sent)
    tank = Tank(
        id=new_subject(work.session, system.site_id, KIND).id,
        site_id=system.site_id,
        tag=sent.tag,
        name=sent.name,
        gross_volume=sent.gross_volume and sent.gross_volume.model_dump(),
        dimensions=sent.dimensions and sent.dimensions.model_dump(),
        displaced_volume=sent.displaced_volume and sent.displaced_volume.model_dump(),
        described_at=work.at,
    )
    _place(work, tank, system, sent.from_ or BEGINNING)
    return tank


def amend(work: Work, tank: Tank, patch: TankPatch) -> None:
    """Change what the patch names; a new system begins a new stay."""
    _check_volumes(patch)
    for name in ("name", "gross_volume", "dimensions", "displaced_volume"):
        value = getattr(patch, name)
        if value is not None:
            setattr(tank, name, value if isinstance(value, str) else value.model_dump())
    if patch.system_id is not None:
        system = systems.one(work.session, work.scope, patch.system_id)
        if system.site_id != tank.site_id:
            raise refused("/system_id", "A tank moves within its own site.", str(patch.system_id))
        _place(work, tank, system, patch.from_ or work.at)


def _own_system(work: Work, sent: TankSent) -> System:
    if sent.site_id is None:
        raise refused("/system_id", "Send system_id, or site_id for a tank with a system of its own.")
    site = sites.one(work.session, work.scope, sent.site_id)
    work.caller.require(Right.DESCRIBE, site.id)
    _refuse_taken(work, site.id, sent.tag)
    volume, volume_sd = _net_volume(sent)
    system = SystemSent.model_validate(
        {
            "site_id": site.id,
            "tag": sent.tag,
            "name": sent.name,
            "water_volume": volume,
            "water_volume_relative_sd": volume_sd,
            "from": sent.from_,
        }
    )
    return described(work, SYSTEMS, system)


def _net_volume(sent: TankSent) -> tuple[Amount, float | None]:
    """The water in a tank alone: as stated, else the vessel less what displaces water, held to be uncertain."""
    if sent.water_volume is not None:
        return sent.water_volume, None
    gross = _gross_litres(sent)
    if gross is None:
        raise refused("/water_volume", "Send water_volume, gross_volume or dimensions: answers need the volume.")
    displaced = sent.displaced_volume
    net = gross - (amount_in(displaced, "L", pointer="/displaced_volume") if displaced else 0.0)
    if net <= 0:
        raise refused("/displaced_volume", "More is displaced than the tank holds.")
    return Amount(value=net, unit="L"), UNMEASURED_VOLUME_SD


def _gross_litres(sent: TankSent) -> float | None:
    if sent.gross_volume is not None:
        return amount_in(sent.gross_volume, "L", pointer="/gross_volume", above=0)
    return None if sent.dimensions is None else _litres_inside(sent.dimensions)


def _litres_inside(dimensions: Dimensions) -> float:
    cubic_metres = 1.0
    for name in ("length", "width", "height"):
        cubic_metres *= amount_in(getattr(dimensions, name), "m", pointer=f"/dimensions/{name}", above=0)
    return 1000 * cubic_metres


def _check_volumes(sent: TankSent | TankPatch) -> None:
    if sent.gross_volume is not None:
        amount_in(sent.gross_volume, "L", pointer="/gross_volume", above=0)
    if sent.dimensions is not None:
        _litres_inside(sent.dimensions)
    if sent.displaced_volume is not None:
        amount_in(sent.displaced_volume, "L", pointer="/displaced_volume", least=0)


def _refuse_taken(work: Work, site_id: UUID, tag: str) -> None:
    refuse_taken(work.session, Tank, field="tag", value=tag, among=[Tank.site_id == site_id], what="tank")


def _place(work: Work, tank: Tank, system: System, at: datetime) -> None:
    if work.session.get(Placement, (tank.id, at)) is not None:
        detail = "This tank already has a stay that begins at this instant. Choose another `from`."
        raise Conflict(detail, (Fault("/from", detail, at.isoformat()),))
    work.session.add(Placement(tank_id=tank.id, from_at=at, site_id=tank.site_id, system_id=system.id))


TANKS = Thing(
    kept=TANK,
    singular="tank",
    plural="tanks",
    sent=TankSent,
    patch=TankPatch,
    read=TankRead,
    describe=describe,
    amend=amend,
    show=shown,
)
