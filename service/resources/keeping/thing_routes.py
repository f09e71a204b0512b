"""The routes that every described thing has: describe, list, read, change."""

# No postponed annotations here: the shapes of a kind are known only when its routes are made.

from collections.abc import Callable
from typing import Annotated, Any
from uuid import UUID

from fastapi import APIRouter, Path, Query, Response
from sqlmodel import Session

from service.access.caller import Scope
from service.errors import Conflict, Malformed, NotFound, ServiceError, Stale, TooLarge, Unacceptable, VersionRequired
from service.http.caller import DoorOf
from service.http.conditional import IfMatch, tag_of
from service.http.paging import PageOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE, Id
from service.http.tables import CSV_TOO, ListingOf
from service.resources.keeping.kept import a_or_an
from service.resources.keeping.things import Thing, amended, described, found, listed

RowId = Annotated[Id, Path(description="Its id.")]
SiteFilter = Annotated[
    str | None, Query(max_length=40, pattern=PRINTABLE, description="Only those of this site: its tag or id.")
]
SiteNamed = Callable[[Session, Scope, str], UUID]


def thing_routes(thing: Thing[Any], *, site_named: SiteNamed) -> APIRouter:
    """A router with the routes of a kind of thing; `site_named` resolves `?site=` within a scope."""
    router = APIRouter(prefix=thing.path, tags=[thing.plural.replace("_", "-")])
    words, many = thing.singular.replace("_", " "), thing.plural.replace("_", " ")

    def describe(sent: thing.sent, door: DoorOf, response: Response) -> Any:  # type: ignore[name-defined]
        with door.write(thing.describes) as work:
            row = described(work, thing, sent)
            response.headers["Location"] = f"/v1{thing.path}/{row.id}"
            response.headers["ETag"] = tag_of(row.version)
            return thing.show(work.session, [row], work.at)[0]

    def list_all(door: DoorOf, page: PageOf, listing: ListingOf, site: SiteFilter = None) -> Any:
        with door.read() as work:
            site_id = None if site is None else site_named(work.session, work.scope, site)
            rows = listed(
                work.session, thing, scope=work.scope, site_id=site_id, after=page.after_id(), limit=page.limit + 1
            )
            shown = thing.show(work.session, page.close(rows, lambda row: [str(row.id)]), work.at)
            return listing.of(shown, thing.read)

    def read(row_id: RowId, door: DoorOf, response: Response) -> Any:
        with door.read() as work:
            row = found(work, thing, row_id)
            response.headers["ETag"] = tag_of(row.version)
            return thing.show(work.session, [row], work.at)[0]

    def change(row_id: RowId, patch: thing.patch, door: DoorOf, response: Response, if_match: IfMatch = None) -> Any:  # type: ignore[name-defined]
        with door.write(thing.describes) as work:
            row = amended(work, thing, row_id, patch, if_match)
            response.headers["ETag"] = tag_of(row.version)
            return thing.show(work.session, [row], work.at)[0]

    def add(
        method: str, path: str, endpoint: Callable[..., Any], name: str, summary: str, *refusals: type[ServiceError]
    ) -> None:
        router.add_api_route(
            path,
            endpoint,
            methods=[method],
            name=name,
            operation_id=name,
            response_model=list[thing.read] if path == "" and method == "GET" else thing.read,  # type: ignore[name-defined]
            status_code=201 if method == "POST" else 200,
            summary=summary,
            responses=may_refuse(Unacceptable, *refusals) | (CSV_TOO if name.startswith("list_") else {}),
        )

    add("POST", "", describe, f"describe_{thing.singular}", f"Describe {a_or_an(words)}.", Conflict, NotFound, TooLarge)
    add("GET", "", list_all, f"list_{thing.plural}", f"The {many} you may see.", Malformed, NotFound)
    add("GET", "/{row_id}", read, f"read_{thing.singular}", f"Read one {words}.", NotFound)
    if thing.patch is not None:
        changing = (Malformed, NotFound, Conflict, Stale, VersionRequired, TooLarge)
        add(
            "PATCH",
            "/{row_id}",
            change,
            f"change_{thing.singular}",
            f"Change the fields sent of {a_or_an(words)}.",
            *changing,
        )
    return router
