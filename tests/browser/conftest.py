"""A served house and a real browser that looks at it."""

from __future__ import annotations

import shutil
import socket
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import uvicorn
from support.house import House
from support.requirements import require
from web.a_report import a_report
from web.visitor import signed_in

from service.http.cookies import PLAIN
from service.reports.weekly import routes as weekly_routes
from service.storage.database import Database
from service.web import routes as web_routes

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Playwright

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",  # containers give little shared memory, and a long page takes much
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
REMEDY = "a browser is missing: pip install -e '.[browser]' and apt-get install chromium (as /usr/bin/chromium)"
INVENTED, MEASURED = "reefhouse", "hall"


@dataclass
class Served:
    """A running service: its address, and the cookie of a person who is signed in."""

    url: str
    cookie: str
    house: House


@dataclass
class Seen:
    """A page in a browser, with everything the browser complained about."""

    page: Page
    complaints: list[str] = field(default_factory=list)


Opener = Callable[..., Seen]


@pytest.fixture(scope="package")
def served(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A service with two sites: one whose report is invented and hostile, one computed from twelve readings."""
    path = tmp_path_factory.mktemp("served") / "ooid.db"
    shutil.copyfile(migrated_file, path)
    house = House(Database(f"sqlite:///{path}"))
    house.a_site(tag=INVENTED, name="The Reefhouse")
    system = house.a_system(house.a_site(tag=MEASURED, name="The hall"), tag="lagoon", name="Lagoon")
    for day in range(12):
        house.a_reading(system["id"], 8.2 - 0.05 * day)
        house.pass_time(days=1)
    cookie = signed_in(house)
    with pytest.MonkeyPatch.context() as patch:
        for module in (web_routes, weekly_routes):
            patch.setattr(module, "weekly_report", _invented_on_one_site(module.weekly_report))
        with _listening(house) as url:
            yield Served(url, cookie, house)


def _invented_on_one_site(real: Callable[..., dict[str, Any]]) -> Callable[..., dict[str, Any]]:
    def report(session: Any, site: Any, week: Any, **options: Any) -> dict[str, Any]:
        return a_report() if site.tag == INVENTED else real(session, site, week, **options)

    return report


class _listening:  # noqa: N801 used as a statement
    """The service on a free port of this machine, while the block runs."""

    def __init__(self, house: House) -> None:
        self._server = uvicorn.Server(uvicorn.Config(house.app, log_level="warning", lifespan="on"))
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [self._listener]}, daemon=True)

    def __enter__(self) -> str:
        self._thread.start()
        return f"http://localhost:{self._listener.getsockname()[1]}"

    def __exit__(self, *_problem: object) -> None:
        self._server.should_exit = True
        self._thread.join(timeout=20)
        self._listener.close()


@pytest.fixture(scope="package")
def playwright(served: Served) -> Iterator[Playwright]:
    """What drives the browser, started after the service: its own event loop then lies over this thread."""
    require(find_spec("playwright") and find_spec("axe_playwright_python") and CHROMIUM.exists(), REMEDY)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="package")
def browser(playwright: Playwright) -> Iterator[Browser]:
    """A real browser."""
    browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
    yield browser
    browser.close()


@pytest.fixture
def opened(browser: Browser, served: Served) -> Iterator[Opener]:
    """Open a path in a window of its own; further words are the window's options."""
    contexts = []

    def open_path(path: str, *, is_signed_in: bool = True, cookie: str | None = None, **window: Any) -> Seen:
        context = browser.new_context(**window)
        contexts.append(context)
        if is_signed_in:
            context.add_cookies([{"name": PLAIN, "value": cookie or served.cookie, "url": served.url}])
        seen = Seen(context.new_page())
        seen.page.on("crash", lambda _page: seen.complaints.append("the page crashed"))
        seen.page.on("console", lambda message: seen.complaints.append(f"{message.type}: {message.text}"))
        seen.page.on("pageerror", lambda error: seen.complaints.append(f"script: {error}"))
        seen.page.on("requestfailed", lambda request: seen.complaints.append(f"failed: {request.url}"))
        seen.page.goto(served.url + path)
        return seen

    yield open_path
    for context in contexts:
        context.close()
