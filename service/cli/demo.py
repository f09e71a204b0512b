"""`ooid demo`"""

from __future__ import annotations

import asyncio
import os
import socket
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import httpx
import typer
from fastapi import FastAPI

from service.access.caller import Work
from service.access.rights import Role
from service.cli import demo_site
from service.cli.lock import sole_use
from service.cli.opening import EVERY_SITE, OPERATOR
from service.cli.progress import done, say
from service.cli.refusal import Refusal
from service.cli.serving import address_of, listening, serve
from service.main import create_app
from service.resources.people.persons import actions, queries
from service.resources.people.persons.models import PersonSent
from service.resources.places.sites.queries import id_named
from service.settings import Settings
from service.storage.database import Database
from service.storage.migrating import upgrade

HOST = "127.0.0.1"
VISITOR = "Visitor"
BROWSER = {"Accept": "text/html", "Sec-Fetch-Site": "same-origin"}


def demo(
    port: Annotated[
        int | None, typer.Option(min=0, max=65535, help="The port; OOID_PORT, else 8017, else any free one.")
    ] = None,
    reset: Annotated[bool, typer.Option("--reset", help="Build the site anew.")] = False,
    check: Annotated[
        bool, typer.Option("--check", help="Build, print the address, fetch the first page, end.")
    ] = False,
) -> None:
    """Build an invented site with a season of records and serve it. Prints one address, which signs in once."""
    environment = Settings()
    folder = environment.data_dir / "demo"
    folder.mkdir(parents=True, exist_ok=True)
    settings = Settings(data_dir=folder, database_url=None)
    with sole_use(settings.url), closing(_listening(environment.port, port)) as listener:
        database = Database(_built(folder, reset=reset))
        try:
            app = create_app(settings, database=database)
            path = _sign_in_path(database)
            print(f"{address_of(listener)}{path}", flush=True)
            if check:
                asyncio.run(_fetch_first_page(app, path))
            else:
                serve(app, listener)
        finally:
            database.close()


def _built(folder: Path, *, reset: bool) -> str:
    """The URL of the demonstration's database, complete: what is half-built is not taken for it."""
    complete, building = folder / "ooid.db", folder / "building.db"
    _remove(building)
    if reset:
        _remove(complete)
    target = complete if complete.exists() else building
    url = f"sqlite:///{target.absolute()}"
    upgrade(url)
    database = Database(url)
    try:
        demo_site.build(database, today=datetime.now(UTC).date(), progress=say)
    finally:
        database.close()
    if target is building:
        os.replace(building, complete)
    kept = target is complete
    done("The demonstration is kept from before; --reset builds it anew." if kept else "The demonstration is built.")
    return f"sqlite:///{complete.absolute()}"


def _remove(database: Path) -> None:
    for suffix in ("", "-wal", "-shm"):
        database.with_name(database.name + suffix).unlink(missing_ok=True)


def _sign_in_path(database: Database) -> str:
    """The path of a new one-time link for the visitor, who may do everything here."""
    with database.write() as session:
        work = Work(session, OPERATOR, datetime.now(UTC))
        known = queries.named(session, EVERY_SITE, VISITOR)
        visitor = known[0] if known else actions.add(work, PersonSent(name=VISITOR, role=Role.ADMINISTRATOR), id_named)
        return actions.make_link(work, visitor.id)[0]


def _listening(usual: int, asked: int | None) -> socket.socket:
    """A socket on the port asked for; else on the usual one, else on any that is free."""
    if asked is not None:
        return listening(HOST, asked)
    try:
        return listening(HOST, usual)
    except Refusal:
        listener = listening(HOST, 0)
        done(f"Port {usual} is taken, so this is on {listener.getsockname()[1]}.")
        return listener


async def _fetch_first_page(app: FastAPI, path: str) -> None:
    """Open the address as a browser does: the page, its button, and where that leads. Raises Refusal."""
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url=f"http://{HOST}", headers=BROWSER) as browser:
        for method, expected in (("GET", 200), ("POST", 303)):
            answer = await browser.request(method, path)
            if answer.status_code != expected:
                raise Refusal(f"The sign-in page answered {answer.status_code} to {method}.")
        first = await browser.get(answer.headers["location"], follow_redirects=True)
        if first.status_code != 200:
            raise Refusal(f"The first page, {first.url.path}, answered {first.status_code}.")
    done("The first page answers.")
