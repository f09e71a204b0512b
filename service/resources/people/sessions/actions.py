"""Ending the caller's own sessions."""

from __future__ import annotations

from uuid import UUID

from service.access.caller import Work
from service.access.models import BrowserSession
from service.access.signing_in import end_session
from service.errors import NotFound


def end_own(work: Work, session_id: UUID) -> None:
    """End a session of the caller's own. Raises NotFound for anybody else's; a shared device reaches its own alone."""
    found = work.session.get(BrowserSession, session_id)
    is_own = found is not None and work.caller.kind == "person" and found.person_id == work.caller.id
    if not is_own or (work.caller.device_id is not None and session_id != work.caller.credential):
        raise NotFound("You have no session with this id.")
    end_session(work.session, session_id, at=work.at, actor=work.caller.actor)
