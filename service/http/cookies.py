"""The cookie of a signed-in person. Over TLS its name is bound to this host (`__Host-`, RFC 6265bis)."""

from __future__ import annotations

from fastapi import Response

from service.access.signing_in import SESSION_LASTS

PLAIN, BOUND = "ooid_session", "__Host-ooid_session"


def cookie_name(scheme: str) -> str:
    """The cookie's name on a connection of this scheme; a cookie of the other name is not looked at."""
    return BOUND if scheme == "https" else PLAIN


def give(response: Response, secret: str, scheme: str) -> None:
    """Let the browser keep a session: out of reach of scripts, and not sent along with other sites' posts."""
    _set(response, secret, scheme, seconds=int(SESSION_LASTS.total_seconds()))


def take_back(response: Response, scheme: str) -> None:
    """Let the browser forget its session."""
    _set(response, "", scheme, seconds=0)


def _set(response: Response, value: str, scheme: str, *, seconds: int) -> None:
    response.set_cookie(
        cookie_name(scheme),
        value,
        max_age=seconds,
        path="/",
        secure=scheme == "https",
        httponly=True,
        samesite="lax",
    )
