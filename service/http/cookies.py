"""The cookie of a signed-in person. Over TLS its name is bound to this host (`__Host-`, RFC 6265bis)."""

from __future__ import annotations

from fastapi import Response

from service.access.signing_in import SESSION_LASTS

PLAIN, BOUND = "ooid_session", "__Host-ooid_session"
DEVICE = "ooid_device"


def cookie_name(scheme: str) -> str:
    """The cookie's name on a connection of this scheme; a cookie of the other name is not looked at."""
    return BOUND if scheme == "https" else PLAIN


def device_cookie_name(scheme: str) -> str:
    """The name of a shared device's cookie on a connection of this scheme."""
    return f"__Host-{DEVICE}" if scheme == "https" else DEVICE


def give_device(response: Response, secret: str, scheme: str, *, days: int) -> None:
    """Let a browser know itself as a shared device."""
    _set(response, secret, scheme, seconds=days * 86400, name=device_cookie_name(scheme))


def give(response: Response, secret: str, scheme: str) -> None:
    """Let the browser keep a session: out of reach of scripts, and not sent along with other sites' posts."""
    _set(response, secret, scheme, seconds=int(SESSION_LASTS.total_seconds()))


def take_back(response: Response, scheme: str) -> None:
    """Let the browser forget its session."""
    _set(response, "", scheme, seconds=0)


def _set(response: Response, value: str, scheme: str, *, seconds: int, name: str | None = None) -> None:
    response.set_cookie(
        name or cookie_name(scheme),
        value,
        max_age=seconds,
        path="/",
        secure=scheme == "https",
        httponly=True,
        samesite="lax",
    )
