"""From records to what a projection is computed from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Work
from service.computations.consumption.gather import gather_several
from service.computations.last_read import last_read
from service.computations.output_balance.gather import gather as gather_reactors
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.waters import JUST_AFTER, RECORDS, Water, estimated, waters
from service.computations.projection.models import ProjectionSent
from service.computations.projection.plan import Reactor, reactor_ahead
from service.computations.projection.situation import Situation, tank_of
from service.computations.projection.wanted import check
from service.computations.run_away.exchange import exchange_as_asked, exchange_at_least, exchange_by_balance
from service.computations.run_away.situation import UNKNOWN_EXCHANGE, Exchange
from service.resources.equipment.feeds.queries import feeds_from, feeds_into
from service.resources.equipment.pieces import queries as pieces
from service.resources.keeping.amounts import refused
from service.resources.places.systems.models import System
from service.science.room import OUTDOOR_PPM
from service.science.seawater import density


def gather(work: Work, system: System, sent: ProjectionSent, at: datetime) -> Situation:
    """The records of one system and the reactors that feed it. Raises Unacceptable for a plan of another reactor,
    or a wanted pH that cannot be asked for so."""
    session = work.session
    ids = sorted({feed.reactor_id for feed in feeds_into(session, [system.id]) if feed.span.holds_at(at)})
    places = _places(sent, ids)
    fed = {feed.system_id for feed in feeds_from(session, ids) if feed.span.holds_at(at)}
    check(sent, reactors=len(ids), systems=len(fed))
    known = estimated(session, _systems(session, system, fed), at)
    water = waters(session, [system.id], at, known=known)[system.id]
    rows = [pieces.one(session, work.scope, each, pointer="reactor_id", place="body") for each in ids]
    records = gather_reactors(session, rows, at, known=known) if rows else {}
    wanted = {plan.reactor_id: plan for plan in sent.reactors}
    reactors = [reactor_ahead(records[row.id], system.id, wanted.get(row.id), places.get(row.id, "")) for row in rows]
    beside = gather_several(session, [system], ("calcium", "magnesium"), start=at - RECORDS, end=at + JUST_AFTER)
    rooms = [room_id for room_id in (system.room_id, *(row.room_id for row in rows)) if room_id is not None]
    air = None if not rooms else last_read(session, rooms[:1], "room_co2", at)
    return Situation(
        system=system,
        at=at,
        gathered=known[system.id][0] if system.id in known else None,
        water=water,
        reactors=reactors,
        exchange=_exchange(sent, water, reactors, None if air is None else air.value),
        minerals={quantity: each[system.id] for quantity, each in beside.items()},
    )


def _places(sent: ProjectionSent, ids: Sequence[UUID]) -> dict[UUID, str]:
    """The pointer to the plan of each reactor."""
    places = {plan.reactor_id: f"/reactors/{index}" for index, plan in reversed([*enumerate(sent.reactors)])}
    for index, plan in enumerate(sent.reactors):
        if places[plan.reactor_id] != f"/reactors/{index}":
            detail = "This reactor is planned twice. Say all that is turned at it in one place."
            raise refused(f"/reactors/{index}/reactor_id", detail, str(plan.reactor_id))
        if plan.reactor_id not in ids:
            detail = "No such reactor feeds this system at that instant. Describe the feed, or leave it out."
            raise refused(f"/reactors/{index}/reactor_id", detail, str(plan.reactor_id))
    return places


def _systems(session: Session, system: System, fed: set[UUID]) -> list[System]:
    others = select(System).where(col(System.id).in_(fed - {system.id})).order_by(col(System.tag))
    return [system, *session.exec(others)]


@dataclass(frozen=True)
class _Brought:
    """What all reactors together bring of gas: mol/kg of their drips, and those, L/d."""

    added_mol_kg: Number
    drip_l_d: float


def _exchange(sent: ProjectionSent, water: Water, reactors: Sequence[Reactor], room_ppm: float | None) -> Exchange:
    """As sent, else by the balance of all the gas that is brought against the room's air, read or outdoor air."""
    if sent.gas_exchange is not None:
        return exchange_as_asked(sent.gas_exchange)
    tank, brought = tank_of(water), _brought(reactors)
    if tank is None or brought is None or water.ph is None:
        return UNKNOWN_EXCHANGE
    added, drip = brought.added_mol_kg, brought.drip_l_d
    found = exchange_by_balance(tank=tank, ph=water.ph, added_mol_kg=added, drip_l_d=drip, room_co2_ppm=room_ppm)
    if found.by != UNKNOWN_EXCHANGE.by:
        return found
    # the water is too near the room's air to tell how freely it breathes, or the room's was not read
    air = OUTDOOR_PPM if room_ppm is None else room_ppm
    return exchange_at_least(tank=tank, ph=water.ph, added_mol_kg=added, drip_l_d=drip, room_co2_ppm=air)


def _brought(reactors: Sequence[Reactor]) -> _Brought | None:
    gas = [each.gas_mol_d for each in reactors]
    known = [each for each in gas if each is not None]
    if not known or len(known) < len(gas):
        return None
    drip = sum((each.drip_l_d or 0.0) * each.fed.share for each in reactors)
    fed = reactors[0].fed
    kilograms = drip * float(density(salinity=fed.salinity, temperature_c=fed.temperature_c)) / 1000.0
    return _Brought(sum(known[1:], known[0]).times(1.0 / kilograms), drip) if drip > 0 else None
