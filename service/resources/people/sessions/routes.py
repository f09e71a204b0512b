"""/v1/sessions"""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from service.access import devices, password_sign_in
from service.access.signing_in import end_session
from service.errors import Conflict, NotFound, TooLarge, TooMany
from service.http.caller import DoorOf
from service.http.cookies import give, take_back
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.people.sessions import actions, queries
from service.resources.people.sessions.models import OwnSessionRead, PasswordSent, PinSent, SessionRead

router = APIRouter(prefix="/sessions", tags=["sessions"])


@router.get("/current", response_model=SessionRead)
def read_current_session(door: DoorOf) -> Any:
    """Who you are, and what you may do where."""
    caller = door.caller
    return {
        "kind": caller.kind,
        "id": caller.id,
        "name": caller.name,
        "access": [
            {"site_id": site_id, "role": caller.role_on(site_id), "rights": sorted(caller.rights_on(site_id))}
            for site_id in caller.roles
        ],
        "expires_at": caller.expires_at,
    }


@router.get("", response_model=list[OwnSessionRead])
def list_sessions(door: DoorOf) -> Any:
    """Your own sessions that are open, on whatever browser or shared device. A token has none."""
    with door.read_own() as work:
        return queries.own(work)


@router.put("/current/password", status_code=204, responses=may_refuse(TooMany, TooLarge))
def change_password(sent: PasswordSent, door: DoorOf, request: Request, response: Response) -> None:
    """Set your password. Every session of yours ends, and this browser gets a new one.

    `present` is needed but within the hour after a one-time link, which is how a forgotten one is set anew.
    """
    state = request.app.state
    new, present = sent.new.get_secret_value(), None if sent.present is None else sent.present.get_secret_value()
    cookie = password_sign_in.change(
        state.database, state.hasher, state.settings, door.caller, present=present, new=new, at=state.clock()
    )
    give(response, cookie, request.scope["scheme"])


@router.put("/current/pin", status_code=204, responses=may_refuse(TooLarge))
def set_pin(sent: PinSent, door: DoorOf, request: Request) -> None:
    """Set your PIN for shared devices: 4 to 8 digits."""
    state = request.app.state
    devices.set_pin(state.database, state.hasher, door.caller, sent.pin.get_secret_value(), at=state.clock())


@router.delete("/current", status_code=204, responses=may_refuse(Conflict))
def sign_out(door: DoorOf, request: Request, response: Response) -> None:
    """Sign out on this browser."""
    caller = door.caller
    if caller.kind != "person" or caller.credential is None:
        raise Conflict("This came with a token, which has no session to end. Revoke the token instead.")
    with door.write(None) as work:
        end_session(work.session, caller.credential, at=work.at, actor=caller.actor)
    take_back(response, request.scope["scheme"])


@router.delete("/{session_id}", status_code=204, responses=may_refuse(NotFound))
def end_own_session(session_id: Annotated[Id, Path(description="The session's id.")], door: DoorOf) -> None:
    """End one of your own sessions, on whatever browser it is. On a shared device: that one alone."""
    with door.write(None) as work:
        actions.end_own(work, session_id)
