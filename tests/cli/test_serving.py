"""Serving: a real process on a real socket, alone on its SQLite database, and never in the clear by accident."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from cli.conftest import Run

from service.cli import demo
from service.cli.lock import lock_file, sole_use
from service.cli.refusal import Refusal
from service.cli.serving import is_loopback, require_safe
from service.settings import Settings


@contextmanager
def process(folder: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """A running `ooid` on a data folder, ended afterwards."""
    environment = {**os.environ, "OOID_DATA_DIR": str(folder)}
    command = [sys.executable, "-m", "service.cli", *arguments]
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        try:
            yield running
        finally:
            running.kill()


def said_address(running: subprocess.Popen[str]) -> str:
    """The address that a process prints on its first line."""
    assert running.stdout is not None
    return running.stdout.readline().strip().rpartition(" ")[2]


def test_it_serves_alone_and_ends_politely(migrated: Run, tmp_path: Path) -> None:
    with process(tmp_path / "data", "serve", "--port", "0") as running:
        address = said_address(running)
        assert httpx.get(f"{address}/readyz").json() == {"status": "ok"}
        assert "server" not in httpx.get(f"{address}/healthz").headers
        for command in ("migrate", "serve"):
            said = migrated(command)
            assert said.code == 1
            assert f"in use by process {running.pid}" in said.err
        assert migrated("token", "create", "--name", "x", "--role", "reader").code == 0  # a second process may write
        running.send_signal(signal.SIGINT)
        assert running.wait(timeout=20) == 0
    assert migrated("migrate").code == 0


def test_the_lock_ends_with_a_process_that_is_killed(migrated: Run, tmp_path: Path) -> None:
    with process(tmp_path / "data", "serve", "--port", "0") as running:
        said_address(running)
        running.kill()
        running.wait()
    assert migrated("migrate").code == 0


def test_a_port_in_use_is_named(migrated: Run, tmp_path: Path) -> None:
    with process(tmp_path / "data", "serve", "--port", "0") as running:
        port = said_address(running).rpartition(":")[2]
        migrated("migrate")
        other = tmp_path / "other"
        said = subprocess.run(
            [sys.executable, "-m", "service.cli", "demo", "--port", port],
            env={**os.environ, "OOID_DATA_DIR": str(other)},
            capture_output=True,
            text=True,
        )
    assert (said.returncode, said.stdout) == (1, "")
    assert f"Port {port} on 127.0.0.1 cannot be used" in said.stderr
    assert not list(other.rglob("*.db"))  # told before the season is built, which takes a while


def test_only_one_holds_a_database(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path / 'ooid.db'}"
    with sole_use(url), pytest.raises(Refusal, match=f"process {os.getpid()}"), sole_use(url):
        pass
    with sole_use(url):
        pass
    assert lock_file("postgresql+psycopg://localhost/ooid") is None


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost", "127.8.9.10"])
def test_this_machine_alone_needs_no_tls(host: str) -> None:
    assert is_loopback(host)
    require_safe(Settings(host=host), behind_proxy=False)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "reef.example", ""])  # noqa: S104 - they must be refused
def test_beyond_this_machine_tls_or_a_stated_risk_is_needed(host: str) -> None:
    assert not is_loopback(host)
    with pytest.raises(Refusal, match="--tls-proxy"):
        require_safe(Settings(host=host), behind_proxy=False)
    require_safe(Settings(host=host), behind_proxy=True)
    require_safe(Settings(host=host, insecure=True), behind_proxy=False)


def test_what_a_trusted_proxy_says_of_tls_is_believed_and_nobody_elses_word(migrated: Run, tmp_path: Path) -> None:
    for trusted, secure in (("127.0.0.1", True), ("192.0.2.7", False)):
        (path,) = migrated("person", "add", "--name", f"Ida {trusted}", "--role", "reader").out.splitlines()
        with process(tmp_path / "data", "serve", "--port", "0", "--tls-proxy", trusted) as running:
            address = said_address(running)
            headers = {"X-Forwarded-Proto": "https", "Sec-Fetch-Site": "same-origin"}
            cookie = httpx.post(address + path, headers=headers).headers["set-cookie"]
        assert ("Secure" in cookie) is secure
        assert cookie.startswith("__Host-") is secure


def test_the_demonstration_prints_one_address_that_signs_in(run: Run, tmp_path: Path, short_season: None) -> None:
    assert run("demo", "--check", "--port", "0").code == 0
    with process(tmp_path / "data", "demo", "--port", "0") as running:
        address = said_address(running)
        assert address.startswith("http://127.0.0.1:")
        with httpx.Client(headers={"Sec-Fetch-Site": "same-origin"}) as browser:
            page = browser.get(address)
            assert (page.status_code, "<button" in page.text) == (200, True)
            first = browser.post(address, follow_redirects=True)
            assert (first.status_code, first.url.path) == (200, "/")
            sites = browser.get(httpx.URL(address).join("/v1/sites"))
            assert (sites.status_code, len(sites.json()) > 0) == (200, True)
        running.send_signal(signal.SIGINT)
        rest, _ = running.communicate(timeout=20)
        assert (running.returncode, rest) == (0, "")


def test_the_demonstration_is_checked_by_its_first_page(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short_season: None
) -> None:
    folder = tmp_path / "data" / "demo"
    said = run("demo", "--check", "--port", "0")
    assert (said.code, len(said.out.splitlines())) == (0, 1)
    assert sorted(path.name for path in folder.iterdir()) == ["ooid.db", "ooid.db.lock"]
    mark(folder / "ooid.db")
    assert run("demo", "--check", "--port", "0").code == 0
    assert is_marked(folder / "ooid.db")  # kept
    assert run("demo", "--check", "--reset", "--port", "0").code == 0
    assert not is_marked(folder / "ooid.db")  # built anew
    monkeypatch.setattr("service.resources.people.sessions.pages.FIRST_PAGE", "/nowhere")
    said = run("demo", "--check", "--port", "0")
    assert said.code == 1
    assert "/nowhere, answered 404" in said.err


def mark(path: Path) -> None:
    """Set a mark in a database that building it anew would lose."""
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 7")
    connection.close()


def is_marked(path: Path) -> bool:
    """Whether the mark is there."""
    connection = sqlite3.connect(path)
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    connection.close()
    return bool(version == 7)


def test_a_half_built_demonstration_is_not_taken_for_one(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, short_season: None
) -> None:
    def interrupted(*_arguments: object, **_options: object) -> None:
        raise Refusal("interrupted")

    with monkeypatch.context() as during:
        during.setattr(demo.demo_site, "build", interrupted)
        assert run("demo", "--check", "--port", "0").code == 1
    assert not (tmp_path / "data" / "demo" / "ooid.db").exists()
    assert run("demo", "--check", "--port", "0").code == 0
