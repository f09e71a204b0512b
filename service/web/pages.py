"""Pages for people: filled from the templates, refusals told as pages, kept only until something changes."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, FastAPI, Request, Response
from fastapi.responses import HTMLResponse
from fastapi.routing import APIRoute

from service.access.caller import Work
from service.access.rights import Right
from service.access.signing_in import caller_of_cookie
from service.errors import NotSignedIn, ServiceError
from service.http.cookies import cookie_name
from service.http.problems import answer, problem, status_of
from service.reports.page import environment
from service.reports.shelf import Shelf
from service.web.prose import inline, prose

HERE = Path(__file__).parent
DESK = Shelf(HERE / "desk")
SIGN_IN_FIRST = "Nobody is signed in on this browser."

_TEMPLATES = environment(HERE / "templates")
_TEMPLATES.globals["desk"] = DESK
_TEMPLATES.filters.update(prose=prose, inline=inline)


def page(name: str, *, status: int = 200, tag: str | None = None, **content: Any) -> Response:
    """The page of a template. With an entity tag a browser may keep it and ask whether it still holds."""
    headers = {"Cache-Control": "private, no-cache", "ETag": tag} if tag else {"Cache-Control": "no-store"}
    return HTMLResponse(text(name, **content), status_code=status, headers=headers)


def text(name: str, **content: Any) -> str:
    """The text of a template, everything put in escaped."""
    return _TEMPLATES.get_template(name).render(**content)


class Visitor:
    """Whoever looks at a page: a signed-in person, or nobody known."""

    def __init__(self, request: Request) -> None:
        self._request = request
        self._state = request.app.state

    @contextmanager
    def work(self) -> Iterator[Work]:
        """A unit of reading in the person's name. Raises NotSignedIn, or NotAllowed for who may read nothing."""
        cookie = self._request.cookies.get(cookie_name(self._request.scope["scheme"]))
        at = self._state.clock()
        origin = self._request.client.host if self._request.client else "unknown"
        if not cookie:
            raise NotSignedIn(SIGN_IN_FIRST)
        database, settings = self._state.database, self._state.settings
        caller = caller_of_cookie(database, cookie, settings=settings, at=at, origin=origin)
        caller.require_anywhere(Right.READ)
        with database.read() as session:
            yield Work(session, caller, at)


class PageRoute(APIRoute):
    """A route of pages: a refusal comes as a page that says what to do, with the status a script would get."""

    def get_route_handler(self) -> Callable[[Request], Awaitable[Response]]:  # type: ignore[override]
        """The route's handler, its refusals turned into pages."""
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                return await handle(request)
            except ServiceError as error:
                return refused(error)

        return handled


def refused(error: ServiceError) -> Response:
    """The page of a refusal."""
    shown = page("refusal.html", status=status_of(error), problem=problem(error))
    for name, value in answer(error).headers.items():
        if name in ("www-authenticate", "retry-after"):
            shown.headers[name] = value
    return shown


def install_refusals(app: FastAPI) -> None:
    """Tell a browser that follows a link, as to the report, its refusal as a page. Everybody else gets the document."""

    def as_asked(request: Request, error: Exception) -> Response:
        assert isinstance(error, ServiceError)
        is_a_look = request.method == "GET" and (request.headers.get("accept") or "").startswith("text/html")
        return refused(error) if is_a_look else answer(error)

    app.add_exception_handler(ServiceError, as_asked)


async def _visitor(request: Request) -> Visitor:
    return Visitor(request)


VisitorOf = Annotated[Visitor, Depends(_visitor)]
