"""Talking to the app below httpx and without the judge: for what a well-behaved client does not send."""

from __future__ import annotations

import asyncio
import re
from typing import Any

import httpx
import orjson
from fastapi import FastAPI

HOST = "ooid.test"
OWN_PAGE = {"Origin": f"http://{HOST}"}


class Answer:
    """What the app sent back, message by message."""

    def __init__(self, sent: list[dict[str, Any]], bytes_read: int) -> None:
        self.status: int = sent[0]["status"]
        self.headers = httpx.Headers(sent[0]["headers"])
        self.body = b"".join(message.get("body", b"") for message in sent[1:])
        self.bytes_read = bytes_read

    @property
    def problem(self) -> Any:
        """The body, which must be a problem document."""
        assert self.headers["content-type"] == "application/problem+json"
        return orjson.loads(self.body)


def asgi(
    app: FastAPI,
    method: str,
    path: str,
    *,
    headers: dict[str, str] | None = None,
    chunks: list[bytes] | None = None,
    scheme: str = "http",
) -> Answer:
    """One request whose body comes in these chunks, and nothing but these headers."""
    target, _, query = path.partition("?")
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "scheme": scheme,
        "path": target,
        "raw_path": target.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(name.lower().encode(), value.encode("latin-1")) for name, value in (headers or {}).items()],
        "client": ("192.0.2.7", 40000),
        "server": (HOST, 80),
    }
    pending, sent, read = list(chunks or [b""]), [], 0

    async def receive() -> dict[str, Any]:
        nonlocal read
        chunk = pending.pop(0)
        read += len(chunk)
        return {"type": "http.request", "body": chunk, "more_body": bool(pending)}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(app(scope, receive, send))
    return Answer(sent, read)


def talk(app: FastAPI, method: str, path: str, **options: Any) -> httpx.Response:
    """One httpx request that no document judges, and whose exceptions stay inside the app as they do on a server."""

    async def conversation() -> httpx.Response:
        transport = httpx.ASGITransport(app=app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}") as client:
            return await client.request(method, path, **options)

    return asyncio.run(conversation())


def cookie_of(response: httpx.Response) -> tuple[str, str, set[str]]:
    """The name, value and attributes of the one cookie that a response sets."""
    pair, *attributes = response.headers["set-cookie"].split("; ")
    name, _, value = pair.partition("=")
    return name, value, {re.sub(r"=.*", "", part) if part.startswith("Max-Age") else part for part in attributes}
