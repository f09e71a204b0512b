"""A browser's way into a house: a person with a role, signed in by a cookie, and one request for a page."""

from __future__ import annotations

import asyncio
from datetime import timedelta
from typing import Any
from uuid import UUID

import httpx
from support.house import House

from service.access.models import BrowserSession, Grant, Person
from service.access.secrets import hashed, new_secret
from service.http.cookies import PLAIN
from service.storage.types import new_id


def signed_in(house: House, role: str | None = "keeper", *, site: str | None = None, name: str = "Visitor") -> str:
    """The cookie of a new person with this role, on one site or on the installation."""
    secret = new_secret()
    with house.database.write() as session:
        person = Person(id=new_id(), name=name, created_at=house.now)
        session.add(person)
        session.flush()
        session.add(Grant(id=new_id(), person_id=person.id, site_id=None if site is None else UUID(site), role=role))
        session.add(
            BrowserSession(
                id=new_id(),
                secret_hash=hashed(secret),
                person_id=person.id,
                created_at=house.now,
                expires_at=house.now + timedelta(days=14),
            )
        )
    return secret


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
