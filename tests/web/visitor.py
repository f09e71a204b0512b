"""A browser's way into a house: a person with a role, signed in by a cookie, and one request for a page."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
from support.house import House

from service.http.cookies import PLAIN


def signed_in(house: House, role: str | None = "keeper", *, site: str | None = None, name: str = "Visitor") -> str:
    """The cookie of a new person with this role, on one site or on the installation."""
    return str(house.person(role, site=site, name=name))


def look(house: House, path: str, cookie: str | None = None, **headers: str) -> httpx.Response:
    """One request for a page, as a browser with this cookie makes it."""
    sent: dict[str, Any] = {"Accept": "text/html", **{name.replace("_", "-"): value for name, value in headers.items()}}
    if cookie is not None:
        sent["Cookie"] = f"{PLAIN}={cookie}"

    async def talk() -> httpx.Response:
        transport = httpx.ASGITransport(app=house.app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=transport, base_url="http://ooid.test") as client:
            return await client.get(path, headers=sent)

    return asyncio.run(talk())
