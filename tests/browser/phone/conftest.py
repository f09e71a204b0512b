"""A hall with labels, served by a process that can be killed, and phones that keep what they store."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from uuid import UUID

import pytest
from browser.conftest import ARGUMENTS, CHROMIUM
from sqlmodel import col, select
from support.house import House
from support.lossy import Lossy
from support.served import Served
from web.visitor import signed_in

from service.access.models import BrowserSession, Person
from service.access.secrets import hashed
from service.http.cookies import PLAIN
from service.resources.records.readings.models import Reading
from service.storage.database import Database
from service.storage.trail import AuditEntry, Event

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page, Playwright

Result = TypeVar("Result")
WINDOW = {"width": 390, "height": 844}
PATIENCE = 60_000  # milliseconds; two slow cores


def aside(work: Callable[[], Result]) -> Result:
    """Run something in a thread of its own: the browser's event loop lies over this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(work).result()


@dataclass
class Hall:
    """A described site and the process that serves it."""

    house: House
    server: Served
    site: dict[str, Any]

    @property
    def url(self) -> str:
        """Where a phone finds it: a name that browsers hold to be safe without TLS."""
        return f"http://localhost:{self.server.port}"

    def describe(self, path: str, **fields: Any) -> dict[str, Any]:
        """Something described on the site."""
        return aside(lambda: self.house.call("POST", f"/v1/{path}", {"site_id": self.site["id"], **fields}))

    def call(self, *arguments: Any, **options: Any) -> Any:
        """A call of the API by the administrator."""
        return aside(lambda: self.house.call(*arguments, **options))

    def a_system(self, **fields: Any) -> dict[str, Any]:
        """A system with readings of the last days."""
        return aside(lambda: self.house.a_system(self.site, **fields))

    def readings(self, subject_id: str) -> list[Reading]:
        """What is stored about a subject, in order of time."""
        with self.house.database.read() as session:
            statement = select(Reading).where(Reading.subject_id == UUID(subject_id)).order_by(Reading.at)  # type: ignore[arg-type]
            return list(session.exec(statement))

    def authors(self, subject_id: str) -> set[str]:
        """The names of those in whose name the readings of a subject stand in the trail."""
        ids = [row.id for row in self.readings(subject_id)]
        chain = (col(Event.chain_id) == AuditEntry.chain_id) & (col(Event.seq) == AuditEntry.seq)
        named = select(Person.name).join(AuditEntry, col(AuditEntry.actor_id) == Person.id).join(Event, chain)
        with self.house.database.read() as session:
            return set(session.exec(named.where(col(Event.thing_id).in_(ids))))

    def expire_sign_in(self) -> None:
        """End every session on every phone."""
        with self.house.database.write() as session:
            for each in session.exec(select(BrowserSession)):
                each.expires_at = datetime.now(UTC) - timedelta(minutes=1)

    def renew_sign_in(self, cookie: str) -> None:
        """Let one session go on, as if its person had signed in again."""
        with self.house.database.write() as session:
            own = session.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(cookie))).one()
            own.expires_at = datetime.now(UTC) + timedelta(days=1)


@dataclass
class Phone:
    """A browser with a profile of its own, which outlives the browser."""

    playwright: Playwright
    profile: Path
    complaints: list[str] = field(default_factory=list)
    context: BrowserContext | None = None
    options: dict[str, Any] = field(default_factory=dict)
    arguments: list[str] = field(default_factory=list)

    def start(self) -> BrowserContext:
        """Start the browser on its profile."""
        self.context = self.playwright.chromium.launch_persistent_context(
            str(self.profile),
            executable_path=str(CHROMIUM),
            args=[*ARGUMENTS, *self.arguments],
            **{"viewport": WINDOW, "has_touch": True, "is_mobile": True, **self.options},
        )
        self.context.set_default_timeout(PATIENCE)
        return self.context

    def stop(self) -> None:
        """Close the browser."""
        if self.context is not None:
            self.context.close()
            self.context = None

    def sign_in(self, cookie: str, url: str) -> None:
        """Put a session's cookie into the browser."""
        assert self.context is not None
        self.context.add_cookies(
            [{"name": PLAIN, "value": cookie, "url": url, "httpOnly": True, "expires": 4_000_000_000}]
        )

    def open(self, address: str) -> Page:
        """A page of the form, ready to be typed into."""
        assert self.context is not None
        page = self.context.new_page()
        page.on("pageerror", lambda error: self.complaints.append(f"script: {error}"))
        page.goto(address)
        page.wait_for_selector("html[data-ready]")
        return page


@pytest.fixture(scope="package")
def hall(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Hall]:
    """The hall, on the real clock: a browser has no other."""
    folder = tmp_path_factory.mktemp("hall")
    path = folder / "ooid.db"
    shutil.copyfile(migrated_file, path)
    url = f"sqlite:///{path}"
    house = House(Database(url))
    house.now = datetime.now(UTC)
    site = aside(lambda: house.a_site(tag="hall", name="The hall", units={"alkalinity": "dKH"}))
    with Served(url, folder / "log") as server:
        yield Hall(house, server, site)
    house.database.close()


@pytest.fixture
def cookie(hall: Hall) -> str:
    """A keeper who is signed in."""
    hall.house.now = datetime.now(UTC)
    return signed_in(hall.house, name="Keeper")


@pytest.fixture
def phone(playwright: Playwright, tmp_path: Path) -> Iterator[Phone]:
    """A phone, started."""
    phone = Phone(playwright, tmp_path / "profile")
    phone.start()
    yield phone
    phone.stop()
    assert phone.complaints == []


@pytest.fixture
def lossy(hall: Hall) -> Iterator[Lossy]:
    """A proxy in front of the hall, gentle until told otherwise."""
    with Lossy(hall.server.port) as proxy:
        yield proxy
