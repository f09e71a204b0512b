"""/v1/sessions"""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from service.access.signing_in import end_session
from service.errors import Conflict
from service.http.caller import DoorOf
from service.http.cookies import take_back
from service.http.problems import may_refuse
from service.resources.people.sessions.models import SessionRead

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


@router.delete("/current", status_code=204, responses=may_refuse(Conflict))
def sign_out(door: DoorOf, request: Request, response: Response) -> None:
    """Sign out on this browser."""
    caller = door.caller
    if caller.kind != "person" or caller.credential is None:
        raise Conflict("This came with a token, which has no session to end. Revoke the token instead.")
    with door.write(None) as work:
        end_session(work.session, caller.credential, at=work.at, actor=caller.actor)
    take_back(response, request.scope["scheme"])
