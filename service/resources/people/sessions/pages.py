"""/sign-in/{secret}: a page with one button, because programs that preview links must not use them up."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from service.access.signing_in import SPENT, link_is_good, use_link
from service.errors import Busy, NotAllowed, NotSignedIn, Unacceptable
from service.http.caller import refuse_foreign_page
from service.http.cookies import give
from service.http.pages import page, wants_page
from service.http.problems import answer, may_refuse

FIRST_PAGE = "/"
Secret = Annotated[str, Path(max_length=100, description="The secret of a one-time link.")]
A_PAGE: dict[str, Any] = {"description": "A page", "content": {"text/html": {}}}
REFUSALS = may_refuse(NotSignedIn, NotAllowed, Busy, Unacceptable)
REFUSALS[401]["content"]["text/html"] = {}

router = APIRouter(prefix="/sign-in", tags=["sessions"])


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
    responses={**REFUSALS, 303: {"description": "Signed in: the session's cookie, and the way to the first page"}},
)
def sign_in(secret: Secret, request: Request) -> Response:
    """Trade a one-time link for a session on this browser."""
    refuse_foreign_page("POST", request.headers)
    state = request.app.state
    origin = request.client.host if request.client else "unknown"
    try:
        with state.database.write() as session:
            cookie = use_link(session, secret, at=state.clock(), origin=origin)
    except NotSignedIn:
        return _spent(request)
    response = RedirectResponse(FIRST_PAGE, status_code=303, headers={"Cache-Control": "no-store"})
    give(response, cookie, request.scope["scheme"])
    return response


def _spent(request: Request) -> Response:
    refusal = answer(NotSignedIn(SPENT))
    if not wants_page(request.headers.get("accept")):
        return refusal
    shown = page("This link does not sign in", [SPENT], status=401)
    shown.headers["WWW-Authenticate"] = refusal.headers["WWW-Authenticate"]
    return shown
