"""Headers that keep a browser from being turned against the service, on every response whatever made it.

Follows the OWASP Secure Headers and REST Security cheat sheets; a route that sets one of these itself keeps its own.
"""

from __future__ import annotations

from fastapi import FastAPI
from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_SECURITY_POLICY = (
    "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # not no-referrer: posts from our own pages would then come from origin `null`
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
OVER_TLS = {"Strict-Transport-Security": "max-age=31536000"}
OF_RECORDS = {"Cache-Control": "no-store"}


class SecurityHeaders:
    """ASGI middleware around everything else, the handler of unexpected errors included."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on, and add what is missing to the head of the response."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        wanted = HEADERS | (OVER_TLS if scope["scheme"] == "https" else {})
        if scope["path"].startswith("/v1/"):
            wanted = wanted | OF_RECORDS

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in wanted.items():
                    headers.setdefault(name, value)
            await send(message)

        await self._app(scope, receive, with_headers)


def install(app: FastAPI) -> None:
    """Put the headers around the whole app: added middleware would leave out the answers to unexpected errors."""
    build = app.build_middleware_stack
    app.build_middleware_stack = lambda: SecurityHeaders(build())  # type: ignore[method-assign]
