"""What a run-away is computed from, whether it came from records or with the request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from service.computations.gas_release.situation import Air
from service.computations.output_balance.numbers import Number
from service.resources.places.sites.exposure_limits import ExposureLimit
from service.science.hazards import Tank

USUAL_FLOW_G_H = 100.0  # a needle valve left open (a judgement: real ones pass from tens to thousands of g/h)
USUAL_DELAY_MINUTES = 5.0  # probe, mixing, relay, valve (a judgement)
TANK_PH_READS = (3.0, 12.0)  # where a glass electrode in NBS buffers can be right about water


@dataclass(frozen=True)
class Exchange:
    """The coefficient of gas exchange with the air, per hour, between two values, and what says so."""

    low: float
    high: float
    by: str  # range, balance, relaxation or as_asked


UNKNOWN_EXCHANGE = Exchange(0.1, 2.0, "range")
"""Of tanks of this trade, from memory; a keeper who measured it says so."""


@dataclass(frozen=True)
class Start:
    """The pH that the fault begins at: the system's own lowest, when it was read, on how many nights and days."""

    ph: float
    by: str  # night_minimum, lowest_reading or as_asked
    at: datetime | None = None
    nights: int = 0
    days: int = 0


@dataclass(frozen=True)
class Tested:
    """The last test of the cut-off on record; of a signed run of a procedure also what it measured."""

    at: datetime
    what: str
    findings: str | None
    performed_by: str | None
    commissioning_id: UUID | None = None
    trip_ph: float | None = None
    closing_minutes: float | None = None
    bubbles_stopped: bool | None = None


@dataclass(frozen=True)
class CutOffRecord:
    """The low-pH cut-off of a tank as set, and its evidence."""

    ph: float | None = None
    set_at: datetime | None = None
    tested: Tested | None = None
    ignored_ph: float | None = None  # set, but so low that the chamber is meant
    knows_tests: bool = True  # a request without records says nothing of tests
    closing_minutes: float | None = None  # measured in the last signed test that shut the gas


@dataclass(frozen=True)
class Body:
    """One system that the gas may reach. `tank` None: too little is known of it, and `lacks` says what."""

    system_id: UUID | None
    tank: Tank | None
    share: float
    start: Start | None
    cut_off: CutOffRecord
    lacks: Sequence[str] = ()


@dataclass(frozen=True)
class Pressures:
    """Absolute pressures at the regulator's outlet and in the chamber, bar; None: not read."""

    delivery_bar: float | None = None
    chamber_bar: float | None = None


@dataclass(frozen=True)
class RoomOfIt:
    """The room that takes what does not dissolve."""

    room_id: UUID | None
    air: Air
    limits: Sequence[ExposureLimit]


@dataclass(frozen=True)
class Asked:
    """What was asked: the flow, how long the shutting takes, what still comes after, how low is too low."""

    flow_g_h: float = USUAL_FLOW_G_H
    delay_minutes: float = USUAL_DELAY_MINUTES
    delay_is_assumed: bool = False  # then a measured closing time counts instead
    held_gas_g: float = 0.0
    stays_above_ph: float | None = None
    to_ph: Sequence[float] = (7.8, 7.5)
    flow_is_assumed: bool = True


def delay_of(asked: Asked, body: Body) -> float:
    """Minutes until the gas has stopped: as asked, else as measured in the last signed test, else the usual."""
    measured = body.cut_off.closing_minutes
    return measured if asked.delay_is_assumed and measured is not None else asked.delay_minutes


@dataclass(frozen=True)
class Situation:
    """Everything one answer is computed from."""

    asked: Asked
    bodies: Sequence[Body]
    drip_l_d: float | None
    gas_kg: float | None
    exchange: Exchange
    pressures: Pressures
    room: RoomOfIt | None
    ordinary_use: Number | None = None
    chamber_control_ph: float | None = None
    subject_id: UUID | None = None
    lacks: Sequence[str] = ()
