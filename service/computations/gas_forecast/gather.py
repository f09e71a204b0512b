"""From records to gas lines: which cylinder hung when, what it weighed, when the flow was changed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import combinations, pairwise
from typing import Any
from uuid import UUID

import numpy as np
from sqlmodel import Session, col, select

from service.computations.timeframe import Clock
from service.resources.equipment.gas_lines.models import CYLINDER, REACTOR, GasLine, GasLineMember
from service.resources.equipment.gas_lines.queries import members
from service.resources.equipment.pieces.models import Equipment
from service.resources.equipment.pieces.specifications import FILL_KG_L, of_kind
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.resources.records.queries import Course, courses
from service.science.gas_line import TARE_SD_KG, Cylinder, FlowChange, GasLineHistory, Weighing

RECORDS = timedelta(days=400)  # several cylinders back: enough to learn how a line's use wanders
FLOW_SETTINGS = ("bubble_rate", "gas_flow")
IMPOSSIBLE_SCORE = 3.0  # beyond what scale and tare may be off together
RESET_SD = 0.10  # a counted bubble rate hits its set-point to about a tenth (common practice)


@dataclass(frozen=True)
class Impossible:
    """A weighing that this cylinder cannot have had, as net mass."""

    reading_id: UUID
    at: datetime
    net_kg: float
    is_heavy: bool


@dataclass(frozen=True)
class LineRecords:
    """One gas line: its history, the cylinder on it now, and what could not be used."""

    line: GasLine
    clock: Clock
    history: GasLineHistory | None
    cylinder: Equipment | None
    weighing_ids: tuple[UUID, ...] = ()
    obstacles: tuple[str, ...] = ()
    specification: Any = None
    impossible: tuple[Impossible, ...] = ()
    bubbles: tuple[Course, ...] = ()  # as counted on each reactor that is on the line now


@dataclass
class _Weighed:
    weighings: list[Weighing] = field(default_factory=list)
    ids: list[UUID] = field(default_factory=list)
    impossible: list[Impossible] = field(default_factory=list)


@dataclass(frozen=True)
class _Turn:
    """A cylinder while it was alone on its line."""

    piece: Equipment
    from_at: datetime
    to_at: datetime | None
    is_whole: bool  # from the day it was put on

    @property
    def specification(self) -> Any:
        return of_kind(CYLINDER, self.piece.specification)


def gather(session: Session, lines: Sequence[GasLine], at: datetime) -> dict[UUID, LineRecords]:
    """The records of each gas line up to an instant; the number of queries does not grow with the lines."""
    start = at - RECORDS
    clock = Clock(start)
    on_line = members(session, [line.id for line in lines])
    cylinder_ids = {row.equipment_id for rows in on_line.values() for row in rows if row.kind == CYLINDER}
    reactor_ids = {row.equipment_id for rows in on_line.values() for row in rows if row.kind == REACTOR}
    pieces = {row.id: row for row in session.exec(select(Equipment).where(col(Equipment.id).in_(cylinder_ids)))}
    masses = courses(
        session, sorted(cylinder_ids), "cylinder_gross_mass", start=start, end=at + timedelta(microseconds=1)
    )
    settings = set_points.history(session, sorted(reactor_ids))
    counts = courses(session, sorted(reactor_ids), "bubble_rate", start=start, end=at + timedelta(microseconds=1))
    return {line.id: _records(line, clock, on_line[line.id], pieces, masses, settings, counts, at) for line in lines}


def _records(
    line: GasLine,
    clock: Clock,
    rows: Sequence[GasLineMember],
    pieces: Mapping[UUID, Equipment],
    masses: Mapping[UUID, Course],
    settings: Mapping[UUID, Sequence[SetPoint]],
    counts: Mapping[UUID, Course],
    at: datetime,
) -> LineRecords:
    stays = [row for row in rows if row.kind == CYLINDER and row.from_at <= at]
    now = [row for row in stays if row.span.holds_at(at)]
    if len(now) != 1:
        return LineRecords(line, clock, None, None, obstacles=("no_cylinder",) if not now else ("several_cylinders",))
    cylinder = pieces[now[0].equipment_id]
    specification = of_kind(CYLINDER, cylinder.specification)
    obstacles = tuple(name for name in ("stamped_tare", "water_capacity") if _lacks(specification, name))
    if "stamped_tare" in obstacles:
        return LineRecords(line, clock, None, cylinder, obstacles=obstacles, specification=specification)
    turns = _in_turn(stays, pieces, since=clock.origin)
    weighed = _Weighed()
    for index, turn in enumerate(turns):
        _weigh(weighed, index, turn, masses[turn.piece.id], clock)
    history = GasLineHistory(
        cylinders=tuple(_cylinder(turn, clock) for turn in turns),
        weighings=tuple(weighed.weighings),
        flow_changes=tuple(_flow_changes(rows, settings, clock, at)),
    )
    return LineRecords(
        line,
        clock,
        history,
        cylinder,
        weighing_ids=tuple(weighed.ids),
        obstacles=obstacles,
        specification=specification,
        impossible=tuple(weighed.impossible),
        bubbles=tuple(counts[row.equipment_id] for row in rows if row.kind == REACTOR and row.span.holds_at(at)),
    )


def _lacks(specification: Any, name: str) -> bool:
    return getattr(specification, name) is None


def _in_turn(stays: Sequence[GasLineMember], pieces: Mapping[UUID, Equipment], *, since: datetime) -> list[_Turn]:
    """The cylinders one after another, from when each was alone: of two that drain together nobody knows the shares."""
    alone = max((end for end in _shared_ends(stays) if end is not None), default=min(stay.from_at for stay in stays))
    return [
        _Turn(pieces[stay.equipment_id], max(stay.from_at, alone), stay.to_at, stay.from_at >= alone)
        for stay in sorted(stays, key=lambda row: row.from_at)
        if stay.to_at is None or stay.to_at > max(alone, since)
    ]


def _shared_ends(stays: Sequence[GasLineMember]) -> Iterator[datetime | None]:
    """When each time ended in which two cylinders were on the line."""
    for one, other in combinations(stays, 2):
        shared = one.span.shared_with(other.span)
        if not shared.is_empty:
            yield shared.to_at


def _cylinder(turn: _Turn, clock: Clock) -> Cylinder:
    """As put on: its charge is known only where its whole stay is seen."""
    charge = turn.specification.charge_kg if turn.is_whole else None
    return Cylinder(from_days=clock.days(turn.from_at), charge_kg=charge)


def _weigh(weighed: _Weighed, index: int, turn: _Turn, course: Course, clock: Clock) -> None:
    """The net weighings of a cylinder while it was alone on the line, in order of time."""
    tare, capacity = turn.specification.tare_kg, turn.specification.capacity_l
    if tare is None:
        return
    most = np.inf if capacity is None else FILL_KG_L * capacity
    days = clock.days_of(course.at_us)
    first = clock.days(turn.from_at)
    last = np.inf if turn.to_at is None else clock.days(turn.to_at)
    for place in np.flatnonzero((days >= first) & (days <= last)):
        net, sd = float(course.value[place]) - tare, float(course.sd[place])
        beyond = IMPOSSIBLE_SCORE * float(np.hypot(sd, TARE_SD_KG))
        if -beyond <= net <= most + beyond:
            weighed.weighings.append(Weighing(at_days=float(days[place]), net_kg=net, cylinder=index, sd_kg=sd))
            weighed.ids.append(course.origin[place])
        else:
            at = clock.at(float(days[place]))
            weighed.impossible.append(Impossible(course.origin[place], at, net, is_heavy=net > most))


def _flow_changes(
    rows: Sequence[GasLineMember], settings: Mapping[UUID, Sequence[SetPoint]], clock: Clock, at: datetime
) -> list[FlowChange]:
    """When the gas of a reactor on the line was set anew: by how much, where one rate followed another."""
    changes: dict[datetime, FlowChange] = {}
    for row in rows:
        for code in FLOW_SETTINGS if row.kind == REACTOR else ():
            set_so = [
                setting for setting in settings[row.equipment_id] if setting.quantity == code and setting.at <= at
            ]
            for before, after in pairwise(set_so):
                if before.value > 0 and after.value > 0 and row.span.holds_at(after.at) and after.at > clock.origin:
                    ratio = after.value / before.value
                    changes[after.at] = FlowChange(at_days=clock.days(after.at), ratio=ratio, relative_sd=RESET_SD)
    return [changes[instant] for instant in sorted(changes)]
