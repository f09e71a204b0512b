"""The caller of a request: found before the body is read, and handed to routes with the doors to the database."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Request, Security
from fastapi.dependencies.models import Dependant
from fastapi.security import APIKeyCookie, HTTPBearer
from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.access.caller import Caller, Work
from service.access.rights import Right
from service.access.signing_in import caller_of_cookie, caller_of_token
from service.errors import Fault, NotAllowed, NotSignedIn, ServiceError, TooLarge, Unacceptable
from service.http.cookies import PLAIN, cookie_name
from service.storage.database import Database

MEANT_PERSON = "Ooid-Person"
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
Clock = Callable[[], datetime]

_bearer = HTTPBearer(auto_error=False, description="A token from `ooid token create`.")
_cookie = APIKeyCookie(
    name=PLAIN, auto_error=False, description="A person's session; over TLS its name begins with `__Host-`."
)


def now() -> datetime:
    """The present instant, UTC."""
    return datetime.now(UTC)


class Gate:
    """ASGI middleware: nothing under /v1 is read, parsed or looked up before its caller is known.

    Puts the caller into the request's state. Also refuses bodies larger than the limit, whatever their headers say.
    """

    def __init__(self, app: ASGIApp, database: Database, body_limit: int, clock: Clock) -> None:
        self._app = app
        self._database = database
        self._limit = body_limit
        self._clock = clock

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through with its caller, or answer with the problem."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        try:
            headers = Headers(scope=scope)
            self._refuse_announced_size(headers)
            if scope["path"].startswith("/v1/"):
                scope.setdefault("state", {})["caller"] = await to_thread.run_sync(self.caller, scope, headers)
        except ServiceError as error:
            told = scope["app"].exception_handlers[ServiceError](Request(scope), error)  # as routes are refused
            await told(scope, receive, send)
            return
        await self._app(scope, self._counted(receive), send)

    def caller(self, scope: Scope, headers: Headers) -> Caller:
        """The caller behind the request's token or cookie. Raises NotSignedIn or NotAllowed."""
        client = scope.get("client")
        origin = client[0] if client else "unknown"
        scheme, _, credential = headers.get("authorization", "").partition(" ")
        cookie = cookie_parser(headers.get("cookie", "")).get(cookie_name(scope["scheme"]))
        if scheme.lower() == "bearer" and credential:
            with self._database.read() as session:
                return caller_of_token(session, credential.strip(), at=self._clock(), origin=origin)
        if cookie:
            refuse_foreign_page(scope["method"], headers)
            settings = scope["app"].state.settings
            caller = caller_of_cookie(self._database, cookie, settings=settings, at=self._clock(), origin=origin)
            refuse_other_person(headers, caller)
            return caller
        raise NotSignedIn("Send `Authorization: Bearer <token>` (make one with `ooid token create`) or sign in.")

    def _refuse_announced_size(self, headers: Headers) -> None:
        announced = headers.get("content-length", "0")
        if not announced.isdecimal() or len(announced) > 18 or int(announced) > self._limit:
            raise self._too_large()

    def _counted(self, receive: Receive) -> Receive:
        seen = 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > self._limit:
                raise HTTPException(413, str(self._too_large()))  # the framework lets only this kind through
            return message

        return counted

    def _too_large(self) -> TooLarge:
        return TooLarge(f"One request may carry {self._limit} bytes. Send it in parts.")


def refuse_foreign_page(method: str, headers: Headers) -> None:
    """Raise NotAllowed for a change that another site's page sent: cookies and forms travel by themselves."""
    if method in SAFE_METHODS:
        return
    origin = headers.get("origin")
    is_ours = origin is not None and origin.partition("://")[2] == headers.get("host")
    if not is_ours and headers.get("sec-fetch-site") != "same-origin":
        raise NotAllowed("A change from a browser must come from one of this service's own pages.")


def refuse_other_person(headers: Headers, caller: Caller) -> None:
    """Raise NotSignedIn when the page says in whose name it sends and the cookie has become another person's.

    Between asking who is signed in and sending, somebody else may sign in on the same browser.
    """
    meant = headers.get(MEANT_PERSON)
    if meant is not None and meant.strip().lower() != str(caller.id):
        raise NotSignedIn(f"This was sent in another person's name ({MEANT_PERSON}) than the one signed in here.")


class Door:
    """The two doors of the database, opened in a caller's name."""

    def __init__(self, database: Database, caller: Caller, clock: Clock) -> None:
        self.caller = caller
        self._database = database
        self._clock = clock

    def require(self, right: Right = Right.READ) -> None:
        """Raise NotAllowed when the caller holds the right nowhere."""
        self.caller.require_anywhere(right)

    @contextmanager
    def read(self, right: Right = Right.READ) -> Iterator[Work]:
        """A unit of reading. Raises NotAllowed when the caller holds the right nowhere."""
        self.caller.require_anywhere(right)
        with self._database.read() as session:
            yield Work(session, self.caller, self._clock())

    @contextmanager
    def read_own(self) -> Iterator[Work]:
        """A unit of reading what is the caller's own, such as sessions: no right is needed."""
        with self._database.read() as session:
            yield Work(session, self.caller, self._clock())

    @contextmanager
    def write(self, right: Right | None) -> Iterator[Work]:
        """A unit of change: one transaction. Raises NotAllowed when the caller holds the right nowhere.

        None is for what anybody known may do, such as signing out.
        """
        if right is not None:
            self.caller.require_anywhere(right)
        with self._database.write() as session:
            yield Work(session, self.caller, self._clock())


async def refuse_unknown_parameters(request: Request) -> None:
    """Raise Unacceptable for a query parameter that the operation does not have: a misspelt filter filters nothing."""
    known = _parameters(request.scope["route"].dependant)
    for name in request.query_params:
        if name not in known:
            detail = f"There is no such parameter here. Known: {', '.join(sorted(known)) or 'none'}."
            raise Unacceptable(f"{name}: {detail}", (Fault(name, detail, request.query_params[name], "query"),))


def _parameters(dependant: Dependant) -> set[str]:
    """The names of the query parameters of an operation and of everything it depends on."""
    own = {field.alias for field in dependant.query_params}
    return own.union(*(_parameters(part) for part in dependant.dependencies))


async def _door(
    request: Request, _token: Annotated[object, Security(_bearer)], _session: Annotated[object, Security(_cookie)]
) -> Door:
    state = request.app.state
    return Door(state.database, request.state.caller, state.clock)


DoorOf = Annotated[Door, Depends(_door)]
