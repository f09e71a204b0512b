"""One house a module: these tests ask how the edge answers, and leave nothing that another could stumble on."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.house import House

from service.storage.database import Database


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory, migrated_file: Path) -> Iterator[House]:
    """A service that the tests of a module share."""
    path = tmp_path_factory.mktemp("edge") / "ooid.db"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    yield House(database)
    database.close()
