"""`ooid import`"""

from __future__ import annotations

import sys
import time
from contextlib import ExitStack
from pathlib import Path
from typing import IO, Annotated, Literal
from uuid import UUID

import orjson
import typer
from pydantic import ValidationError

from service.cli.opening import OPERATOR, opened, writing
from service.cli.progress import done, say
from service.cli.refusal import Refusal
from service.http.caller import Door, now
from service.http.shapes import UUID_TEXT
from service.http.tables import line
from service.settings import Settings
from service.transfer.exports.restoring import is_site, restore_site
from service.transfer.imports import undoing
from service.transfer.imports.failed import FailedRows
from service.transfer.imports.files import open_table
from service.transfer.imports.guessing import shown
from service.transfer.imports.mapping import Mapping
from service.transfer.imports.recording import Outcome
from service.transfer.imports.running import Ran, Wanted, error_of, run

SHOWN_REASONS = 5
EVERY_SECONDS = 0.5


def import_(
    file: Annotated[Path | None, typer.Argument(help="A CSV or XLSX file, or a site's archive.")] = None,
    site: Annotated[str | None, typer.Option(help="The site's tag or id.")] = None,
    mapping: Annotated[Path | None, typer.Option(help="A mapping file (JSON); left out, columns are guessed.")] = None,
    save_mapping: Annotated[Path | None, typer.Option(help="Write the complete mapping here, to use again.")] = None,
    subject: Annotated[str | None, typer.Option(help="What all rows are about, when no column says it.")] = None,
    sheet: Annotated[str | None, typer.Option(help="The sheet of a workbook.")] = None,
    record_as: Annotated[
        Literal["readings", "series"] | None, typer.Option(help="Readings, or points of series for a probe's log.")
    ] = None,
    implausible: Annotated[
        Literal["flag", "reject"] | None, typer.Option(help="What becomes of values outside the usual band.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Say what would be done; record nothing.")] = False,
    all_or_none: Annotated[bool, typer.Option("--all-or-none", help="One rejected row keeps all out.")] = False,
    again: Annotated[int, typer.Option(min=0, help="Another number records an undone import anew.")] = 0,
    failed: Annotated[Path | None, typer.Option(help="Write the rejected rows here, with an error column.")] = None,
    results: Annotated[Path | None, typer.Option(help="Write what became of each row here, as CSV.")] = None,
    undo: Annotated[str | None, typer.Option(help="Undo the import with this id, as a whole; needs --reason.")] = None,
    reason: Annotated[str | None, typer.Option(help="Why an import is undone.")] = None,
) -> None:
    """Import a table of readings, notes and maintenance, or a whole site from its archive. Try --dry-run first."""
    if undo is not None:
        _undo(undo, reason, file)
        return
    if file is not None and site is None and is_site(file):
        _restore(file)
        return
    if file is None or site is None:
        raise Refusal("Say which FILE is imported, and with --site to which site (its tag).")
    given = _given(mapping, {"subject": subject, "sheet": sheet, "implausible": implausible, "record_as": record_as})
    wanted = Wanted(open_table(file), site, given, dry_run=dry_run, all_or_none=all_or_none, again=again)
    with opened(Settings()) as database, _Written(failed, results) as written:
        ran = run(Door(database, OPERATOR, now), wanted, sink=written.take, progress=_Progress().tell)
        written.finish(ran)
    _conclude(ran, wanted, written)
    if save_mapping is not None:
        text = orjson.dumps(
            ran.understood.mapping.model_dump(mode="json", exclude_none=True), option=orjson.OPT_INDENT_2
        )
        save_mapping.write_bytes(text + b"\n")
        print(f"mapping: {save_mapping}")
    if all_or_none and ran.counts["held_back"]:
        raise Refusal("Nothing was recorded: a row was rejected, and it is all or none.")


def _restore(path: Path) -> None:
    """Make an equal site of an archive that `ooid export` wrote."""
    with writing() as work:
        manifest = restore_site(work, path, progress=say)
    done(f"The site {manifest['site']['tag']} is here, with its history and its audit trail. Make new tokens for it.")


def _given(path: Path | None, options: dict[str, str | None]) -> Mapping | None:
    """The mapping of a file, options of the command before it."""
    content = {}
    if path is not None:
        try:
            content = orjson.loads(path.read_bytes())
        except orjson.JSONDecodeError as error:
            raise Refusal(f"{path} is not JSON: {error}.") from error
        if not isinstance(content, dict):
            raise Refusal(f"{path} is not a mapping: a JSON object is expected.")
    content |= {name: value for name, value in options.items() if value is not None}
    try:
        return Mapping.model_validate(content) if content else None
    except ValidationError as error:
        first = error.errors()[0]
        where = "/".join(map(str, first["loc"]))
        raise Refusal(f"{path or 'mapping'}: {where}: {first['msg'].removeprefix('Value error, ')}") from error


def _undo(import_id: str, reason: str | None, file: Path | None) -> None:
    if reason is None or file is not None:
        raise Refusal("Undoing takes no file, and a --reason that stays in the audit trail.")
    if not UUID_TEXT.match(import_id):
        raise Refusal("The id of an import is a UUID: `ooid import` printed it, and /v1/imports lists it.")
    with opened(Settings()) as database:
        door = Door(database, OPERATOR, now)
        undoing.undo(door, UUID(import_id), reason, progress=lambda count: say(f"{count} records withdrawn ..."))
    done("The import is undone: what it recorded is withdrawn, and stays in the audit trail.")


class _Progress:
    """Says how far an import is, twice a second."""

    def __init__(self) -> None:
        self._next = time.monotonic() + EVERY_SECONDS

    def tell(self, counts: dict[str, int]) -> None:
        """Tell the counts, when it is time."""
        if time.monotonic() >= self._next:
            self._next = time.monotonic() + EVERY_SECONDS
            say(f"{counts['rows']} rows: {counts['records']} records, {counts['rejected']} rejected ...")


class _Written:
    """The files of failed rows and of results, written as the import goes on; the reasons, counted."""

    def __init__(self, failed: Path | None, results: Path | None) -> None:
        self._stack = ExitStack()
        self._failed_path = failed
        self._results_path = results
        self._held: IO[str] | None = None
        self._results: IO[str] | None = None
        self.reasons: dict[str, int] = {}

    def __enter__(self) -> _Written:
        if self._failed_path is not None:  # the headings are known only at the end: rows wait beside the file
            waiting = self._failed_path.with_name(f"{self._failed_path.name}.part")
            self._held = self._stack.enter_context(waiting.open("w+", encoding="utf-8", newline=""))
            self._stack.callback(waiting.unlink)
        if self._results_path is not None:
            self._results = self._stack.enter_context(self._results_path.open("w", encoding="utf-8", newline=""))
            self._results.write(line(["row", "status", "records", "error", "remarks"], guard=True))
        return self

    def __exit__(self, *_error: object) -> None:
        self._stack.close()

    def take(self, outcome: Outcome) -> None:
        """Write what became of one row."""
        error = error_of(outcome)
        if self._results is not None:
            ids = " ".join(str(record_id) for _, record_id in outcome.records)
            cells = [outcome.row, outcome.status, ids, error, "; ".join(outcome.remarks)]
            self._results.write(line(cells, guard=True))
        if outcome.status == "rejected":
            for fault in outcome.faults:
                key = f"{fault.column}: {fault.detail}" if fault.column else fault.detail
                if key in self.reasons or len(self.reasons) < 1000:
                    self.reasons[key] = self.reasons.get(key, 0) + 1
            if self._held is not None:
                self._held.write(orjson.dumps([_json(outcome), error]).decode() + "\n")

    def finish(self, ran: Ran) -> None:
        """Write the file of failed rows, its headings first."""
        if self._held is None or self._failed_path is None:
            return
        rows = FailedRows(ran.understood.mapping, ran.understood.header_cells)
        self._held.seek(0)
        with self._failed_path.open("w", encoding="utf-8", newline="") as file:
            file.writelines(rows.head())
            for text in self._held:
                cells, error = orjson.loads(text)
                file.write(rows.row(rows.texts(cells), error))


def _json(outcome: Outcome) -> list[str | float | None]:
    """Cells that survive a line of JSON: numbers as numbers, all else as text."""
    return [cell if isinstance(cell, str | int | float | None) else str(cell) for cell in outcome.cells.values()]


def _conclude(ran: Ran, wanted: Wanted, written: _Written) -> None:
    """Print how the table was read, and what became of its rows."""
    for text in shown(ran.understood):
        print(text)
    for reason, count in sorted(written.reasons.items(), key=lambda item: -item[1])[:SHOWN_REASONS]:
        print(f"rejected {count}: {reason}")
    if len(written.reasons) > SHOWN_REASONS:
        print(f"and {len(written.reasons) - SHOWN_REASONS} more reasons: see --failed")
    would = "would be " if wanted.dry_run else ""
    counts = ran.counts
    done(
        f"{counts['rows']} rows: {counts['recorded']} {would}recorded ({counts['records']} records, "
        f"{counts['flagged']} flagged), {counts['known']} known, {counts['rejected']} rejected, "
        f"{counts['held_back']} held back, {counts['blank']} blank."
    )
    if ran.import_ is not None:
        print(f"import: {ran.import_['id']}", file=sys.stdout)
