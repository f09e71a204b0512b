"""/v1/imports"""

from __future__ import annotations

import base64
import binascii
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response
from fastapi import Path as InPath
from sqlmodel import col, select

from service.errors import Conflict, Malformed, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.conditional import tag_of
from service.http.paging import PageOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Id, Reason
from service.http.tables import CSV_TOO, ListingOf
from service.resources.keeping.amounts import refused
from service.resources.places.sites.queries import id_named
from service.transfer.imports import undoing
from service.transfer.imports.failed import FailedRows
from service.transfer.imports.files import Table, open_table
from service.transfer.imports.mapping import Mapping
from service.transfer.imports.models import (
    IMPORT,
    MOST_ROWS,
    FailedRow,
    FileSent,
    Import,
    ImportOutcome,
    ImportRead,
    ImportSent,
)
from service.transfer.imports.recording import Outcome
from service.transfer.imports.running import Wanted, error_of, run

router = APIRouter(prefix="/imports", tags=["imports"])

ImportId = Annotated[Id, InPath(description="The import's id.")]


@router.post("", response_model=ImportOutcome, responses=may_refuse(NotFound, Conflict, Unacceptable, TooLarge))
def import_table(sent: ImportSent, door: DoorOf) -> Any:
    """Import a table (CSV or XLSX) of readings, notes and maintenance, or in a dry run tell what it would do."""
    results: list[Outcome] = []
    with _as_table(sent.file) as table:
        wanted = Wanted(
            table=table,
            site=sent.site,
            mapping=sent.mapping,
            dry_run=sent.dry_run,
            all_or_none=sent.all_or_none,
            again=sent.again,
            most_rows=MOST_ROWS,
        )
        ran = run(door, wanted, sink=results.append)
    failed = [outcome for outcome in results if outcome.status == "rejected"]
    rows = FailedRows(ran.understood.mapping, ran.understood.header_cells)
    return {
        "dry_run": sent.dry_run,
        "import": ran.import_,
        "understood": {
            "mapping": ran.understood.mapping.model_dump(mode="json", exclude_none=True),
            "headers": ran.understood.headers,
            "because": ran.understood.because,
        },
        "counts": ran.counts,
        "results": [_result(outcome) for outcome in results],
        "failed_rows": "".join(
            [*rows.head(), *(rows.row(rows.texts(outcome.cells.values()), error_of(outcome)) for outcome in failed)]
        )
        if failed
        else None,
    }


@router.get("", response_model=list[ImportRead], responses=may_refuse(Malformed, NotFound, Unacceptable) | CSV_TOO)
def list_imports(
    door: DoorOf,
    page: PageOf,
    listing: ListingOf,
    site: Annotated[str | None, Query(max_length=40, pattern=PRINTABLE, description="Only this site's.")] = None,
) -> Any:
    """The imports you may see."""
    with door.read() as work:
        statement = (
            select(Import).where(work.scope.holds(Import.site_id)).order_by(col(Import.id)).limit(page.limit + 1)
        )
        if site is not None:
            statement = statement.where(Import.site_id == id_named(work.session, work.scope, site))
        after = page.after_id()
        if after is not None:
            statement = statement.where(col(Import.id) > after)
        rows = work.session.exec(statement).all()
        shown = [IMPORT.body(row) for row in page.close(rows, lambda row: [str(row.id)])]
        return listing.of(shown, ImportRead)


@router.get("/{import_id}", response_model=ImportRead, responses=may_refuse(NotFound, Unacceptable))
def read_import(import_id: ImportId, door: DoorOf, response: Response) -> Any:
    """Read one import as it stands."""
    with door.read() as work:
        row = undoing.found(work, import_id)
        response.headers["ETag"] = tag_of(row.version)
        return IMPORT.body(row)


@router.get(
    "/{import_id}/failed-rows",
    response_class=Response,
    responses={
        200: {
            "description": "The rejected rows, with an error column",
            "content": {"text/csv": {"schema": {"type": "string"}}},
        },
        **may_refuse(NotFound, Unacceptable),
    },
)
def read_failed_rows(import_id: ImportId, door: DoorOf) -> Response:
    """The rejected rows of an import as CSV, as they came, with an error column: mend them and import them again."""
    with door.read() as work:
        row = undoing.found(work, import_id)
        statement = select(FailedRow).where(FailedRow.import_id == import_id).order_by(col(FailedRow.row))
        rows = FailedRows(Mapping.model_validate(row.mapping), row.headings)
        text = "".join([*rows.head(), *(rows.row(each.cells, each.error) for each in work.session.exec(statement))])
    return Response(text, media_type="text/csv; charset=utf-8")


@router.post("/{import_id}/undoing", response_model=ImportRead, responses=may_refuse(NotFound, Conflict, Unacceptable))
def undo_import(import_id: ImportId, sent: Reason, door: DoorOf, response: Response) -> Any:
    """Undo an import as a whole: everything it recorded is withdrawn, and stays in the audit trail."""
    answer = undoing.undo(door, import_id, sent.reason)
    response.headers["ETag"] = tag_of(answer["version"])
    return answer


@contextmanager
def _as_table(sent: FileSent) -> Iterator[Table]:
    """What was sent, on disk while it is read."""
    if (sent.text is None) == (sent.base64 is None):
        raise refused("/file", "Send exactly one of text (CSV) and base64 (any file).")
    if sent.text is not None:
        content = sent.text.encode("utf-8", "surrogatepass")
    else:
        assert sent.base64 is not None
        try:
            content = base64.b64decode(sent.base64, validate=True)
        except (binascii.Error, ValueError) as error:
            raise refused("/file/base64", "This is not base64 (RFC 4648).") from error
    with tempfile.TemporaryDirectory(prefix="ooid-") as folder:
        path = Path(folder) / "table"
        path.write_bytes(content)
        yield open_table(path, sent.name)


def _result(outcome: Outcome) -> dict[str, Any]:
    return {
        "row": outcome.row,
        "status": outcome.status,
        "records": [{"kind": kind, "id": record_id} for kind, record_id in outcome.records],
        "faults": [{"column": each.column, "detail": each.detail, "sent": each.sent} for each in outcome.faults],
        "remarks": outcome.remarks,
    }
