"""What every test may ask for: a fresh database and a house on it.

A `database` is SQLite, a copy of one file that the migrations made. Tests in the folders of ON_BOTH get it a second
time on PostgreSQL (marker `postgres`); `--everywhere` does so for every test that has a database.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from support.house import House
from support.postgres import Server, make_tables

from service.storage.database import Database

TESTS = Path(__file__).parent
ON_BOTH = ("migrations", "resources/records", "storage", "jobs", "faults/test_many_at_once.py")


def pytest_addoption(parser: pytest.Parser) -> None:
    """The switches of this suite."""
    group = parser.getgroup("ooid")
    group.addoption("--everywhere", action="store_true", help="every test with a database also on PostgreSQL")
    group.addoption("--kills", type=int, default=10, help="how often the service is killed under load")
    group.addoption("--cases", type=int, default=500, help="how many generated requests are sent")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run on both databases what must hold on both."""
    for name in ("database", "empty_url"):
        if name in metafunc.fixturenames:
            kinds = [pytest.param("sqlite")]
            if metafunc.config.getoption("everywhere") or _is_on_both(metafunc.definition.path):
                kinds.append(pytest.param("postgres", marks=pytest.mark.postgres))
            metafunc.parametrize(name, kinds, indirect=True)


def _is_on_both(path: Path) -> bool:
    return any(path.is_relative_to(TESTS / part) for part in ON_BOTH)


@pytest.fixture(scope="session")
def migrated_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A SQLite file at the current schema, made once by the migrations."""
    path = tmp_path_factory.mktemp("migrated") / "ooid.db"
    make_tables(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """The run's PostgreSQL server."""
    server = Server(tmp_path_factory.mktemp("postgres") / "data")
    yield server
    server.stop()


@contextmanager
def _fresh(request: pytest.FixtureRequest, folder: Path, *, migrated: bool) -> Iterator[str]:
    """The URL of a database of the test's own, of the kind the test is run on."""
    if getattr(request, "param", "sqlite") == "postgres":
        with request.getfixturevalue("postgres").database(migrated=migrated) as url:
            yield url
        return
    path = folder / "ooid.db"
    if migrated:
        shutil.copyfile(request.getfixturevalue("migrated_file"), path)
    yield f"sqlite:///{path}"


@pytest.fixture
def empty_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """The URL of a database without any table."""
    with _fresh(request, tmp_path, migrated=False) as url:
        yield url


@pytest.fixture
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty database at the current schema."""
    with _fresh(request, tmp_path, migrated=True) as url:
        database = Database(url)
        yield database
        database.close()


@pytest.fixture
def house(database: Database) -> House:
    """A service on an empty database."""
    return House(database)
