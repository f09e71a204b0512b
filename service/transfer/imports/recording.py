"""From the drafts of rows to records: each under an id that follows from its content, so that a repeat finds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid5

from pydantic import ValidationError
from sqlmodel import col, select

from service.access.caller import Work
from service.errors import Fault, ServiceError
from service.http.problems import faults_of
from service.http.shapes import Shape
from service.resources.keeping.records import WITHDRAWN, RecordKind, RecordRow, recorded, recorded_anew
from service.resources.records.additions.actions import ADDITIONS
from service.resources.records.maintenance_events.actions import MAINTENANCE_EVENTS
from service.resources.records.readings.actions import READINGS
from service.resources.records.readings.models import ReadingSent
from service.storage.subjects import Subject
from service.storage.types import digest
from service.transfer.imports.cells import Cell
from service.transfer.imports.occurrences import Occurrences
from service.transfer.imports.open_row import CellFault
from service.transfer.imports.points import Point, PointRefused, PointsOfBlock
from service.transfer.imports.rows import Draft, Reading

NO_ID = UUID(int=0)  # a point has none: its series and its instant name it
KINDS: dict[str, RecordKind[Any]] = {kind.singular: kind for kind in (READINGS, MAINTENANCE_EVENTS, ADDITIONS)}


@dataclass(frozen=True)
class Outcome:
    """What became of one row: `recorded`, `known`, `rejected`, `held_back` or `blank`."""

    row: int
    status: str
    cells: dict[str, Cell]
    records: tuple[tuple[str, UUID], ...] = ()
    new: int = 0
    faults: tuple[CellFault, ...] = ()
    remarks: tuple[str, ...] = ()
    flagged: int = 0


@dataclass(frozen=True)
class _Ready:
    """A record that can be sent: its kind, its id, its shape, and the draft it came from."""

    kind: RecordKind[Any]
    id: UUID
    sent: Shape
    draft: Draft


class Recorder:
    """Records the rows of one import in order."""

    def __init__(
        self,
        site_id: UUID,
        *,
        keep: bool,
        flag_implausible: bool,
        as_series: bool,
        again: int,
        occurrences: Occurrences,
    ) -> None:
        self._site_id = site_id
        self._keep = keep
        self._as_series = as_series
        self._confirm = flag_implausible
        self._again = f":{again}" if again else ""
        self._occurrences = occurrences

    def record(self, work: Work, readings: Sequence[Reading]) -> tuple[list[Outcome], list[tuple[str, RecordRow]]]:
        """What became of each row, in order, and the new records, which stand in the session (none in a dry run)."""
        prepared = [self._prepared(reading) for reading in readings]
        ready = [each for _, found, _ in prepared for each in found]
        points = PointsOfBlock(work, [each.sent for each in ready if self._is_point(each)])
        known = _known(work, [each for each in ready if not self._is_point(each)])
        _subjects = _held_subjects(work, ready)  # held while the block lasts: the session forgets what nobody holds
        outcomes: list[Outcome] = []
        new: list[tuple[str, RecordRow]] = []
        with work.session.no_autoflush:
            for reading, found, faults in prepared:
                outcome, rows = self._row(work, reading, found, faults, _Block(known, points))
                outcomes.append(outcome)
                new += rows
        if self._keep:
            points.store()
        return outcomes, new

    def _is_point(self, ready: _Ready) -> bool:
        return self._as_series and ready.kind is READINGS

    def _prepared(self, reading: Reading) -> tuple[Reading, list[_Ready], list[CellFault]]:
        found: list[_Ready] = []
        faults = list(reading.faults)
        for draft in reading.drafts:
            kind = KINDS[draft.kind]
            confirm = {"confirm": True} if self._confirm and "confirm" in kind.sent.model_fields else {}
            try:
                sent = kind.sent.model_validate({**draft.content, **confirm})
            except ValidationError as error:
                faults += _cell_faults(draft, faults_of(error.errors(), draft.content, place="body"), reading.cells)
                continue
            is_point = self._as_series and kind is READINGS
            record_id = NO_ID if is_point else self._id(kind, sent)
            found.append(_Ready(kind, record_id, sent, draft))
        return reading, ([] if faults else found), faults

    def _id(self, kind: RecordKind[Any], sent: Shape) -> UUID:
        content = sent.model_dump(exclude={"id", "confirm"}, exclude_none=True, exclude_unset=True)
        key = digest([kind.singular, content])
        return uuid5(self._site_id, f"import{self._again}:{key.hex()}:{self._occurrences.next(key)}")

    def _row(
        self,
        work: Work,
        reading: Reading,
        ready: Sequence[_Ready],
        faults: Sequence[CellFault],
        block: _Block,
    ) -> tuple[Outcome, list[tuple[str, RecordRow]]]:
        """One row, whole or not at all."""
        if reading.is_blank:
            return Outcome(reading.number, "blank", reading.cells), []
        made: list[_Made] = []
        remarks = list(reading.remarks)
        found = list(faults)
        for each in ready:
            try:
                made.append(self._one(work, each, block))
            except PointRefused as error:
                found += _cell_faults(each.draft, (Fault("/value", str(error)),), reading.cells)
                continue
            except ServiceError as error:
                found += _cell_faults(each.draft, error.faults or (Fault("", error.detail),), reading.cells)
                continue
            remarks += made[-1].remarks
        rows = [(each.ready.kind.singular, each.row) for each in made if each.row is not None]
        if found:
            for _, row in rows:
                work.session.expunge(row)
            outcome = Outcome(reading.number, "rejected", reading.cells, faults=tuple(found), remarks=tuple(remarks))
            return outcome, []
        for one in made:
            if one.point is not None and one.is_new:
                block.points.take(one.point)
        outcome = Outcome(
            reading.number,
            "recorded" if any(each.is_new for each in made) else "known",
            reading.cells,
            records=tuple(each.name for each in made),
            new=sum(each.is_new for each in made),
            remarks=tuple(remarks),
            flagged=sum(each.is_new and each.is_flagged for each in made),
        )
        return outcome, rows

    def _one(self, work: Work, ready: _Ready, block: _Block) -> _Made:
        """One record or point: confirmed, recorded, or in a dry run checked as it would be recorded."""
        if self._is_point(ready):
            assert isinstance(ready.sent, ReadingSent)
            point = block.points.point(ready.sent)
            return _Made(ready, None, block.points.is_new(point), point.is_flagged, point=point)
        if ready.id in block.known:
            row, _ = recorded(work, ready.kind, ready.id, ready.sent)
            return _Made(ready, None, False, getattr(row, "flagged", False), row.state == WITHDRAWN)
        if not self._keep:
            columns = ready.kind.columns(work, ready.sent)
            return _Made(ready, None, True, columns.get("flagged", False))
        row = recorded_anew(work, ready.kind, ready.id, ready.sent)
        return _Made(ready, row, True, getattr(row, "flagged", False))


@dataclass(frozen=True)
class _Block:
    """What is known while a block of rows is recorded: ids that are taken, and points that are held."""

    known: set[UUID]
    points: PointsOfBlock


@dataclass(frozen=True)
class _Made:
    """What one draft came to: its row where it is new and kept."""

    ready: _Ready
    row: RecordRow | None
    is_new: bool
    is_flagged: bool
    is_withdrawn: bool = False
    point: Point | None = None

    @property
    def name(self) -> tuple[str, UUID]:
        """What it is called: the kind and id of a record, or of the series that a point belongs to."""
        return ("series", self.point.series) if self.point else (self.ready.kind.singular, self.ready.id)

    @property
    def remarks(self) -> list[str]:
        """What its row should say of it."""
        said = []
        if self.is_flagged:
            said.append(f"flagged as implausible: {_value_column(self.ready.draft)}")
        if self.is_withdrawn:
            said.append("recorded before and withdrawn since: another number in `again` records it anew")
        return said


def _known(work: Work, ready: Sequence[_Ready]) -> set[UUID]:
    """Which of these ids are taken already: one query a kind."""
    found: set[UUID] = set()
    for kind in KINDS.values():
        ids = [each.id for each in ready if each.kind is kind]
        if ids:
            found |= set(work.session.exec(select(kind.kept.table.id).where(col(kind.kept.table.id).in_(ids))).all())
    return found


def _held_subjects(work: Work, ready: Sequence[_Ready]) -> list[Subject]:
    ids = {
        getattr(each.sent, name) for each in ready for name in ("subject_id", "system_id") if hasattr(each.sent, name)
    }
    return list(work.session.exec(select(Subject).where(col(Subject.id).in_(ids - {None}))))


def _cell_faults(draft: Draft, faults: Sequence[Fault], cells: dict[str, Cell]) -> list[CellFault]:
    """Faults of fields as faults of the cells that the fields came from."""
    found = []
    for fault in faults:
        name = next(iter(fault.pointer.strip("/").split("/")), "")
        column = draft.columns.get(name) or None
        sent = None if column is None else str(cells.get(column, ""))[:200]
        found.append(CellFault(column, fault.detail, sent))
    return found


def _value_column(draft: Draft) -> str:
    column = draft.columns.get("value") or draft.columns.get("volume") or ""
    value = draft.content.get("value", "")
    return f"{column} {value}".strip()
