"""Whether the process lives, and whether it can take requests: two questions, because the remedies differ."""

from __future__ import annotations

import pytest
from sqlalchemy import text
from support.house import House

from service.storage.database import Database


@pytest.fixture
def house(database: Database) -> House:
    """A service of a test's own: its schema is made to look older."""
    return House(database)


def test_a_service_at_its_schema_is_ready_and_asks_nobody_who_they_are(house: House) -> None:
    for path in ("/healthz", "/readyz"):
        assert house.call("GET", path, token=None) == {"status": "ok"}


def test_another_schema_is_not_served_and_the_remedy_is_named(house: House) -> None:
    with house.database.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = 'older'"))
    answer = house.send("GET", "/readyz", token=None)
    assert (answer.status_code, answer.json()["type"]) == (503, "/problems/busy")
    assert "`ooid migrate`" in answer.json()["detail"]
    assert int(answer.headers["retry-after"]) > 0
    house.call("GET", "/healthz", token=None)
