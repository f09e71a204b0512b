"""Commands: results alone on standard output, one plain line for an expected fault, a non-zero exit on failure."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from cli.conftest import Run
from support.house import House

from service.storage.database import Database

COMMANDS = (
    "demo", "serve", "migrate", "openapi", "check", "token", "token create", "token list", "token revoke",
    "person", "person add", "person link", "person list", "person password", "person sign-out",
)  # fmt: skip


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_every_command_explains_itself(run: Run, command: str) -> None:
    said = run(*command.split(), "--help")
    assert said.code == 0
    assert "Usage:" in said.out
    assert "╭" not in said.out  # plain lines: boxes are noise in a log and to a screen reader


@pytest.mark.parametrize(
    "arguments",
    [
        ("token", "create", "--name", "x", "--role", "reader"),
        ("token", "list"),
        ("person", "list"),
        ("check",),
        ("serve",),
    ],
)
def test_without_a_database_the_remedy_is_named_and_none_is_made(
    run: Run, tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    said = run(*arguments)
    assert said.code == 1
    assert said.err.startswith("ooid: There is no database at ")
    assert "`ooid migrate`" in said.err
    assert said.err.count("\n") == 1
    assert not (tmp_path / "data" / "ooid.db").exists()


def test_an_older_schema_is_refused_with_the_remedy(migrated: Run, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "data" / "ooid.db") as connection:
        connection.execute("UPDATE alembic_version SET version_num = 'older'")
    connection.close()
    for arguments in (("serve",), ("token", "list")):
        said = migrated(*arguments)
        assert (said.code, said.out) == (1, "")
        assert "Run `ooid migrate`" in said.err


def test_migrating_twice_is_no_fault(run: Run) -> None:
    first = run("migrate")
    assert (first.code, first.out) == (0, "")
    assert "now" in first.err
    said = run("migrate")
    assert (said.code, said.out) == (0, "")
    assert "already" in said.err


def test_a_token_is_printed_alone_and_works(migrated: Run, tmp_path: Path) -> None:
    said = migrated("token", "create", "--name", "pull", "--role", "keeper", "--scope", "read", "--expires", "90d")
    assert said.code == 0
    (secret,) = said.out.splitlines()
    database = Database(f"sqlite:///{tmp_path / 'data' / 'ooid.db'}")
    try:
        house = House(database)
        me = house.call("GET", "/v1/sessions/current", token=secret)
        assert (me["name"], me["access"][0]["rights"]) == ("pull", ["read"])
        listed = migrated("token", "list")
        assert "pull\tkeeper\tevery site\tread" in listed.out
        assert secret not in listed.out
        assert migrated("token", "revoke", "pull").code == 0
        house.call("GET", "/v1/sessions/current", token=secret, status=401)
    finally:
        database.close()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("token", "create", "--name", "x", "--role", "king"), 2, "king"),
        (("token", "create", "--name", "x", "--role", "reader", "--scope", "record"), 1, "does not bring this right"),
        (("token", "create", "--name", "x", "--role", "reader", "--site", "nowhere"), 1, "no site with this tag"),
        (("token", "create", "--name", "x", "--role", "reader", "--expires", "tomorrow"), 1, "RFC 3339"),
        (("token", "create", "--name", "x", "--role", "reader", "--expires", "0d"), 1, "in the future"),
        (("token", "create", "--name", "x" * 121, "--role", "reader"), 1, "120 characters"),
        (("token", "create", "--name", "x"), 2, "--role"),
        (("token", "revoke", "nothing"), 1, "`ooid token list`"),
        (("person", "link", "nobody"), 1, "`ooid person list`"),
        (("serve", "--port", "70000"), 2, "65535"),
        (("serve", "--host", "0.0.0.0"), 1, "--tls-proxy"),  # noqa: S104 - it must be refused
        (("serve", "--host", "no such host"), 1, "--tls-proxy"),
        (("nonsense",), 2, "nonsense"),
    ],
)
def test_an_expected_fault_is_said_plainly(migrated: Run, arguments: tuple[str, ...], code: int, words: str) -> None:
    said = migrated(*arguments)
    assert (said.code, said.out) == (code, "")
    assert words in said.err
    assert "Traceback" not in said.err
    if code == 1:
        assert said.err.startswith("ooid: ")
        assert said.err.count("\n") == 1


def test_settings_that_cannot_be_read_are_named(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OOID_PORT", "abc")
    said = run("check")
    assert (said.code, said.err.count("\n")) == (1, 1)
    assert "port" in said.err


def test_a_person_is_added_with_a_link_that_signs_in(migrated: Run, tmp_path: Path) -> None:
    said = migrated("person", "add", "--name", "Ida", "--role", "keeper")
    (path,) = said.out.splitlines()
    assert path.startswith("/sign-in/")
    again = migrated("person", "add", "--name", "Ida", "--role", "reader")
    assert again.code == 1
    assert migrated("person", "list").out.endswith("\tIda\tkeeper on every site\n")
    (second,) = migrated("person", "link", "Ida").out.splitlines()
    assert migrated("person", "sign-out", "Ida").code == 0
    database = Database(f"sqlite:///{tmp_path / 'data' / 'ooid.db'}")
    try:
        house = House(database)
        for link in (path, second):  # signing out spent them
            house.call("POST", link, token=None, headers={"Origin": "http://ooid.test"}, status=401)
    finally:
        database.close()


def test_check_finds_an_edited_entry(migrated: Run, tmp_path: Path) -> None:
    migrated("person", "add", "--name", "Ida", "--role", "keeper")
    migrated("token", "create", "--name", "pull", "--role", "reader")
    assert migrated("check").code == 0
    with sqlite3.connect(tmp_path / "data" / "ooid.db") as connection:
        connection.execute("UPDATE audit_entries SET origin = 'elsewhere' WHERE seq = 2")
    connection.close()
    said = migrated("check")
    assert said.code == 1
    assert "entry 2 was edited" in said.out


def test_the_description_of_the_api_is_written_and_checked(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "openapi.json"
    assert run("openapi", "--check", "--file", str(file)).code == 1
    assert run("openapi", "--file", str(file)).code == 0
    document = json.loads(file.read_bytes())
    assert document["openapi"].startswith("3.1")
    assert file.read_bytes().endswith(b"}\n")
    assert run("openapi", "--check", "--file", str(file)).code == 0
    file.write_bytes(file.read_bytes().replace(b'"title": "Ooid"', b'"title": "Other"'))
    said = run("openapi", "--check", "--file", str(file))
    assert said.code == 1
    assert "`ooid openapi`" in said.err


def test_it_runs_as_a_module_too() -> None:
    said = subprocess.run(
        [sys.executable, "-m", "service.cli", "--version"], capture_output=True, text=True, check=True
    )
    assert said.stdout.strip()


def test_a_password_is_asked_for_and_never_an_argument(
    migrated: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("MEMORY_KIB", "PASSES", "LANES"):
        monkeypatch.setenv(f"OOID_PASSWORD_{name}", "8" if name == "MEMORY_KIB" else "1")
    typed = ["three corals and a pump"]
    monkeypatch.setattr("typer.prompt", lambda *_words, hide_input, **_options: typed[0] if hide_input else None)
    assert migrated("person", "add", "--name", "Ida", "--role", "keeper", "--password").code == 0
    with sqlite3.connect(tmp_path / "data" / "ooid.db") as connection:
        first = connection.execute("SELECT hash FROM passwords").fetchone()[0]
    assert first.startswith("$argon2id$")
    assert migrated("person", "password", "Ida").code == 0
    typed[0] = "too short"
    refused = migrated("person", "password", "Ida")
    assert (refused.code, "12 to 256 characters" in refused.err) == (1, True)
    assert migrated("person", "password", "Ida", "an argument").code == 2
    with sqlite3.connect(tmp_path / "data" / "ooid.db") as connection:
        second = connection.execute("SELECT hash FROM passwords").fetchone()[0]
    connection.close()
    assert first != second
