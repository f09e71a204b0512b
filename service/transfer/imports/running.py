"""An import from beginning to end: read as a stream, recorded in short transactions, repeated without harm."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from dataclasses import field as made_of
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from pydantic import ValidationError
from sqlmodel import col, delete

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Conflict, Fault, TooLarge, Unacceptable
from service.http.caller import Door
from service.http.problems import faults_of
from service.resources.keeping.kept import note
from service.resources.places.sites import queries as sites
from service.storage import trail
from service.storage.types import digest
from service.transfer.imports.cells import text_of
from service.transfer.imports.failed import FailedRows
from service.transfer.imports.files import Row, Table, rows_of
from service.transfer.imports.guessing import Understood, understood
from service.transfer.imports.mapping import Mapping
from service.transfer.imports.models import IMPORT, FailedRow, Import, ImportedRecord
from service.transfer.imports.occurrences import Occurrences
from service.transfer.imports.recording import KINDS, Outcome, Recorder
from service.transfer.imports.rows import Reading, RowReader
from service.transfer.imports.subjects import Subjects

MOST_POINTS = 10_000  # likewise, of a probe's log: they are stored in columns
MOST_DRAFTS = 400  # in one transaction: a fifth of a second, so that other writers get their turn
STATUSES = ("recorded", "known", "rejected", "held_back", "blank")

Sink = Callable[[Outcome], None]
Progress = Callable[[dict[str, int]], None]


@dataclass(frozen=True)
class Wanted:
    """What is to be imported, and how."""

    table: Table
    site: str
    mapping: Mapping | None = None
    dry_run: bool = False
    all_or_none: bool = False
    again: int = 0
    most_rows: int | None = None


@dataclass
class Ran:
    """What an import did: how the table was understood, counts of this run, and the import's row (None: dry)."""

    site_id: UUID
    understood: Understood
    counts: dict[str, int]
    import_: dict[str, Any] | None = None


@dataclass
class _Run:
    """One pass over the table."""

    door: Door
    wanted: Wanted
    understood: Understood
    site_id: UUID
    subjects: Subjects
    zone: ZoneInfo
    sink: Sink
    progress: Progress
    import_id: UUID
    counts: dict[str, int] = made_of(
        default_factory=lambda: dict.fromkeys((*STATUSES, "rows", "records", "flagged"), 0)
    )

    def over_the_table(self, *, keep: bool, hold_back: bool = False) -> None:
        """Read every row; record it (`keep`) or only try. With `hold_back` good rows are told as held back."""
        reader = RowReader(self.understood, self.subjects, self.zone)
        mapping = self.understood.mapping
        most = MOST_POINTS if mapping.record_as == "series" else MOST_DRAFTS
        with Occurrences() as occurrences:
            recorder = Recorder(
                self.site_id,
                keep=keep,
                flag_implausible=mapping.implausible == "flag",
                as_series=mapping.record_as == "series",
                again=self.wanted.again,
                occurrences=occurrences,
            )
            for readings in _blocks(reader, self._rows(), most):
                with self._unit(keep) as work:
                    outcomes, new = recorder.record(work, readings)
                    if keep:
                        self._keep(work, outcomes, new)
                for outcome in outcomes:
                    self._count(_held_back(outcome) if hold_back else outcome)
                self.progress(self.counts)

    def _unit(self, keep: bool) -> AbstractContextManager[Work]:
        return self.door.write(Right.RECORD) if keep else self.door.read(Right.RECORD)

    def _rows(self) -> Iterator[tuple[int, Row]]:
        mapping = self.understood.mapping
        first = self.understood.first_row
        with rows_of(
            self.wanted.table, delimiter=mapping.delimiter or ",", sheet=mapping.sheet, encoding=mapping.encoding
        ) as rows:
            for row_number, row in rows:
                if row_number < first:
                    continue
                if self.wanted.most_rows is not None and row_number - first >= self.wanted.most_rows:
                    detail = f"One request takes {self.wanted.most_rows} rows. Cut the file, or use `ooid import`."
                    raise TooLarge(detail, (Fault("/file", detail),))
                yield row_number, row

    def _keep(self, work: Work, outcomes: list[Outcome], new: list[tuple[str, Any]]) -> None:
        """Enter what is new into the trail, and remember which rows failed."""
        work.session.flush()
        if new:
            trail.note(
                work.session,
                chain_id=self.site_id,
                at=work.at,
                actor=work.caller.actor,
                changes=[KINDS[kind].kept.change(row, "recorded") for kind, row in new],
                after={"import": str(self.import_id), "records": len(new)},
            )
            work.session.add_all(
                ImportedRecord(import_id=self.import_id, record_id=row.id, kind=kind, site_id=self.site_id)
                for kind, row in new
            )
        self._keep_failed(work, outcomes)

    def _keep_failed(self, work: Work, outcomes: list[Outcome]) -> None:
        failed = FailedRows(self.understood.mapping, self.understood.header_cells)
        rows = (outcomes[0].row, outcomes[-1].row)
        statement = delete(FailedRow).where(
            col(FailedRow.import_id) == self.import_id, col(FailedRow.row).between(*rows)
        )
        work.session.execute(statement)
        work.session.add_all(
            FailedRow(
                import_id=self.import_id,
                row=outcome.row,
                site_id=self.site_id,
                cells=failed.texts(outcome.cells.values()),
                error=error_of(outcome),
            )
            for outcome in outcomes
            if outcome.status == "rejected"
        )

    def _count(self, outcome: Outcome) -> None:
        self.counts["rows"] += 1
        self.counts[outcome.status] += 1
        self.counts["records"] += outcome.new
        self.counts["flagged"] += outcome.flagged
        self.sink(outcome)


def run(door: Door, wanted: Wanted, *, sink: Sink, progress: Progress = lambda _counts: None) -> Ran:
    """Import a table; `sink` is given what became of each row, in input order.

    Records stand under ids that follow from site and content, so that a repeat of the same file changes nothing, and a
    repeat after an interruption goes on. Rows are recorded in transactions of a few hundred; with `all_or_none` every
    row is tried first, and nothing is recorded unless all are good.

    Raises NotFound for an unknown site, NotAllowed, Unacceptable for a file or mapping that cannot be read, TooLarge.
    """
    this = _prepared(door, wanted, sink, progress)
    if wanted.dry_run:
        this.over_the_table(keep=False)
        return Ran(this.site_id, this.understood, this.counts)
    if wanted.all_or_none and _any_rejected(this):
        this.over_the_table(keep=False, hold_back=True)
        return Ran(this.site_id, this.understood, this.counts)
    with door.write(Right.RECORD) as work:
        _begin(work, this)
    this.over_the_table(keep=True)
    with door.write(Right.RECORD) as work:
        return Ran(this.site_id, this.understood, this.counts, _finish(work, this))


def error_of(outcome: Outcome) -> str:
    """The reasons of a rejected row in one line."""
    return "; ".join(map(str, outcome.faults))


def _prepared(door: Door, wanted: Wanted, sink: Sink, progress: Progress) -> _Run:
    with door.read(Right.RECORD) as work:
        site = sites.named(work.session, work.scope, wanted.site)
        work.caller.require(Right.RECORD, site.id)
        found = _understood(wanted)
        zone = found.mapping.time_zone or site.time_zone
        mapping = found.mapping.model_copy(update={"time_zone": zone})
        found = Understood(mapping, found.headers, found.header_cells, found.because)
        subjects = Subjects(work.session, site.id, mapping.subjects)
        if mapping.subject is not None:
            _refuse_unknown_subject(subjects, mapping.subject)
    plan = digest(mapping.model_dump(mode="json", exclude_none=True)).hex()
    import_id = uuid5(site.id, f"import:{wanted.table.digest}:{plan}:{wanted.again}")
    return _Run(door, wanted, found, site.id, subjects, ZoneInfo(zone), sink, progress, import_id)


def _understood(wanted: Wanted) -> Understood:
    try:
        return understood(wanted.table, wanted.mapping)
    except ValidationError as error:
        sent = {"mapping": wanted.mapping.model_dump() if wanted.mapping else {}}
        faults = tuple(
            Fault(f"/mapping{fault.pointer}", fault.detail, fault.sent, "body")
            for fault in faults_of(error.errors(), sent["mapping"], place="body")
        )
        raise Unacceptable(f"{faults[0].pointer}: {faults[0].detail}", faults) from error


def _refuse_unknown_subject(subjects: Subjects, tag: str) -> None:
    try:
        subjects.named(tag)
    except ValueError as error:
        raise Unacceptable(f"/mapping/subject: {error}", (Fault("/mapping/subject", str(error), tag),)) from error


def _any_rejected(this: _Run) -> bool:
    trial = _Run(
        this.door,
        this.wanted,
        this.understood,
        this.site_id,
        this.subjects,
        this.zone,
        lambda _outcome: None,
        this.progress,
        this.import_id,
    )
    trial.over_the_table(keep=False)
    return trial.counts["rejected"] > 0


def _held_back(outcome: Outcome) -> Outcome:
    if outcome.status != "recorded":
        return outcome
    return Outcome(outcome.row, "held_back", outcome.cells, remarks=outcome.remarks)


def _begin(work: Work, this: _Run) -> None:
    """Make the import's row before the first record, so that an interruption leaves it for all to see."""
    row = work.session.get(Import, this.import_id)
    if row is not None:
        if row.state in ("undoing", "undone"):
            detail = (
                "This import of this file was undone. To record it again, change the mapping, or send another "
                "number in again."
            )
            raise Conflict(detail, (Fault("/again", detail, this.wanted.again),))
        return
    row = Import(
        id=this.import_id,
        site_id=this.site_id,
        state="in_progress",
        file_name=this.wanted.table.name[:200],
        file_digest=this.wanted.table.digest,
        mapping=this.understood.mapping.model_dump(mode="json", exclude_none=True),
        headings=[[text_of(cell) for cell in cells] for cells in this.understood.header_cells],
        again=this.wanted.again,
        counts=dict(this.counts),
        started_at=work.at,
        started_by=work.caller.id,
    )
    work.session.add(row)
    work.session.flush()
    note(work, IMPORT, row, "recorded")


def _finish(work: Work, this: _Run) -> dict[str, Any]:
    """Close the import's row; a repeat that recorded nothing leaves it as it is."""
    row = work.session.get_one(Import, this.import_id)
    if row.state == "in_progress" or this.counts["records"]:
        before = IMPORT.body(row)
        row.version += 1
        row.state, row.finished_at = "done", work.at
        row.counts = dict(this.counts)
        work.session.flush()
        note(work, IMPORT, row, "changed", before=before)
    return IMPORT.body(row)


def _blocks(reader: RowReader, rows: Iterator[tuple[int, Row]], most: int) -> Iterator[list[Reading]]:
    """Rows as read, in blocks of so many records."""
    block: list[Reading] = []
    drafts = 0
    for row_number, row in rows:
        reading = reader.read(row_number, row)
        block.append(reading)
        drafts += max(1, len(reading.drafts))
        if drafts >= most:
            yield block
            block, drafts = [], 0
    if block:
        yield block
