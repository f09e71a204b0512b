"""From records to what has dissolved: the fills of each reactor, and what its effluent has brought since."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np
from sqlmodel import Session

from service.computations.timeframe import Clock
from service.resources.equipment.feeds.queries import feeds_from
from service.resources.equipment.pieces.models import Equipment
from service.resources.records.additions.models import Addition
from service.resources.records.additions.queries import media_of
from service.resources.records.queries import Course, courses, system_courses
from service.science import Values
from service.science.media import dissolved_kg

LONGEST = timedelta(days=3 * 365)
JUST_AFTER = timedelta(microseconds=1)
FILL_RELATIVE_SD = 0.03
"""Of a weighed fill (common practice)."""


@dataclass(frozen=True)
class Fill:
    """Media that went in: when, how much, and whether the old came out first."""

    at: datetime
    mass_kg: float
    sd_kg: float
    replaces: bool


@dataclass(frozen=True)
class MediaRecords:
    """One reactor's media: its fills since it was last emptied, and the alkalinity it has brought since.

    `supplied_meq` in all, `supply_meq_d` at present; None where drip, effluent or tank were not read. `gap_days`: the
    longest time between two checks. `full_kg`: the most there was, after the fill that brought it.
    """

    reactor: Equipment
    at: datetime
    fills: tuple[Fill, ...]
    supplied_meq: float | None
    supply_meq_d: float | None
    checks: int
    gap_days: float
    full_kg: float = 0.0


def gather(session: Session, reactors: Sequence[Equipment], at: datetime) -> dict[UUID, MediaRecords]:
    """The records of each reactor's media at an instant; the number of queries does not grow with the reactors."""
    ids = [reactor.id for reactor in reactors]
    fills = _fills(media_of(session, ids), at)
    begun = max(min((each[0].at for each in fills.values()), default=at), at - LONGEST)
    clock = Clock(begun)
    feeds = [feed for feed in feeds_from(session, ids) if feed.span.holds_at(at)]
    end = at + JUST_AFTER
    tanks = system_courses(session, sorted({feed.system_id for feed in feeds}), "alkalinity", start=begun, end=end)
    flows, effluents = (
        courses(session, ids, quantity, start=begun, end=end) for quantity in ("effluent_flow", "effluent_alkalinity")
    )
    made = {}
    for reactor in reactors:
        fed = [(feed.share, tanks[feed.system_id]) for feed in feeds if feed.reactor_id == reactor.id]
        own = fills.get(reactor.id, ())
        made[reactor.id] = _records(reactor, at, own, clock, flows[reactor.id], effluents[reactor.id], fed)
    return made


def _fills(rows: Sequence[Addition], at: datetime) -> Mapping[UUID, tuple[Fill, ...]]:
    """The fills of each reactor from the last one that replaced everything, or from the first."""
    found: dict[UUID, list[Fill]] = {}
    for row in rows:
        if row.at > at:
            continue
        mass = row.canonical["mass_kg"]
        relative = FILL_RELATIVE_SD if row.relative_sd is None else row.relative_sd
        fill = Fill(row.at, mass, mass * relative, bool(row.canonical.get("replaces")))
        if fill.replaces:
            found[row.subject_id] = []
        found.setdefault(row.subject_id, []).append(fill)
    return {reactor_id: tuple(fills) for reactor_id, fills in found.items()}


def _records(
    reactor: Equipment,
    at: datetime,
    fills: tuple[Fill, ...],
    clock: Clock,
    flow: Course,
    effluent: Course,
    tanks: Sequence[tuple[float, Course]],
) -> MediaRecords:
    unread = not tanks or not len(flow) or not len(effluent) or not all(len(tank) for _, tank in tanks)
    if not fills or unread:
        return MediaRecords(reactor, at, fills, None, None, len(effluent), 0.0)
    start, end = max(clock.days(fills[0].at), 0.0), clock.days(at)
    inside = clock.days_of(np.concatenate([flow.at_us, effluent.at_us]))
    days = np.unique(np.concatenate([[start], inside[(inside > start) & (inside < end)], [end]]))
    supply = _held(clock, flow, days) * (_held(clock, effluent, days) - _tank(clock, tanks, days))
    brought = np.concatenate([[0.0], np.cumsum((supply[1:] + supply[:-1]) / 2.0 * np.diff(days))])
    tested = np.unique(np.clip(clock.days_of(effluent.at_us), start, end))
    gaps = np.diff(np.concatenate([[start], tested, [end]]))
    return MediaRecords(
        reactor,
        at,
        fills,
        supplied_meq=max(float(brought[-1]), 0.0),
        supply_meq_d=max(float(supply[-1]), 0.0),
        checks=len(effluent),
        gap_days=float(gaps.max()),
        full_kg=_fullest(fills, np.interp([clock.days(fill.at) for fill in fills], days, brought)),
    )


def _fullest(fills: Sequence[Fill], brought_meq: Values) -> float:
    """The most media there was: after each fill, all that went in less what had dissolved by then."""
    poured = np.cumsum([fill.mass_kg for fill in fills])
    return float((poured - dissolved_kg(supplied_meq=brought_meq)).max())


def _held(clock: Clock, course: Course, days: Values) -> Values:
    """A course between its checks by straight lines, before the first and after the last as at the nearest."""
    return np.interp(days, clock.days_of(course.at_us), course.value)


def _tank(clock: Clock, tanks: Sequence[tuple[float, Course]], days: Values) -> Values:
    total = np.zeros(len(days))
    for share, course in tanks:
        total = total + share * _held(clock, course, days)
    return total / sum(share for share, _ in tanks)
