"""From records to what a reactor's balance needs: the last checks of its effluent, the water it is fed, its gas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np
from sqlmodel import Session, col, select

from service.computations.gas_forecast.answer import forecasts
from service.computations.gas_forecast.gather import LineRecords
from service.computations.gas_forecast.gather import gather as gather_gas
from service.computations.output_balance.changes import ReactorHistory
from service.computations.output_balance.indicated import calibrated
from service.computations.output_balance.numbers import Number, Z
from service.computations.output_balance.situation import Chamber, Fed, Gas, Others, Situation
from service.computations.output_balance.waters import FRESH, JUST_AFTER, RECORDS, USUAL_C, Estimated, Water, waters
from service.computations.timeframe import Clock
from service.resources.equipment.feeds.models import Feed
from service.resources.equipment.feeds.queries import feeds_from, feeds_into
from service.resources.equipment.gas_lines.models import REACTOR, GasLine
from service.resources.equipment.gas_lines.queries import line_of, members
from service.resources.equipment.pieces.models import Equipment
from service.resources.equipment.pieces.specifications import of_kind
from service.resources.places.set_points import queries as set_points
from service.resources.records.additions.queries import media_of
from service.resources.records.probe_means import HOUR
from service.resources.records.queries import Course, courses
from service.science.reactor_output import Mode
from service.storage.types import instant

QUANTITIES = (
    "effluent_flow",
    "effluent_alkalinity",
    "effluent_ph",
    "chamber_ph",
    "temperature",
    "bubble_rate",
    "gas_flow",
)
DRIFT = {"effluent_flow": 0.02, "effluent_alkalinity": 0.02}
"""By how much a value wanders from its last check, part of it a square root of a day (common practice)."""
ROOM_C = (18.0, 26.0)
TOGETHER = timedelta(days=2)  # between two pH that say something of one another
ALONGSIDE = timedelta(days=14)  # a feed this old is in the demand that was estimated

WATCHED_SCORE = 4.0
"""A reactor that is watched for months: what its probe, watch and titrant share does not average away, and at 2 every
fortieth sound one would be named for as long as it keeps its probe (tests/studies/findings.py)."""

Courses = Mapping[str, Mapping[UUID, Course]]


@dataclass(frozen=True)
class Checked:
    """The last value on record, how well it is known today, and when it was read."""

    number: Number
    at: datetime


@dataclass(frozen=True)
class ReactorRecords:
    """One reactor's situation at an instant, and what it was made of."""

    reactor: Equipment
    at: datetime
    situation: Situation
    checks: Mapping[str, Checked]
    stale: Mapping[str, datetime]
    is_on_line: bool
    is_alone_on_line: bool
    history: ReactorHistory


def gather(
    session: Session, reactors: Sequence[Equipment], at: datetime, *, known: Mapping[UUID, Estimated] | None = None
) -> dict[UUID, ReactorRecords]:
    """The records of each reactor; the number of queries does not grow with the reactors.

    `known`: the alkalinity of every system they feed, where it was estimated for this instant already.
    """
    ids = [reactor.id for reactor in reactors]
    feeds = [feed for feed in feeds_from(session, ids) if feed.span.holds_at(at)]
    system_ids = sorted({feed.system_id for feed in feeds})
    beside = [feed for feed in feeds_into(session, system_ids) if feed.span.holds_at(at)]
    everybody = sorted({*ids, *(feed.reactor_id for feed in beside)})
    read = {
        quantity: courses(session, everybody, quantity, start=at - RECORDS, end=at + JUST_AFTER, probes_every=HOUR)
        for quantity in QUANTITIES
    }
    found = waters(session, system_ids, at, known=known)
    gas = _lines(session, ids, at)
    settings = set_points.history(session, ids, quantity="effluent_flow")
    fills = media_of(session, ids)
    made = {}
    for reactor in reactors:
        own = [feed for feed in feeds if feed.reactor_id == reactor.id]
        history = ReactorHistory(
            reactor_id=reactor.id,
            clock=Clock(at - RECORDS),
            courses={quantity: read[quantity][reactor.id] for quantity in QUANTITIES},
            tanks=[(feed.share, tests) for feed in own if (tests := found[feed.system_id].tests) is not None],
            drip_settings=[each for each in settings[reactor.id] if each.at <= at],
            filled_at=[fill.at for fill in fills if fill.subject_id == reactor.id and fill.at <= at],
            holds_ph=_mode(reactor) is Mode.PH_CONTROLLED,
        )
        made[reactor.id] = _records(reactor, own, beside, found, read, gas[reactor.id], history, at)
    return made


@dataclass(frozen=True)
class _OnLine:
    """The gas line a reactor is on: its records, its use by weighing, and whether other reactors share it."""

    records: LineRecords | None = None
    weighed: Number | None = None
    is_alone: bool = False


def _records(
    reactor: Equipment,
    feeds: Sequence[Feed],
    beside: Sequence[Feed],
    found: Mapping[UUID, Water],
    read: Courses,
    line: _OnLine,
    history: ReactorHistory,
    at: datetime,
) -> ReactorRecords:
    last = {quantity: _last(quantity, read[quantity][reactor.id], at) for quantity in QUANTITIES}
    checks = {quantity: each for quantity, each in last.items() if each is not None and at - each.at <= FRESH}
    stale = {quantity: each.at for quantity, each in last.items() if each is not None and at - each.at > FRESH}
    situation = Situation(
        chamber=_chamber(checks),
        fed=tuple(_fed(feed, beside, found[feed.system_id], read, at) for feed in feeds),
        gas=_gas(line, checks, {quantity: read[quantity][reactor.id] for quantity in ("bubble_rate", "gas_flow")}),
        mode=_mode(reactor),
        subject_id=reactor.id,
    )
    return ReactorRecords(reactor, at, situation, checks, stale, line.records is not None, line.is_alone, history)


def _mode(reactor: Equipment) -> Mode:
    held = of_kind(REACTOR, reactor.specification).operation_mode
    return Mode.PH_CONTROLLED if held == "controlled_ph" else Mode.GAS_LIMITED


def _chamber(checks: Mapping[str, Checked]) -> Chamber:
    """The pH of the chamber itself where it was read with the sample's, which loses gas on its way; else the later."""
    read = [checks[quantity] for quantity in ("chamber_ph", "effluent_ph") if quantity in checks]
    together = len(read) == 2 and abs(read[0].at - read[1].at) <= TOGETHER
    ph = read[0] if together else max(read, key=lambda each: each.at, default=None)
    celsius = _number(checks, "temperature")
    return Chamber(
        flow=_number(checks, "effluent_flow"),
        alkalinity=_number(checks, "effluent_alkalinity"),
        ph=None if ph is None else ph.number,
        temperature_c=None if celsius is None else celsius.value,
        sample_ph=read[1].number if together else None,
    )


def _fed(feed: Feed, beside: Sequence[Feed], water: Water, read: Courses, at: datetime) -> Fed:
    others: Others | None = water.others
    for other in beside:
        if other.system_id == feed.system_id and other.reactor_id != feed.reactor_id and others is not None:
            brought = _brought(other, water, read, at)
            others = None if brought is None else replace(others, supply=others.supply + brought)
    return Fed(
        share=feed.share,
        system_id=feed.system_id,
        alkalinity=water.alkalinity,
        ph=water.ph,
        temperature_c=USUAL_C if water.temperature_c is None else water.temperature_c,
        salinity=water.salinity,
        boron_factor=water.system.boron_factor,
        volume_l=water.volume_l,
        demand=water.demand,
        others=others,
        answer=water.answer,
        demand_knows_reactor=at - feed.from_at >= ALONGSIDE,
    )


def _brought(feed: Feed, water: Water, read: Courses, at: datetime) -> Number | None:
    """What another reactor brings the same system, meq/d; None where its drip or effluent was not read of late."""
    flow, alkalinity = (
        _last(name, read[name][feed.reactor_id], at) for name in ("effluent_flow", "effluent_alkalinity")
    )
    if flow is None or alkalinity is None or water.alkalinity is None or at - min(flow.at, alkalinity.at) > FRESH:
        return None
    return (flow.number * (alkalinity.number - water.alkalinity)).times(feed.share)


def _gas(line: _OnLine, checks: Mapping[str, Checked], indicated: Mapping[str, Course]) -> Gas:
    """The other witnesses of the reactor's gas. A line's weighing is its own only where it is alone on it."""
    records = line.records if line.is_alone else None
    bubbles, flow = _number(checks, "bubble_rate"), _number(checks, "gas_flow")
    metered = None if flow is None else calibrated(records, indicated["gas_flow"], flow)
    return Gas(
        by_weighing=line.weighed if line.is_alone else None,
        by_bubbles=None if bubbles is None else calibrated(records, indicated["bubble_rate"], bubbles),
        by_gas_flow=metered or flow,
        bubbles_per_s=None if bubbles is None else bubbles.value,
        significant_score=WATCHED_SCORE,
    )


def _last(quantity: str, course: Course, at: datetime) -> Checked | None:
    if not len(course):
        return None
    read_at, value = instant(int(course.at_us[-1])), float(course.value[-1])
    wandered = DRIFT.get(quantity, 0.0) * value * np.sqrt(max((at - read_at) / timedelta(days=1), 0.0))
    return Checked(Number(value, float(np.hypot(course.sd[-1], wandered))), read_at)


def _number(checks: Mapping[str, Checked], quantity: str) -> Number | None:
    return checks[quantity].number if quantity in checks else None


def _lines(session: Session, reactor_ids: Sequence[UUID], at: datetime) -> dict[UUID, _OnLine]:
    """The gas line of each reactor."""
    on = line_of(session, reactor_ids, at)
    line_ids = sorted(set(on.values()))
    lines = list(session.exec(select(GasLine).where(col(GasLine.id).in_(line_ids))))
    records = gather_gas(session, lines, at)
    found = forecasts([records[line.id] for line in lines], at=at, temperature_c=ROOM_C) if lines else []
    uses = {line.id: None if each is None else each.use_g_d for line, each in zip(lines, found, strict=True)}
    shared = {
        line_id: sum(row.kind == REACTOR and row.span.holds_at(at) for row in rows)
        for line_id, rows in members(session, line_ids).items()
    }
    made = {}
    for reactor_id in reactor_ids:
        line_id = on.get(reactor_id)
        use = None if line_id is None else uses[line_id]
        made[reactor_id] = (
            _OnLine()
            if line_id is None
            else _OnLine(
                records[line_id],
                None if use is None else Number(use.value, (use.high - use.low) / (2 * Z)),
                shared[line_id] == 1,
            )
        )
    return made
