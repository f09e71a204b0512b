"""The caller's own sessions."""

from __future__ import annotations

from typing import Any

from sqlmodel import col, select

from service.access.caller import Work
from service.access.models import BrowserSession, Device


def own(work: Work) -> list[dict[str, Any]]:
    """The open sessions of whoever asks, the newest first."""
    statement = (
        select(BrowserSession, Device.name)
        .join(Device, col(Device.id) == col(BrowserSession.device_id), isouter=True)
        .where(
            BrowserSession.person_id == work.caller.id,
            col(BrowserSession.ended_at).is_(None),
            col(BrowserSession.expires_at) > work.at,
        )
        .order_by(col(BrowserSession.created_at).desc(), col(BrowserSession.id).desc())
    )
    return [
        {
            "id": each.id,
            "is_current": each.id == work.caller.credential,
            "means": each.means,
            "device": device,
            "created_at": each.created_at,
            "seen_at": each.seen_at or each.created_at,
            "expires_at": each.expires_at,
        }
        for each, device in work.session.exec(statement).all()
        if work.caller.device_id is None or each.id == work.caller.credential
    ]
