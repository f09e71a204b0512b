"""A whole service in one process, and a way to talk to it as its callers do."""

from __future__ import annotations

import asyncio
import itertools
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any
from uuid import UUID, uuid4

import httpx
from fastapi import FastAPI
from sqlalchemy import select
from support.document import Document

from service.access.models import BrowserSession, Grant, Person, Token
from service.access.secrets import hashed, new_secret, new_token
from service.http.cookies import PLAIN
from service.main import create_app
from service.settings import Settings
from service.storage.base import metadata
from service.storage.database import Database
from service.storage.types import new_id

QUICK_HASHES = {"password_memory_kib": 8, "password_passes": 1, "password_lanes": 1}  # slow ones prove nothing more
START = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


class Session(str):
    """A person's session in a browser: given where a token is, it goes as a cookie from the service's own page."""

    __slots__ = ()


@cache
def _description() -> dict[str, Any]:
    """The API's description, made once: it takes longer than most tests and is the same for every house."""
    return create_app(Settings(), database=Database("sqlite:///unused.db")).openapi()


def _document_of(app: FastAPI) -> Document:
    app.openapi_schema = _description()
    return Document(app.openapi_schema)


class House:
    """The app on a database, a clock that tests set, and one httpx conversation through the whole stack."""

    def __init__(self, database: Database, **settings: Any) -> None:
        self.now = START
        self.database = database
        self.app: FastAPI = create_app(
            Settings(**{**QUICK_HASHES, **settings}), database=database, clock=lambda: self.now
        )
        self.document = _document_of(self.app)
        self.seen: set[tuple[str, str, int]] = set()
        self._numbers = itertools.count(1)
        self.administrator = self.token("administrator")

    def token(
        self, role: str, *, site: str | None = None, scopes: list[str] | None = None, expires: datetime | None = None
    ) -> str:
        """A new token of this role, on one site or on the installation."""
        secret = new_token()
        with self.database.write() as session:
            session.add(
                Token(
                    id=new_id(),
                    name=f"{role} {next(self._numbers)}",
                    site_id=None if site is None else UUID(site),
                    role=role,
                    scopes=scopes,
                    secret_hash=hashed(secret),
                    created_at=self.now,
                    created_by=UUID(int=0),
                    expires_at=expires,
                )
            )
        return secret

    def person(self, role: str | None, *, site: str | None = None, name: str = "") -> Session:
        """The session of a new person with this role, on one site or on the installation."""
        secret = new_secret()
        with self.database.write() as session:
            person = Person(id=new_id(), name=name or f"{role or 'nobody'} {next(self._numbers)}", created_at=self.now)
            session.add(person)
            session.flush()
            site_id = None if site is None else UUID(site)
            session.add(Grant(id=new_id(), person_id=person.id, site_id=site_id, role=role))
            session.add(
                BrowserSession(
                    id=new_id(),
                    secret_hash=hashed(secret),
                    person_id=person.id,
                    created_at=self.now,
                    expires_at=self.now + timedelta(days=365),
                )
            )
        return Session(secret)

    def send(self, method: str, path: str, *, token: str | None = "", **options: Any) -> httpx.Response:
        """One request, its response judged against the OpenAPI document. Without `token` the administrator asks."""
        headers = dict(options.pop("headers", {}))
        if isinstance(token, Session):
            headers |= {"Cookie": f"{PLAIN}={token}", "Origin": "http://ooid.test"}
        elif token is not None:
            headers["Authorization"] = f"Bearer {token or self.administrator}"

        async def talk() -> httpx.Response:
            transport = httpx.ASGITransport(app=self.app, raise_app_exceptions=False)
            async with httpx.AsyncClient(transport=transport, base_url="http://ooid.test") as client:
                return await client.request(method, path, headers=headers, **options)

        response = asyncio.run(talk())
        self._judge(response)
        return response

    def call(
        self, method: str, path: str, json: Any = None, *, status: int | tuple[int, ...] = (200, 201), **options: Any
    ) -> Any:
        """The JSON of a response that must have this status."""
        wanted = (status,) if isinstance(status, int) else status
        if json is not None:
            options["json"] = json
        response = self.send(method, path, **options)
        assert response.status_code in wanted, f"{method} {path}: {response.status_code} {response.text}"
        return response.json() if response.content else None

    def everything_stored(self) -> str:
        """Every value of every table, as text in an order of its own: what a thief of the database would read."""
        with self.database.read() as session:
            rows = [tuple(row) for table in metadata.sorted_tables for row in session.execute(select(table))]
        return "\n".join(sorted(map(repr, rows)))

    def pass_time(self, **amount: float) -> None:
        """Move the clock on."""
        self.now += timedelta(**amount)

    def a_site(self, **fields: Any) -> dict[str, Any]:
        """A described site."""
        content = {"tag": f"site-{next(self._numbers)}", "name": "The Reefhouse", "time_zone": "Europe/Oslo", **fields}
        return self.call("POST", "/v1/sites", content)

    def a_system(self, site: dict[str, Any] | None = None, **fields: Any) -> dict[str, Any]:
        """A described system of 1000 L."""
        site = site or self.a_site()
        content = {
            "site_id": site["id"],
            "tag": f"loop-{next(self._numbers)}",
            "name": "A loop",
            "water_volume": {"value": 1000, "unit": "L"},
            **fields,
        }
        return self.call("POST", "/v1/systems", content)

    def a_reading(self, subject_id: str, value: float = 8.0, **fields: Any) -> dict[str, Any]:
        """A recorded alkalinity reading."""
        content = {
            "subject_id": subject_id,
            "quantity": "alkalinity",
            "value": value,
            "unit": "dKH",
            "taken_at": self.now.isoformat(),
            **fields,
        }
        return self.call("PUT", f"/v1/readings/{uuid4()}", content)

    def _judge(self, response: httpx.Response) -> None:
        content_type = response.headers.get("content-type", "")
        body = response.json() if "json" in content_type and response.content else None
        path = response.request.url.path
        self.document.judge(response.request.method, path, response.status_code, content_type, body)
        template = self.document.template_of(path)
        if template is not None:
            self.seen.add((response.request.method, template, response.status_code))
