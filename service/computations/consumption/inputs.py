"""What runs into a system on record: doses, limewater, water changes, exchanges and effluent, per litre of system."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar
from uuid import UUID

import numpy as np
from sqlmodel import Session, col, select

from service.computations.consumption.doses import doses
from service.computations.consumption.parts import Values, column, say
from service.computations.consumption.practice import PRACTICE
from service.computations.consumption.reactor_calcium import calcium_of_drip, together
from service.computations.timeframe import Clock, Volume
from service.resources.equipment.feeds.models import Feed as ReactorFeed
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.resources.records.additions.queries import Added, of_systems
from service.resources.records.maintenance_events.queries import restorations
from service.resources.records.queries import Course, courses
from service.science.history import Checks, Doses, Feed, WaterChanges
from service.storage.types import instant

Row = TypeVar("Row")

STATED_SHARE = 0.4  # of the doubt about new water of unstated salinity: read with an instrument of its own
PER_LITRE = {
    "alkalinity": "alkalinity_meq_per_l", "calcium": "calcium_mg_per_l", "magnesium": "magnesium_mg_per_l",
    "salinity": "salinity", "nitrate": "nitrate_mg_per_l",
}  # fmt: skip


REACTOR_CALCIUM = (
    "The reactor's calcium is counted with the alkalinity its effluent adds: 20.04 mg a meq, as pure calcium carbonate "
    "brings it."
)


@dataclass
class Inputs:
    """The inputs of one system, and what had to be assumed about them."""

    doses: Doses = field(default_factory=Doses)
    water_changes: WaterChanges = field(default_factory=WaterChanges)
    feeds: tuple[Feed, ...] = ()
    feed_ids: Mapping[str, UUID] = field(default_factory=dict)
    feed_labels: Mapping[str, str] = field(default_factory=dict)
    assumptions: list[str] = field(default_factory=list)

    def was_checked(self, feed_name: str, what: str) -> bool:
        """Whether the flow or inflow of a feed was ever measured in the window."""
        return any(
            len((feed.flow if what == "flow" else feed.inflow).at_days) > 0
            for feed in self.feeds
            if feed.name == feed_name
        )


@dataclass(frozen=True)
class _Reactors:
    """What is on record about the reactors that feed some systems."""

    flow: Mapping[UUID, Course]
    alkalinity: Mapping[UUID, Course]
    set_drip: Mapping[UUID, Sequence[SetPoint]]
    restored: Mapping[UUID, Sequence[datetime]]
    tags: Mapping[UUID, str]


@dataclass(frozen=True)
class Recorded:
    """What is on record of the inputs of many systems, whatever the quantity; by system."""

    additions: Mapping[UUID, Sequence[Added]]
    stays: Mapping[UUID, Sequence[ReactorFeed]]
    reactors: _Reactors


def recorded(session: Session, system_ids: Sequence[UUID], start: datetime, end: datetime) -> Recorded:
    """The records of the inputs of each system from start to before end; seven queries however many systems."""
    stays = feeds_into(session, system_ids)
    return Recorded(
        additions=_by_system(of_systems(session, system_ids, start, end), lambda row: row.subject_id),
        stays=_by_system(stays, lambda row: row.system_id),
        reactors=_reactors(session, sorted({stay.reactor_id for stay in stays}), start, end),
    )


def inputs_of(
    found: Recorded,
    volumes: Mapping[UUID, Volume | None],
    quantity: str,
    *,
    clock: Clock,
    end: datetime,
    alkalinity: Mapping[UUID, Course],
    reference_salinity: Mapping[UUID, float],
) -> dict[UUID, Inputs]:
    """The inputs of a quantity into each system from the clock's origin to `end`.

    alkalinity: the systems' courses, from which the calcium of reactors is reckoned; needed for calcium only.
    reference_salinity: that of new water whose salinity nobody stated.
    """
    return {
        system_id: Inputs() if volume is None else _inputs(
            quantity,
            clock,
            end,
            volume,
            found.additions.get(system_id, ()),
            found.stays.get(system_id, ()),
            found.reactors,
            alkalinity.get(system_id),
            reference_salinity[system_id] if quantity == "salinity" else PRACTICE.seawater[quantity],
        )
        for system_id, volume in volumes.items()
    }  # fmt: skip


def _by_system(rows: Iterable[Row], system_of: Callable[[Row], UUID]) -> dict[UUID, list[Row]]:
    grouped: dict[UUID, list[Row]] = {}
    for row in rows:
        grouped.setdefault(system_of(row), []).append(row)
    return grouped


def _reactors(session: Session, reactor_ids: Sequence[UUID], start: datetime, end: datetime) -> _Reactors:
    return _Reactors(
        flow=courses(session, reactor_ids, "effluent_flow", start=start, end=end),
        alkalinity=courses(session, reactor_ids, "effluent_alkalinity", start=start, end=end),
        set_drip=set_points.history(session, reactor_ids, quantity="effluent_flow"),
        restored=restorations(session, reactor_ids, start, end),
        tags=dict(session.exec(select(Equipment.id, Equipment.tag).where(col(Equipment.id).in_(reactor_ids))).all()),
    )


def _inputs(
    quantity: str,
    clock: Clock,
    end: datetime,
    volume: Volume,
    additions: Sequence[Added],
    stays: Sequence[ReactorFeed],
    reactors: _Reactors,
    tank: Course | None,
    unstated: float,
) -> Inputs:
    """unstated: what new water holds of the quantity when nobody said."""
    found = Inputs()
    found.doses = doses(quantity, clock, volume, additions, end, unstated, found.assumptions)
    found.water_changes = _water_changes(quantity, clock, volume, additions, unstated, found.assumptions)
    exchanges = [_exchange(quantity, clock, volume, row, unstated) for row in additions if row.kind == "exchange"]
    drips = [_drip(clock, volume, stay, reactors) for stay in stays] if quantity == "alkalinity" else []
    found.feeds = (*exchanges, *drips)
    found.feed_ids = {
        **{f"exchange {row.id}": row.subject_id for row in additions if row.kind == "exchange"},
        **{f"reactor {stay.reactor_id}": stay.reactor_id for stay in stays},
    }
    found.feed_labels = {f"reactor {stay.reactor_id}": f"reactor {reactors.tags[stay.reactor_id]}" for stay in stays}
    if stays and quantity in ("calcium", "magnesium"):
        found.doses = together([found.doses, *_by_reactors(quantity, clock, end, volume, stays, reactors, tank, found)])
    return found


def _by_reactors(
    quantity: str,
    clock: Clock,
    end: datetime,
    volume: Volume,
    stays: Sequence[ReactorFeed],
    reactors: _Reactors,
    tank: Course | None,
    found: Inputs,
) -> list[Doses]:
    """What reactors add of calcium; of anything else, or without tests, nothing, and it is said."""
    brought = [
        calcium_of_drip(
            clock, volume, stay, reactors.flow[stay.reactor_id], reactors.alkalinity[stay.reactor_id], tank, end
        )
        for stay in stays
        if quantity == "calcium" and tank is not None
    ]
    known = [each for each in brought if each is not None]
    if len(known) < len(stays):
        say(found.assumptions, f"What the reactor adds of {quantity} is not counted: the answer is net of it.")
    if known:
        say(found.assumptions, REACTOR_CALCIUM)
    return known


def _water_changes(
    quantity: str,
    clock: Clock,
    volume: Volume,
    additions: Sequence[Added],
    unstated: float,
    assumptions: list[str],
) -> WaterChanges:
    changes = [row for row in additions if row.kind == "water_change"]
    new, new_sd = [], []
    for row in changes:
        stated = row.canonical.get(PER_LITRE[quantity])
        value = unstated if stated is None else stated
        new.append(value)
        if quantity in PRACTICE.unstated_new_water_sd:
            new_sd.append(PRACTICE.unstated_new_water_sd[quantity] * (1.0 if stated is None else STATED_SHARE))
            continue
        if stated is None:
            say(assumptions, f"New water of unstated {quantity} is taken as natural seawater's, known to 15 %.")
        new_sd.append(value * (PRACTICE.unstated_new_water if stated is None else _new_water_sd(row)))
    fraction = np.array([_fraction(row, volume.at(row.at)) for row in changes], dtype=np.float64)
    stated_sd = np.array([row.relative_sd or PRACTICE.changed_fraction for row in changes], dtype=np.float64)
    return WaterChanges(
        at_days=column(clock.days(row.at) for row in changes),
        fraction=fraction,
        fraction_sd=fraction * stated_sd,
        new_value=column(new),
        new_value_sd=column(new_sd),
    )


def _fraction(row: Added, volume_l: float) -> float:
    """The part of the water that is new: v/V after draining, 1 - exp(-v/V) while both run."""
    part = row.canonical["volume_l"] / volume_l
    return float(-np.expm1(-part)) if row.canonical.get("mode") == "simultaneous" else float(min(part, 1.0))


def _new_water_sd(row: Added) -> float:
    """How well the new water is known, as a fraction: as stated, else as common practice has it."""
    stated: float | None = row.canonical.get("new_water_relative_sd")
    return PRACTICE.new_water if stated is None else stated


def _exchange(quantity: str, clock: Clock, volume: Volume, row: Added, unstated: float) -> Feed:
    """A continuous exchange; its inflow stays unmeasured when the new water was not stated."""
    stated = row.canonical.get(PER_LITRE[quantity])
    if stated is None and quantity in PRACTICE.unstated_new_water_sd:
        stated = unstated
    start = clock.days(row.at)
    flow_sd = row.relative_sd or PRACTICE.dosing_pump
    flow = Checks(
        at_days=column([start]),
        value=column([row.canonical["flow_l_per_day"] / volume.at(row.at)]),
        relative_sd=column([flow_sd]),
    )
    inflow = Checks() if stated is None else Checks(
        at_days=column([start]), value=column([stated]), relative_sd=column([_new_water_sd(row)])
    )  # fmt: skip
    end = None if row.ended_at is None else clock.days(row.ended_at)
    return Feed(name=f"exchange {row.id}", flow=flow, inflow=inflow, from_days=start, to_days=end)


def _drip(clock: Clock, volume: Volume, stay: ReactorFeed, reactors: _Reactors) -> Feed:
    """A reactor's drip into a system: its share of the effluent, between the instants it was plumbed in."""
    flow, alkalinity = reactors.flow[stay.reactor_id], reactors.alkalinity[stay.reactor_id]
    share_per_litre = _per_volume(volume, stay.share)
    set_drip = reactors.set_drip[stay.reactor_id]
    return Feed(
        name=f"reactor {stay.reactor_id}",
        flow=Checks(
            at_days=clock.days_of(flow.at_us),
            value=flow.value * np.array([share_per_litre(instant(int(us))) for us in flow.at_us]),
            relative_sd=_relative(flow),
            systematic_sd=PRACTICE.timed_drip,
            drift=PRACTICE.drip_drift,
            set_at_days=column(clock.days(row.at) for row in set_drip),
            set_value=column(row.value * share_per_litre(row.at) for row in set_drip),
            reset_days=column(clock.days(at) for at in reactors.restored[stay.reactor_id]),
            reset_sd=PRACTICE.after_cleaning,
        ),
        inflow=Checks(
            at_days=clock.days_of(alkalinity.at_us),
            value=alkalinity.value,
            relative_sd=_relative(alkalinity),
            systematic_sd=PRACTICE.effluent_kit,
            drift=PRACTICE.effluent_drift,
        ),
        from_days=clock.days(stay.from_at),
        to_days=None if stay.to_at is None else clock.days(stay.to_at),
    )


def _per_volume(volume: Volume, share: float) -> Callable[[datetime], float]:
    return lambda at: share / volume.at(at)


def _relative(course: Course) -> Values:
    """Relative sds of a course; a zero has none, so it gets that of a pump."""
    relative = np.full(len(course), PRACTICE.dosing_pump)
    np.divide(course.sd, course.value, out=relative, where=course.value > 0)
    return relative
