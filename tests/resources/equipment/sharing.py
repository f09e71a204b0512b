"""One service for a folder's tests, each with a site of its own: making an app takes a third of a second.

A conftest imports both names. Every test runs on SQLite, with `--everywhere` on PostgreSQL too.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.house import House

from service.storage.database import Database


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Say on which databases the shared house stands."""
    if "shared_house" in metafunc.fixturenames:
        also = [pytest.param("postgres", marks=pytest.mark.postgres)] if metafunc.config.getoption("everywhere") else []
        metafunc.parametrize("shared_house", ["sqlite", *also], indirect=True, scope="session")


@pytest.fixture(scope="session")
def shared_house(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A service on a fresh database."""
    if request.param == "postgres":
        with request.getfixturevalue("postgres").database(migrated=True) as url:
            yield from _house_on(url)
    else:
        path: Path = tmp_path_factory.mktemp("shared") / "ooid.db"
        shutil.copyfile(request.getfixturevalue("migrated_file"), path)
        yield from _house_on(f"sqlite:///{path}")


def _house_on(url: str) -> Iterator[House]:
    database = Database(url)
    yield House(database)
    database.close()
