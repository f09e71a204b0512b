"""/account: a person's own password, PIN and sessions, as plain forms; and making this browser a shared device."""

# No postponed annotations here: the routes are made inside a function that brings what they need.

from collections.abc import Callable
from functools import partial
from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import TypeAdapter, ValidationError

from service.access import devices, password_sign_in
from service.access.caller import Caller, Work
from service.access.rights import Right
from service.access.signing_in import caller_of_cookie
from service.errors import Fault, NotFound, NotSignedIn, ServiceError, Unacceptable
from service.http.caller import refuse_foreign_page
from service.http.cookies import cookie_name, give_device, take_back
from service.http.forms import Form, Input, Posted, described, field
from service.http.pages import page
from service.http.problems import may_refuse
from service.http.shapes import Id, Tag
from service.resources.people.sessions import actions, queries
from service.resources.people.sessions.pages import A_PAGE, OF_A_FORM, address_of, refused, welcomed
from service.resources.people.sites import SiteNamed

HERE = "/account"
REFUSALS = {**OF_A_FORM, **may_refuse(NotFound)}
REFUSALS[404]["content"]["text/html"] = {}
DONE: dict[int | str, dict[str, Any]] = {**REFUSALS, 303: {"description": "Done, and the way on"}}
Act = Callable[[Caller], Response]


def account_routes(site_named: SiteNamed) -> APIRouter:
    """The pages of a person's account; `site_named` resolves a site within a scope."""
    router = APIRouter(prefix=HERE, tags=["sessions"])

    @router.get("", response_class=HTMLResponse, responses={**REFUSALS, 200: A_PAGE})
    def show_account(request: Request) -> Response:
        """Your account: password, PIN, open sessions."""
        try:
            caller = _caller(request)
        except NotSignedIn as error:
            return refused(request, error, _stranger)
        return _account(request, caller, [])

    @router.post(
        "/password",
        status_code=303,
        response_class=RedirectResponse,
        responses=DONE,
        openapi_extra=described("present", "new"),
    )
    def change_own_password(posted: Posted, request: Request) -> Response:
        """Set your password; every other session of yours ends."""
        state = request.app.state

        def act(caller: Caller) -> Response:
            present, new = posted.get("present") or None, field(posted, "new")
            cookie = password_sign_in.change(
                state.database, state.hasher, state.settings, caller, present=present, new=new, at=state.clock()
            )
            return welcomed(request, cookie, HERE)

        return _acted(request, act)

    @router.post(
        "/pin", status_code=303, response_class=RedirectResponse, responses=DONE, openapi_extra=described("pin")
    )
    def set_own_pin(posted: Posted, request: Request) -> Response:
        """Set your PIN for shared devices."""
        state = request.app.state

        def act(caller: Caller) -> Response:
            devices.set_pin(state.database, state.hasher, caller, field(posted, "pin"), at=state.clock())
            return _on(HERE)

        return _acted(request, act)

    @router.post("/sessions/{session_id}/ending", status_code=303, response_class=RedirectResponse, responses=DONE)
    def end_listed_session(
        session_id: Annotated[Id, Path(description="The session's id.")], request: Request
    ) -> Response:
        """End one of your sessions."""
        state = request.app.state

        def act(caller: Caller) -> Response:
            with state.database.write() as session:
                actions.end_own(Work(session, caller, state.clock()), session_id)
            return _on(HERE)

        return _acted(request, act)

    @router.post(
        "/device",
        status_code=303,
        response_class=RedirectResponse,
        responses=DONE,
        openapi_extra=described("site", "name"),
    )
    def open_this_device(posted: Posted, request: Request) -> Response:
        """Make this browser a shared device of a site; you are signed out on it."""
        state, scheme = request.app.state, request.scope["scheme"]

        def act(caller: Caller) -> Response:
            caller.require_anywhere(Right.DESCRIBE)
            name, site = _tag(posted), field(posted, "site", longest=40)
            with state.database.write() as session:
                work = Work(session, caller, state.clock())
                _device, secret = devices.opened(work, site_named(session, work.scope, site), name, state.settings)
            response = _on("/device")
            give_device(response, secret, scheme, days=state.settings.device_days)
            take_back(response, scheme)
            return response

        return _acted(request, act)

    return router


def _caller(request: Request) -> Caller:
    """The person signed in on this browser. Raises NotSignedIn, or NotAllowed on a shared device."""
    state = request.app.state
    cookie = request.cookies.get(cookie_name(request.scope["scheme"]))
    if not cookie:
        raise NotSignedIn("Nobody is signed in on this browser.")
    origin = address_of(request)
    return caller_of_cookie(state.database, cookie, settings=state.settings, at=state.clock(), origin=origin)


def _acted(request: Request, act: Act) -> Response:
    """What an act of the person signed in here comes to; a refusal is the account again with the words above it."""
    refuse_foreign_page("POST", request.headers)
    try:
        caller = _caller(request)
    except NotSignedIn as error:
        return refused(request, error, _stranger)
    try:
        return act(caller)
    except ServiceError as error:
        return refused(request, error, partial(_account, request, caller))


def _on(path: str) -> Response:
    return RedirectResponse(path, status_code=303, headers={"Cache-Control": "no-store"})


def _tag(posted: dict[str, str]) -> str:
    try:
        tag: str = TypeAdapter(Tag).validate_python(field(posted, "name", longest=40))
    except ValidationError as error:
        detail = "A short name without spaces is expected, such as hall-tablet."
        raise Unacceptable(detail, (Fault("/name", detail),)) from error
    return tag


def _account(request: Request, caller: Caller, words: list[str], status: int = 200) -> Response:
    state = request.app.state
    with state.database.read() as session:
        own = queries.own(Work(session, caller, state.clock()))
    forms = [*_secrets(caller), *_endings(own), *_opening(caller)]
    return page("Your account", [*words, f"Signed in as {caller.name}."], forms=forms, links=[FIRST], status=status)


FIRST = ("To the first page", "/")


def _secrets(caller: Caller) -> list[Form]:
    if caller.device_id is not None:
        return []
    present = Input("present", "Present password (none after a one-time link)", "password", "current-password")
    new = Input("new", "New password, 12 characters or more", "password", "new-password")
    pin = Input("pin", "New PIN, 4 to 8 digits", "password", is_digits=True)
    return [
        Form(f"{HERE}/password", "Change password", [present, new], "Password", caller.name),
        Form(f"{HERE}/pin", "Set PIN", [pin], "PIN for shared devices", caller.name),
    ]


def _endings(own: list[dict[str, Any]]) -> list[Form]:
    forms = []
    for each in own:
        where = "This browser" if each["is_current"] else f"By {each['means']}"
        on = f" on {each['device']}" if each["device"] else ""
        heading = f"{where}{on}, since {each['created_at']:%Y-%m-%d %H:%M} UTC, used {each['seen_at']:%Y-%m-%d %H:%M}"
        forms.append(Form(f"{HERE}/sessions/{each['id']}/ending", "End this session", heading=heading))
    return forms


def _opening(caller: Caller) -> list[Form]:
    if not caller.has_anywhere(Right.DESCRIBE):
        return []
    site, name = Input("site", "The site's tag"), Input("name", "A name for this device, such as hall-tablet")
    return [Form(f"{HERE}/device", "Share this device", [site, name], heading="Make this a shared device")]


def _stranger(words: list[str], status: int) -> Response:
    return page("Sign in first", words, links=[("Sign in", "/sign-in")], status=status)
