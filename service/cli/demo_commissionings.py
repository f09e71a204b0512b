"""Procedures run in the invented hall: a reactor started up and signed, a cut-off tested and signed, one under way."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.cli.demo_season import Season
from service.resources.keeping.records import record_one
from service.resources.records.commissionings.actions import COMMISSIONINGS, signed, step_recorded, step_signed
from service.resources.records.commissionings.models import CommissioningSent, EvidenceSent
from service.resources.records.procedures.models import Measured, Step, Wait, WrittenNote
from service.resources.records.procedures.queries import named

HANDS_ON = timedelta(minutes=6)
SEEN: dict[str, Any] = {
    "room_co2": 640, "chamber_pressure": 0.08, "delivery_pressure": 1.0, "bubble_rate": 18, "effluent_flow": 42,
    "chamber_ph": 6.62, "effluent_alkalinity": 24.5, "ph": 7.54, "duration": 0.7,
}  # fmt: skip
WRITTEN: Mapping[str, str] = {
    "cut_off_set": "7.55 on the system's own controller, its probe beside the overflow",
    "probe_checked": "reads 7.02 in fresh pH 7",
    "media_inspected": "two thirds left, a little paste at the bottom of the first chamber",
}


@dataclass(frozen=True)
class StepTaken:
    """Something done in a run of a procedure."""

    take: Callable[[Work], object]


@dataclass(frozen=True)
class Planned:
    """One run: what, on which system's reactor, from which day on; how many steps (None: all, and signed)."""

    procedure: str
    code: str
    day: float
    steps: int | None = None


def runs_of(season: Season, days: float) -> Iterator[tuple[datetime, UUID, StepTaken]]:
    """Every step of the runs: when, by whom, what. The terrace has none: its cut-off was forgotten."""
    for planned in (
        Planned("calcium_reactor_start_up", "OVERHANG", 0.4),
        Planned("low_ph_cut_off_test", "LAGOON", days - 9.6),
        Planned("half_yearly_strip_down", "BENCH", days - 0.6, steps=4),
    ):
        yield from _run(season, planned)


def _run(season: Season, planned: Planned) -> Iterator[tuple[datetime, UUID, StepTaken]]:
    procedure, at, by = named(planned.procedure), season.at(planned.day), season.life_support
    run_id = season.record_id(planned.code, "run", planned.procedure)
    sent = CommissioningSent(
        procedure=procedure.code,
        subject_id=season.described.subjects[planned.code, "reactor"],
        started_at=at,
        started_by=season.name_of(by),
    )
    yield at, by, StepTaken(lambda work: record_one(work, COMMISSIONINGS, run_id, sent))
    for step in procedure.steps[: planned.steps]:
        at += timedelta(minutes=step.hold.minutes) if isinstance(step.hold, Wait) else HANDS_ON
        yield at, by, StepTaken(_recording(run_id, step, at))
        if step.signed == "two":
            yield at, season.supervisor, StepTaken(_second(run_id, step.code))
    if planned.steps is None:
        yield at + HANDS_ON, season.supervisor, StepTaken(lambda work: signed(work, run_id, None))


def _recording(run_id: UUID, step: Step, at: datetime) -> Callable[[Work], object]:
    evidence: dict[str, Any] = {"done_at": at}
    if isinstance(step.hold, Measured):
        evidence |= {"value": float(SEEN[step.hold.quantity]), "unit": step.hold.unit}
    elif isinstance(step.hold, WrittenNote):
        evidence["note"] = WRITTEN.get(step.code, "as described, nothing remarkable")
    sent = EvidenceSent.model_validate(evidence)
    return lambda work: step_recorded(work, run_id, step.code, sent)


def _second(run_id: UUID, code: str) -> Callable[[Work], object]:
    return lambda work: step_signed(work, run_id, code, None)
