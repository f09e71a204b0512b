"""/device: on a shared phone or tablet, pick who you are and type your PIN."""

from __future__ import annotations

from functools import partial
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from service.access import devices
from service.access.signing_in import end_replaced
from service.errors import Fault, NotSignedIn, TooMany, Unacceptable
from service.http.caller import refuse_foreign_page
from service.http.cookies import cookie_name, device_cookie_name, take_back
from service.http.forms import Form, Input, Posted, described, field
from service.http.pages import page
from service.http.shapes import UUID_TEXT
from service.resources.people.sessions.pages import A_PAGE, FIRST_PAGE, OF_A_FORM, address_of, refused, welcomed

router = APIRouter(prefix="/device", tags=["sessions"])

BY_PASSWORD = ("Sign in with your password", "/sign-in")


@router.get("", response_class=HTMLResponse, responses={**OF_A_FORM, 200: A_PAGE})
def show_device(request: Request) -> Response:
    """Who may be picked on this shared device."""
    state = request.app.state
    try:
        with state.database.read() as session:
            device = devices.of_cookie(session, _secret(request), at=state.clock())
            name, people = device.name, devices.people(session, device)
    except NotSignedIn as error:
        return refused(request, error, _not_shared)
    return _form(name, people, [])


@router.post(
    "",
    status_code=303,
    response_class=RedirectResponse,
    responses={**OF_A_FORM, 303: {"description": "Signed in on this device, and the way to the first page"}},
    openapi_extra=described("person", "pin"),
)
def sign_in_by_pin(posted: Posted, request: Request) -> Response:
    """Sign in on a shared device: as keeper, on its site alone, until a few minutes pass without a request."""
    refuse_foreign_page("POST", request.headers)
    state = request.app.state
    try:
        with state.database.read() as session:
            device = devices.of_cookie(session, _secret(request), at=state.clock())
            again: Any = partial(_form, device.name, devices.people(session, device))
    except NotSignedIn as error:
        return refused(request, error, _not_shared)
    try:
        cookie = devices.pick(
            state.database,
            state.hasher,
            device_secret=_secret(request),
            person_id=_person(posted),
            pin=field(posted, "pin", longest=8),
            replaced=request.cookies.get(cookie_name(request.scope["scheme"])),
            at=state.clock(),
            address=address_of(request),
        )
    except (NotSignedIn, TooMany, Unacceptable) as error:
        return refused(request, error, again)
    return welcomed(request, cookie, FIRST_PAGE)


@router.post(
    "/leaving",
    status_code=303,
    response_class=RedirectResponse,
    responses={**OF_A_FORM, 303: {"description": "Signed out, and the way back to the names"}},
)
def leave_device(request: Request) -> Response:
    """Sign out whoever is picked on this device; the device stays shared."""
    refuse_foreign_page("POST", request.headers)
    state, scheme = request.app.state, request.scope["scheme"]
    with state.database.write() as session:
        end_replaced(session, request.cookies.get(cookie_name(scheme)), at=state.clock(), origin=address_of(request))
    response = RedirectResponse("/device", status_code=303, headers={"Cache-Control": "no-store"})
    take_back(response, scheme)
    return response


def _secret(request: Request) -> str | None:
    return request.cookies.get(device_cookie_name(request.scope["scheme"]))


def _person(posted: dict[str, str]) -> UUID:
    text = field(posted, "person", longest=36)
    if not UUID_TEXT.match(text):
        detail = "Pick one of the names."
        raise Unacceptable(detail, (Fault("/person", detail),))
    return UUID(text)


def _form(device: str, people: list[tuple[UUID, str]], words: list[str], status: int = 200) -> Response:
    who = Input("person", "Who are you?", choices=[(str(person_id), name) for person_id, name in people])
    pin = Input("pin", "PIN", kind="password", is_digits=True)
    forms = [Form("/device", "Sign in", [who, pin])] if people else []
    forms.append(Form("/device/leaving", "Sign out whoever is signed in here"))
    nobody = [] if people else ["Nobody of this site has a PIN yet. It is set on the page of one's account."]
    return page(f"Shared device {device}", [*words, *nobody], forms=forms, links=[BY_PASSWORD], status=status)


def _not_shared(words: list[str], status: int) -> Response:
    return page("Not a shared device", words, links=[BY_PASSWORD], status=status)
