"""What every test may ask for: a fresh database and a house on it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from support.house import House

from service.storage.database import Database


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty SQLite database at the current schema."""
    from sqlmodel import SQLModel

    database = Database(f"sqlite:///{tmp_path / 'ooid.db'}")
    SQLModel.metadata.create_all(database.engine)
    yield database
    database.close()


@pytest.fixture
def house(database: Database) -> House:
    """A service on an empty database."""
    return House(database)
