"""/sign-in: name and password. /sign-in/{secret}: one button, because programs that preview links must not use them up.

A form is safe from other sites' pages by its origin (`refuse_foreign_page`), as every change by a browser is.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from service.access import password_sign_in
from service.access.signing_in import SPENT, end_replaced, link_is_good, use_link
from service.errors import Busy, Malformed, NotAllowed, NotSignedIn, ServiceError, TooMany, Unacceptable
from service.http.caller import refuse_foreign_page
from service.http.cookies import cookie_name, give
from service.http.forms import Form, Input, Posted, described, field
from service.http.pages import page, wants_page
from service.http.problems import answer, may_refuse

FIRST_PAGE = "/"
Secret = Annotated[str, Path(max_length=100, description="The secret of a one-time link.")]
A_PAGE: dict[str, Any] = {"description": "A page", "content": {"text/html": {}}}
REFUSALS = may_refuse(NotSignedIn, NotAllowed, Busy, Unacceptable)
REFUSALS[401]["content"]["text/html"] = {}
OF_A_FORM = may_refuse(NotSignedIn, NotAllowed, Busy, Unacceptable, TooMany, Malformed)
for refusal in OF_A_FORM.values():
    refusal["content"]["text/html"] = {}
SIGNED_IN = {"description": "Signed in: the session's cookie, and the way to the first page"}

router = APIRouter(prefix="/sign-in", tags=["sessions"])


@router.get("", response_class=HTMLResponse, responses={200: A_PAGE})
def show_sign_in_form() -> Response:
    """The page on which a person signs in by name and password."""
    return _form([])


@router.post(
    "",
    status_code=303,
    response_class=RedirectResponse,
    responses={**OF_A_FORM, 303: SIGNED_IN},
    openapi_extra=described("name", "password"),
)
def sign_in_by_password(posted: Posted, request: Request) -> Response:
    """Sign in by name and password. Wrong ones are answered alike, whether the name is known or not."""
    refuse_foreign_page("POST", request.headers)
    state = request.app.state
    try:
        cookie = password_sign_in.sign_in(
            state.database,
            state.hasher,
            state.settings,
            name=field(posted, "name", longest=120),
            password=field(posted, "password"),
            replaced=request.cookies.get(cookie_name(request.scope["scheme"])),
            at=state.clock(),
            address=address_of(request),
        )
    except (NotSignedIn, TooMany, Unacceptable) as error:
        return refused(request, error, _form)
    return welcomed(request, cookie, FIRST_PAGE)


@router.get("/{secret}", response_class=HTMLResponse, responses={**REFUSALS, 200: A_PAGE})
def show_sign_in(secret: Secret, request: Request) -> Response:
    """The page with the button that signs in. Looking does not use the link up."""
    state = request.app.state
    with state.database.read() as session:
        is_good = link_is_good(session, secret, at=state.clock())
    if not is_good:
        return _spent(request)
    return page("Sign in", ["This link signs you in on this browser, once."], button=("Sign in", request.url.path))


@router.post(
    "/{secret}",
    status_code=303,
    response_class=RedirectResponse,
    responses={**REFUSALS, 303: SIGNED_IN},
)
def sign_in(secret: Secret, request: Request) -> Response:
    """Trade a one-time link for a session on this browser."""
    refuse_foreign_page("POST", request.headers)
    state = request.app.state
    origin = address_of(request)
    replaced = request.cookies.get(cookie_name(request.scope["scheme"]))
    try:
        with state.database.write() as session:
            cookie = use_link(session, secret, at=state.clock(), origin=origin)
            end_replaced(session, replaced, at=state.clock(), origin=origin)
    except NotSignedIn:
        return _spent(request)
    return welcomed(request, cookie, FIRST_PAGE)


def address_of(request: Request) -> str:
    """The address a request came from."""
    return request.client.host if request.client else "unknown"


def welcomed(request: Request, cookie: str, path: str) -> Response:
    """The way on to a page, with the cookie of a new session."""
    response = RedirectResponse(path, status_code=303, headers={"Cache-Control": "no-store"})
    give(response, cookie, request.scope["scheme"])
    return response


def refused(request: Request, error: ServiceError, form: Callable[[list[str], int], Response]) -> Response:
    """A refusal: the form again with the words above it for a browser, the problem for a script."""
    refusal = answer(error)
    if not wants_page(request.headers.get("accept")):
        return refusal
    shown = form([error.detail], refusal.status_code)
    for name in ("WWW-Authenticate", "Retry-After"):
        if name in refusal.headers:
            shown.headers[name] = refusal.headers[name]
    return shown


def _form(words: list[str], status: int = 200) -> Response:
    name = Input("name", "Name", complete="username")
    password = Input("password", "Password", kind="password", complete="current-password")
    forgotten = "No password yet, or forgotten? Ask whoever administers your site for a one-time link."
    return page("Sign in", [*words, forgotten], forms=[Form("/sign-in", "Sign in", [name, password])], status=status)


def _spent(request: Request) -> Response:
    refusal = answer(NotSignedIn(SPENT))
    if not wants_page(request.headers.get("accept")):
        return refusal
    shown = page("This link does not sign in", [SPENT], status=401)
    shown.headers["WWW-Authenticate"] = refusal.headers["WWW-Authenticate"]
    return shown
