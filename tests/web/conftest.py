"""One house for all tests of pages: describing an API takes seconds, looking at a page milliseconds."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from support.house import START, House

from service.storage.database import Database


@pytest.fixture(scope="package")
def shared_house(migrated_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """The one house."""
    path = tmp_path_factory.mktemp("pages") / "ooid.db"
    shutil.copyfile(migrated_file, path)
    database = Database(f"sqlite:///{path}")
    yield House(database)
    database.close()


@pytest.fixture
def house(shared_house: House) -> House:
    """The house that the tests of this folder share, its clock set back; each test describes sites of its own in it."""
    shared_house.now = START
    return shared_house
