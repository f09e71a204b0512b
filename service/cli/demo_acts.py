"""What the invented people do with the service, as the API would have it done: each act in one call."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal
from uuid import UUID

from service.access.caller import Work
from service.resources.equipment.gas_lines.models import SwapSent
from service.resources.equipment.gas_lines.swap import swapped
from service.resources.equipment.pieces.actions import PIECES
from service.resources.equipment.pieces.models import EquipmentPatch
from service.resources.keeping.records import RecordKind, corrected, record_one
from service.resources.keeping.things import amended
from service.resources.records.readings.actions import record_batch
from service.resources.records.readings.models import ReadingBatch


@dataclass(frozen=True)
class Round:
    """The readings of a room and a day, sent as one batch."""

    items: list[dict[str, Any]]


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


@dataclass(frozen=True)
class Sent:
    """A cylinder that leaves to be filled, or comes back; `version` is the one it has."""

    cylinder_id: UUID
    state: Literal["in_service", "out_of_service"]
    version: int


Act = Round | Recording | Correction | Swap | Sent


def perform(work: Work, act: Act) -> None:
    """Record, correct, swap or describe. Raises ServiceError, or ValueError when a reading of a round is refused."""
    if isinstance(act, Round):
        with work.session.no_autoflush:  # every look-up would store the one reading before it by itself
            results = record_batch(work, ReadingBatch(items=act.items), None)
        refused = [result["problem"] for result in results if result["problem"]]
        if refused:
            raise ValueError(f"a reading of the demonstration was refused: {refused[0]}")
    elif isinstance(act, Recording):
        record_one(work, act.kind, act.record_id, act.kind.sent.model_validate(act.body))
    elif isinstance(act, Correction):
        corrected(work, act.kind, act.record_id, act.kind.correction.model_validate(act.body), '"1"')
    elif isinstance(act, Swap):
        swapped(work, act.cylinder_id, SwapSent(at=act.at, new_cylinder_id=act.new_cylinder_id))
    else:
        amended(work, PIECES, act.cylinder_id, EquipmentPatch(state=act.state), f'"{act.version}"')
