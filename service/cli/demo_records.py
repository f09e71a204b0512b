"""From a simulated system to what its people would have sent: one act a record, at the instant it was done."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from service.access.caller import Work
from service.cli.demo_description import Described
from service.resources.equipment.gas_lines.models import SwapSent
from service.resources.equipment.gas_lines.swap import swapped
from service.resources.keeping.records import RecordKind, corrected, record_one
from service.resources.places.set_points.actions import SET_POINTS
from service.resources.records.additions.actions import ADDITIONS
from service.resources.records.maintenance_events.actions import MAINTENANCE_EVENTS
from service.resources.records.readings.actions import READINGS
from service.resources.records.stock_changes.actions import STOCK_CHANGES
from service.science.units import convert
from service.simulation import Addition, MaintenanceEvent, Reading, SetPoint, SimulatedSystem, StockChange

NAMESPACE = UUID("6f0f9b0e-7a53-4e0c-9a55-0c1d5b3a2f11")
SHOWN_IN = {
    ("alkalinity", "meq/L"): ("dKH", 2),
    ("effluent_alkalinity", "meq/L"): ("dKH", 1),
    ("effluent_flow", "L/d"): ("mL/min", 1),
}
SPELT = {"/min": "{bubble}/min"}
ON_THE_SCALE = "cylinder and valve, cap off, regulator off"
STOCK_MEQ_L = 1000.0  # the nursery's dosing stock: a set rate in meq/d becomes litres
MEDIA_KG = 18  # what the specification says, and the simulated chamber holds
SWAPPED = "cylinder swapped"


@dataclass(frozen=True)
class Recording:
    """One record to send."""

    kind: RecordKind[Any]
    record_id: UUID
    body: dict[str, Any]


@dataclass(frozen=True)
class Correction:
    """A later correction of one of the records."""

    kind: RecordKind[Any]
    record_id: UUID
    body: dict[str, Any]


@dataclass(frozen=True)
class Swap:
    """A cylinder changed for a full one."""

    cylinder_id: UUID
    new_cylinder_id: UUID
    at: datetime


Act = Recording | Correction | Swap


def acts_of(system: SimulatedSystem, described: Described, start: datetime) -> Iterator[tuple[datetime, UUID, Act]]:
    """Everything recorded of one system: when, by whom, what."""
    recorded = system.recorded
    swaps = [event.at for event in recorded.maintenance if event.what == SWAPPED]
    sender = _Sender(system.code, described, start, swaps)
    for reading in recorded.readings:
        yield sender.reading(reading)
    for addition in recorded.additions:
        yield sender.addition(addition)
    for point in recorded.set_points:
        if point.at > 0:
            yield sender.set_point(point)
    for event in recorded.maintenance:
        yield sender.swap(event) if event.what == SWAPPED else sender.maintenance(event)
    for change in recorded.stock_changes:
        yield sender.stock_change(change)
    yield from sender.second_thoughts(recorded.readings)
    if (system.code, "reactor") in described.subjects:
        yield sender.media()


def perform(work: Work, act: object) -> None:
    """Record, correct or swap, as the API would."""
    if isinstance(act, Recording):
        record_one(work, act.kind, act.record_id, act.kind.sent.model_validate(act.body))
    elif isinstance(act, Correction):
        corrected(work, act.kind, act.record_id, act.kind.correction.model_validate(act.body), '"1"')
    elif isinstance(act, Swap):
        swapped(work, act.cylinder_id, SwapSent(at=act.at, new_cylinder_id=act.new_cylinder_id))


class _Sender:
    """Turns what one system's people noted into bodies, with a fixed lot deciding who was on shift."""

    def __init__(self, code: str, described: Described, start: datetime, swaps: list[float]) -> None:
        self._code, self._described, self._start, self._swaps = code, described, start, swaps
        self._shift = random.Random(f"shift {code}")  # noqa: S311 - who was on shift, the same every time
        self._staff = list(described.staff)

    def reading(self, reading: Reading) -> tuple[datetime, UUID, Act]:
        """A reading in the unit its kit prints."""
        at, by = self._when(reading.taken_at), self._shift.choice(self._staff[1:])
        value, unit = self._as_printed(reading.quantity, reading.value, reading.unit)
        body: dict[str, Any] = {
            "subject_id": str(self._subject(reading)),
            "quantity": reading.quantity,
            "value": value,
            "unit": unit,
            "taken_at": at.isoformat(),
            "method": str(self._described.methods[reading.quantity, reading.method]),
            "purpose": reading.purpose,
            "observed_by": self._described.staff[by].name,
            "confirm": True,
        }
        if reading.lot is not None:
            body["lot_id"] = str(self._described.lots[reading.lot])
        if reading.quantity == "cylinder_gross_mass":
            body["conditions"] = {"hung_on_scale": ON_THE_SCALE}
        return (
            at,
            by,
            Recording(READINGS, self._id("reading", reading.subject, reading.quantity, reading.taken_at), body),
        )

    def addition(self, addition: Addition) -> tuple[datetime, UUID, Act]:
        """An addition, recorded when it ended."""
        begun, ended = self._when(addition.start), self._when(addition.end)
        body: dict[str, Any] = {"system_id": str(self._described.subjects[self._code, "system"])}
        amount = {"value": round(addition.amount, 1), "unit": addition.unit}
        if addition.kind == "dose":
            body |= {"kind": "dose", "alkalinity": amount}
        elif addition.kind == "water_change":
            water = {"alkalinity": {"value": addition.alkalinity_meq_l, "unit": "meq/L"}}
            body |= {"kind": "water_change", "at": begun.isoformat(), "volume": amount, "new_water": water}
        else:
            body |= {"kind": "top_off", "liquid": addition.kind, "volume": amount}
            if addition.kind == "limewater":
                body["strength"] = {"value": addition.alkalinity_meq_l, "unit": "meq/L"}
        if addition.kind != "water_change":
            body |= {"started_at": begun.isoformat(), "ended_at": ended.isoformat()}
        body["confirm"] = True
        return ended, self._staff[1], Recording(ADDITIONS, self._id(addition.kind, addition.start), body)

    def set_point(self, point: SetPoint) -> tuple[datetime, UUID, Act]:
        """A set-point; a dosing rate as litres of the stock solution."""
        value, unit = point.value, point.unit
        if point.code == "dosing_rate":
            value, unit = 1000 * value / STOCK_MEQ_L, "mL/d"
        value, unit = self._as_printed(point.code, value, unit)
        at = self._when(point.at)
        body = {
            "subject_id": str(self._described.subjects[self._code, point.subject]),
            "quantity": point.code,
            "value": round(value, 1),
            "unit": unit,
            "from": at.isoformat(),
            "reason": point.reason or "as set up",
        }
        return at, self._staff[0], Recording(SET_POINTS, self._id("set", point.code, point.at), body)

    def maintenance(self, event: MaintenanceEvent) -> tuple[datetime, UUID, Act]:
        """A job done."""
        at, by = self._when(event.at), self._shift.choice(self._staff)
        body: dict[str, Any] = {
            "subject_id": str(self._described.subjects[self._code, event.subject]),
            "kind": event.kind,
            "performed_at": at.isoformat(),
            "what": event.what,
            "minutes": self._shift.choice([5, 10, 15, 20, 30]),
            "performed_by": self._described.staff[by].name,
        }
        if event.what == "drip line cleaned":
            body["restores"] = ["effluent_flow"]
        return at, by, Recording(MAINTENANCE_EVENTS, self._id("job", event.what, event.at), body)

    def swap(self, event: MaintenanceEvent) -> tuple[datetime, UUID, Act]:
        """The cylinder in use changed for the full one."""
        at = self._when(event.at)
        old, new = self._described.cylinders
        return at, self._staff[1], Swap(old, new, at)

    def stock_change(self, change: StockChange) -> tuple[datetime, UUID, Act]:
        """Corals that came."""
        at = self._when(change.at)
        count, what = change.note.split(" ", 1)
        body = {
            "subject_id": str(self._described.subjects[self._code, "system"]),
            "kind": "added",
            "at": at.isoformat(),
            "count": int(count),
            "what": what,
        }
        return at, self._staff[0], Recording(STOCK_CHANGES, self._id("stock", change.at), body)

    def media(self) -> tuple[datetime, UUID, Act]:
        """The reactor was filled as the season began."""
        at = self._when(0)
        body = {
            "kind": "media",
            "reactor_id": str(self._described.subjects[self._code, "reactor"]),
            "at": at.isoformat(),
            "mass": {"value": MEDIA_KG, "unit": "kg"},
            "replaces": True,
        }
        return at, self._staff[1], Recording(ADDITIONS, self._id("media"), body)

    def second_thoughts(self, readings: tuple[Reading, ...]) -> Iterator[tuple[datetime, UUID, Act]]:
        """One slip of the pen a system, put right by the supervisor a few hours later in the last days."""
        temperatures = [reading for reading in readings if reading.quantity == "temperature"]
        last = temperatures[-2]
        at = self._when(last.taken_at) + timedelta(hours=4)
        record_id = self._id("reading", last.subject, last.quantity, last.taken_at)
        body = {"reason": "read from the wrong thermometer", "value": round(last.value + 0.2, 1)}
        yield at, self._staff[0], Correction(READINGS, record_id, body)

    def _subject(self, reading: Reading) -> UUID:
        """Weighings go to the cylinder that hung on the line then."""
        if reading.subject == "cylinder":
            return self._described.cylinders[sum(swap <= reading.taken_at for swap in self._swaps)]
        return self._described.subjects[self._code, reading.subject]

    def _as_printed(self, quantity: str, value: float, unit: str) -> tuple[float, str]:
        if quantity == "ph" or quantity.endswith("_ph"):
            return value, "[pH]"
        unit = SPELT.get(unit, unit)
        if (quantity, unit) not in SHOWN_IN:
            return value, unit
        shown, digits = SHOWN_IN[quantity, unit]
        return round(float(convert(value, unit=unit, to=shown)), digits), shown

    def _when(self, days: float) -> datetime:
        return self._start + timedelta(days=days)

    def _id(self, *parts: object) -> UUID:
        return uuid5(NAMESPACE, f"{self._described.site_id} {self._code} {' '.join(map(str, parts))}")
