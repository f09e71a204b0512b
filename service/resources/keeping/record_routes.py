"""The routes that every kind of record has: record, confirm, list, read, correct, withdraw, look back."""

# No postponed annotations here: the shapes of a kind are known only when its routes are made.

from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Header, Path, Query, Response
from sqlmodel import Session, col

from service.access.caller import Scope
from service.access.rights import Right
from service.errors import (
    Conflict,
    KeyReused,
    Malformed,
    NeedsConfirmation,
    NotFound,
    ServiceError,
    Stale,
    TooLarge,
    Unacceptable,
    VersionRequired,
)
from service.http.caller import DoorOf
from service.http.conditional import IfMatch, tag_of
from service.http.paging import PageOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Id, Reason, Time
from service.http.tables import CSV_TOO, ListingOf
from service.resources.keeping import records
from service.resources.keeping.kept import a_or_an
from service.resources.keeping.records import RECORDED, RecordKind
from service.storage.types import microseconds

RecordId = Annotated[Id, Path(description="The record's id, made by whoever recorded it.")]
Key = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key", min_length=1, max_length=200, description="Makes a POST without an id safe to repeat."
    ),
]
SiteNamed = Callable[[Session, Scope, str], UUID]

RECORDING = (Conflict, NotFound, NeedsConfirmation, KeyReused, TooLarge)
CHANGING = (Malformed, NotFound, Conflict, Stale, VersionRequired, NeedsConfirmation, TooLarge)


def record_routes(kind: RecordKind[Any], *, site_named: SiteNamed, is_json: bool = True) -> APIRouter:
    """A router with the routes of a kind of record; `site_named` resolves `?site=` within a scope.

    What is not sent as JSON has routes of its own to be recorded by.
    """
    router = APIRouter(prefix=kind.path, tags=[kind.plural.replace("_", "-")])
    words = kind.singular.replace("_", " ")
    show = kind.kept.body

    def record(sent: kind.sent, door: DoorOf, response: Response, key: Key = None) -> Any:  # type: ignore[name-defined]
        with door.write(Right.RECORD) as work:
            record_id = records.id_from_key(work, sent, key)
            row, is_new = records.record_one(work, kind, record_id, sent, key_used=sent.id is None)
            return _answer(response, kind, row, is_new=is_new)

    def put(record_id: RecordId, sent: kind.sent, door: DoorOf, response: Response) -> Any:  # type: ignore[name-defined]
        _refuse_other_id(record_id, sent.id)
        with door.write(Right.RECORD) as work:
            row, is_new = records.record_one(work, kind, record_id, sent)
            return _answer(response, kind, row, is_new=is_new)

    def list_all(
        door: DoorOf,
        page: PageOf,
        listing: ListingOf,
        site: Annotated[
            str | None, Query(max_length=40, pattern=PRINTABLE, description="Only this site's: its tag or id.")
        ] = None,
        subject: Annotated[Id | None, Query(description="Only those about this subject.")] = None,
        topic: Annotated[
            str | None,
            Query(alias=kind.topic, max_length=40, pattern=PRINTABLE, description=f"Only this {kind.topic}."),
        ] = None,
        from_: Annotated[Time | None, Query(alias="from", description="At this instant or later.")] = None,
        to: Annotated[Time | None, Query(description="Before this instant.")] = None,
        withdrawn: Annotated[bool, Query(description="Include what was withdrawn.")] = False,
    ) -> Any:
        with door.read() as work:
            conditions = [
                *_window(kind, work.scope, subject, topic, from_, to),
                *([] if site is None else [kind.kept.table.site_id == site_named(work.session, work.scope, site)]),
                *([] if withdrawn else [kind.kept.table.state == RECORDED]),
            ]
            rows = records.listed(
                work.session, kind, conditions=conditions, after=page.after_instant_and_id(), limit=page.limit + 1
            )
            shown = [show(row) for row in page.close(rows, lambda row: [microseconds(row.at), str(row.id)])]
            return listing.of(shown, kind.read)

    def read(record_id: RecordId, door: DoorOf, response: Response) -> Any:
        with door.read() as work:
            return _answer(response, kind, records.found(work, kind, record_id))

    def correct(
        record_id: RecordId,
        sent: kind.correction,  # type: ignore[name-defined]
        door: DoorOf,
        response: Response,
        if_match: IfMatch = None,
    ) -> Any:
        with door.write(Right.CORRECT) as work:
            return _answer(response, kind, records.corrected(work, kind, record_id, sent, if_match))

    def withdraw(record_id: RecordId, sent: Reason, door: DoorOf, response: Response, if_match: IfMatch = None) -> Any:
        with door.write(Right.CORRECT) as work:
            return _answer(response, kind, records.withdrawn(work, kind, record_id, sent.reason, if_match))

    def look_back(record_id: RecordId, door: DoorOf) -> Any:
        with door.read() as work:
            return records.versions(work, kind, record_id)

    def add(
        method: str, path: str, endpoint: Callable[..., Any], name: str, summary: str, *refusals: type[ServiceError]
    ) -> None:
        many = path.endswith("versions") or name.startswith("list_")
        responses = may_refuse(Unacceptable, *refusals)
        if name.startswith("list_") and path == "":
            responses |= CSV_TOO
        if name.startswith(("record_", "put_")):
            responses[201 if name.startswith("put_") else 200] = {
                "model": kind.read,
                "description": "Recorded now" if name.startswith("put_") else "Known already: confirmed",
            }
        router.add_api_route(
            path,
            endpoint,
            methods=[method],
            name=name,
            operation_id=name,
            response_model=list[kind.read] if many else kind.read,  # type: ignore[name-defined]
            status_code=201 if name.startswith("record_") else 200,
            summary=summary,
            responses=responses,
        )

    one, many = kind.singular, kind.plural
    if is_json:
        add("POST", "", record, f"record_{one}", f"Record {a_or_an(words)}.", *RECORDING)
    add("GET", "", list_all, f"list_{many}", f"The {many.replace('_', ' ')}, the newest first.", Malformed, NotFound)
    if is_json:
        add(
            "PUT",
            "/{record_id}",
            put,
            f"put_{one}",
            f"Record {a_or_an(words)} under your own id, or confirm it.",
            *RECORDING,
        )
    add("GET", "/{record_id}", read, f"read_{one}", f"Read one {words} as it stands.", NotFound)
    if kind.is_corrected:
        add(
            "POST",
            "/{record_id}/corrections",
            correct,
            f"correct_{one}",
            f"Correct {a_or_an(words)}: a new version.",
            *CHANGING,
        )
    add(
        "POST",
        "/{record_id}/withdrawal",
        withdraw,
        f"withdraw_{one}",
        f"Withdraw {a_or_an(words)}: kept, not counted.",
        *CHANGING,
    )
    add(
        "GET",
        "/{record_id}/versions",
        look_back,
        f"list_{one}_versions",
        f"Every version of {a_or_an(words)}.",
        NotFound,
    )
    return router


def _answer(response: Response, kind: RecordKind[Any], row: Any, *, is_new: bool | None = None) -> dict[str, Any]:
    response.headers["ETag"] = tag_of(row.version)
    if is_new is not None:
        response.status_code = 201 if is_new else 200
        response.headers["Location"] = f"/v1{kind.path}/{row.id}"
    return kind.kept.body(row)


def _refuse_other_id(path_id: UUID, sent_id: UUID | None) -> None:
    if sent_id is not None and sent_id != path_id:
        raise Unacceptable("The id in the body is not the one in the path. Send one of them, or both alike.")


def _window(
    kind: RecordKind[Any],
    scope: Scope,
    subject: UUID | None,
    topic: str | None,
    start: datetime | None,
    end: datetime | None,
) -> list[Any]:
    table: Any = kind.kept.table
    conditions: list[Any] = [scope.holds(table.site_id)]
    if subject is not None:
        conditions.append(table.subject_id == subject)
    if topic is not None:
        conditions.append(getattr(table, kind.topic) == topic)
    if start is not None:
        conditions.append(col(table.at) >= start)
    if end is not None:
        conditions.append(col(table.at) < end)
    return conditions
