"""A large site written straight into the tables: half a year of simulated records of as many systems as wanted.

Every fifth system is fed by a reactor, the others by a dosing pump; two or three reactors share a gas line. Levels
follow a plain balance of what is taken and given, read with errors. Nothing goes through the API and nothing enters
the audit trail: this is for measuring, and for counting queries.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import ceil
from typing import Any
from uuid import UUID

import numpy as np
from sqlalchemy import insert

from service.resources.equipment.feeds.models import Feed
from service.resources.equipment.gas_lines.models import GasLine, GasLineMember
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.set_points.models import SetPoint
from service.resources.places.sites.models import Site
from service.resources.places.systems.models import System
from service.resources.records.additions.models import Addition
from service.resources.records.maintenance_events.models import MaintenanceEvent, what_key
from service.resources.records.maintenance_plans.models import MaintenancePlan
from service.resources.records.readings.models import Reading
from service.resources.records.stock_changes.models import StockChange
from service.science.quantities import QUANTITIES
from service.storage.database import Database
from service.storage.subjects import Subject
from service.storage.types import new_id

WEEKS = 26
TAG = "large-hall"
LITRES, DEMAND, LEVEL = 1000.0, 0.3, 2.9  # meq/L/d, meq/L
FED = 5  # every so many systems one is fed by a reactor
ON_A_LINE = 2.5  # reactors a gas line
ORDER = (
    Site, Subject, System, Equipment, GasLine, GasLineMember, Feed, SetPoint, MaintenancePlan, Reading, Addition,
    MaintenanceEvent, StockChange,
)  # fmt: skip


@dataclass
class _Writer:
    """The rows of every table, until they are written."""

    site_id: UUID
    end: datetime
    random: np.random.Generator
    rows: dict[Any, list[dict[str, Any]]] = field(default_factory=lambda: {table: [] for table in ORDER})

    def at(self, days: float) -> datetime:
        """The instant so many days before the end."""
        return self.end - timedelta(days=days)

    def add(self, table: Any, **columns: Any) -> UUID:
        """One row, with an id of its own."""
        row_id = new_id()
        self.rows[table].append({"id": row_id, "version": 1, "site_id": self.site_id, **columns})
        return row_id

    def subject(self, table: Any, what: str, **columns: Any) -> UUID:
        """A row that records can be about: a system, or a kind of equipment."""
        row_id = self.add(table, described_at=self.at(7 * WEEKS), **columns)
        self.rows[Subject].append({"id": row_id, "site_id": self.site_id, "kind": what, "label_code": row_id.hex[-16:]})
        return row_id

    def record(self, table: Any, subject_id: UUID, days: float, entered: dict[str, Any], **columns: Any) -> UUID:
        """A record of so many days ago."""
        at = self.at(days)
        return self.add(
            table,
            subject_id=subject_id,
            at=at,
            state="recorded",
            entered=entered,
            sent_digest=b"\0" * 32,
            recorded_at=at,
            recorded_by=UUID(int=0),
            changed_at=None,
            changed_by=None,
            correction_reason=None,
            **columns,
        )

    def reading(self, subject_id: UUID, quantity: str, days: float, value: float) -> None:
        """A reading in the canonical unit."""
        value = float(value)
        unit = QUANTITIES[quantity].unit
        entered = {"value": value, "unit": unit, "taken_at": self.at(days).isoformat()}
        self.record(
            Reading,
            subject_id,
            days,
            entered,
            quantity=quantity,
            value=value,
            unit=unit,
            method=None,
            lot_id=None,
            purpose="sample",
            relative_sd=None,
            flagged=False,
        )

    def setting(self, subject_id: UUID, quantity: str, value: float, unit: str) -> None:
        """A set-point that holds all the time."""
        entered = {"value": value, "unit": unit, "reason": "as described", "from": self.at(7 * WEEKS).isoformat()}
        columns = {"quantity": quantity, "value": value, "unit": unit, "relative_sd": None}
        self.record(SetPoint, subject_id, 7 * WEEKS, entered, **columns)

    def noisy(self, value: float, relative: float) -> float:
        """A value as it is read."""
        return float(value * (1 + relative * self.random.standard_normal()))


def write_large_site(database: Database, *, systems: int, end: datetime, seed: int = 1, tag: str = TAG) -> str:
    """Write a site of so many systems whose records end at an instant; its tag."""
    writer = _Writer(new_id(), end, np.random.default_rng(seed))
    site = {"id": writer.site_id, "version": 1, "tag": tag, "name": "The Large Hall", "time_zone": "Europe/Berlin"}
    described = {"country": None, "units": {"alkalinity": "dKH"}, "retention_years": {}, "described_at": writer.at(190)}
    columns = Site.__table__.columns.keys()  # type: ignore[attr-defined]
    writer.rows[Site] = [{name: value for name, value in {**site, **described}.items() if name in columns}]
    reactors = [reactor for number in range(systems) for reactor in _system(writer, number, tag)]
    _gas(writer, reactors, tag)
    with database.write() as session:
        for table in ORDER:
            if writer.rows[table]:
                session.execute(insert(table), writer.rows[table])
    return tag


def _every(step: float, *, first: float, last: float = 0.0) -> list[float]:
    """Days before the end, from the first to after the last, so many apart."""
    return [float(days) for days in np.arange(first, last, -step)]


def _system(writer: _Writer, number: int, tag: str) -> Iterator[UUID]:
    """One system with its records, and the reactor that feeds it, if one does."""
    name = f"System {number + 1}"
    system_id = writer.subject(
        System, "system", tag=f"{tag[:20]}-s{number}", name=name, room_id=None, boron_factor=1.0,
        quarantine_class="clean",
    )  # fmt: skip
    writer.setting(system_id, "water_volume", LITRES, "L")
    writer.setting(system_id, "reference_salinity", 35.0, "1")
    writer.setting(system_id, "target_alkalinity", LEVEL, "meq/L")
    drift = 0.002 * writer.random.standard_normal()  # of what is given against what is taken, meq/L/d
    for days in _every(2.0, first=7 * WEEKS - 1.0):
        level = LEVEL + drift * (7 * WEEKS - days) * (days < 60)
        writer.reading(system_id, "alkalinity", days, writer.noisy(level, 0.012))
    for days in _every(7.0, first=7 * WEEKS - 2.0):
        writer.reading(system_id, "calcium", days, writer.noisy(425, 0.015))
        writer.reading(system_id, "ph", days, 8.1 + 0.05 * writer.random.standard_normal())
    for days in _every(14.0, first=7 * WEEKS - 3.0):
        writer.reading(system_id, "magnesium", days, writer.noisy(1320, 0.015))
        water = {"alkalinity_meq_per_l": 2.6, "calcium_mg_per_l": 420, "magnesium_mg_per_l": 1300, "salinity": 35.0}
        canonical = {"volume_l": 60.0, "mode": "drained", **water}
        _addition(writer, system_id, days, None, "water_change", canonical)
    _keeping(writer, system_id, name)
    if number % FED:
        for days in _every(7.0, first=7.0 * WEEKS):
            canonical = {"alkalinity_meq": 7 * DEMAND * LITRES, "calcium_mg": None, "magnesium_mg": None}
            _addition(writer, system_id, days, days - 7.0, "dose", canonical)
        return
    yield _reactor(writer, system_id, number, tag)


def _addition(
    writer: _Writer, system_id: UUID, days: float, until: float | None, kind: str, canonical: dict[str, Any]
) -> None:
    ended = None if until is None else writer.at(until)
    entered = {"kind": kind, "at": writer.at(days).isoformat()}
    columns = {"kind": kind, "ended_at": ended, "canonical": canonical, "relative_sd": None, "flagged": False}
    writer.record(Addition, system_id, days, entered, **columns)


def _keeping(writer: _Writer, system_id: UUID, name: str) -> None:
    """A job every fortnight by plan, now and then new corals."""
    what = "return pump cleaned"
    writer.add(
        MaintenancePlan, subject_id=system_id, what=what, kind="predetermined", recurrence="FREQ=WEEKLY;INTERVAL=2",
        counts_from="done", from_at=writer.at(7 * WEEKS), to_at=None, procedure=None, described_at=writer.at(7 * WEEKS),
    )  # fmt: skip
    last = float(writer.random.uniform(0, 18))
    for days in _every(14.0, first=7 * WEEKS - 4.0, last=last):
        entered = {"what": what, "performed_at": writer.at(days).isoformat(), "minutes": 15}
        columns = {"kind": "predetermined", "plan_id": None, "what_key": what_key(what), "restores": []}
        writer.record(MaintenanceEvent, system_id, days, entered, **columns)
    if writer.random.uniform() < 0.2:
        days = float(writer.random.uniform(1, 60))
        entered = {"what": f"colonies for {name}", "at": writer.at(days).isoformat()}
        writer.record(StockChange, system_id, days, entered, kind="added", count=12, to_subject_id=None)


def _reactor(writer: _Writer, system_id: UUID, number: int, tag: str) -> UUID:
    """A reactor that gives what the system takes, and its weekly checks."""
    reactor_id = writer.subject(
        Equipment, "calcium_reactor", tag=f"{tag[:20]}-r{number}", kind="calcium_reactor", name=f"Reactor {number + 1}",
        specification={"media_mass": {"value": 12, "unit": "kg"}}, state="in_service", room_id=None,
    )  # fmt: skip
    beginning = {"from_at": writer.at(7 * WEEKS), "to_at": None, "described_at": writer.at(7 * WEEKS)}
    writer.add(Feed, reactor_id=reactor_id, system_id=system_id, share=1.0, **beginning)
    drip, effluent = 50.0, LEVEL + DEMAND * LITRES / 50.0
    for days in _every(7.0, first=7 * WEEKS - 1.5):
        writer.reading(reactor_id, "effluent_flow", days, writer.noisy(drip, 0.04))
        writer.reading(reactor_id, "effluent_alkalinity", days, writer.noisy(effluent, 0.02))
        writer.reading(reactor_id, "effluent_ph", days, 6.55 + 0.03 * writer.random.standard_normal())
        writer.reading(reactor_id, "bubble_rate", days, writer.noisy(1.0, 0.06))
    writer.reading(reactor_id, "media_level", 5.0, float(writer.random.uniform(40, 100)))
    return reactor_id


def _gas(writer: _Writer, reactors: list[UUID], tag: str) -> None:
    """Gas lines of two or three reactors, each with a cylinder that is weighed every week."""
    beginning = {"from_at": writer.at(7 * WEEKS), "to_at": None, "described_at": writer.at(7 * WEEKS)}
    specification = {
        "stamped_tare": {"value": 30.0, "unit": "kg"},
        "water_capacity": {"value": 40.0, "unit": "L"},
        "charge": {"value": 25.0, "unit": "kg"},
    }
    lines = ceil(len(reactors) / ON_A_LINE)
    for number in range(lines):
        line_id = writer.add(
            GasLine, tag=f"{tag[:20]}-g{number}", name=f"Gas line {number + 1}", described_at=writer.at(190)
        )
        cylinder_id = writer.subject(
            Equipment, "co2_cylinder", tag=f"{tag[:20]}-c{number}", kind="co2_cylinder", name=None,
            specification=specification, state="in_service", room_id=None,
        )  # fmt: skip
        own = reactors[number::lines]
        for equipment_id, kind in ((cylinder_id, "co2_cylinder"), *((each, "calcium_reactor") for each in own)):
            writer.add(GasLineMember, line_id=line_id, equipment_id=equipment_id, kind=kind, **beginning)
        used = 0.012 * len(own) * float(writer.random.uniform(0.7, 1.6))  # kg a day
        for days in _every(7.0, first=7 * WEEKS - 1.0):
            left = max(25.0 - used * (7 * WEEKS - days), 0.5)
            mass = 30.0 + left + 0.02 * float(writer.random.standard_normal())
            writer.reading(cylinder_id, "cylinder_gross_mass", days, mass)
