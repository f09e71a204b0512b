"""A yard for every test of equipment; its trail is looked through afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import UUID

import pytest
from resources.equipment.sharing import pytest_generate_tests as pytest_generate_tests
from resources.equipment.sharing import shared_house as shared_house
from resources.equipment.yard import Yard
from sqlmodel import col, select
from support.house import House

from service.resources.keeping.kept import KEPT
from service.storage import trail
from service.storage.trail import Event


@pytest.fixture
def yard(shared_house: House) -> Iterator[Yard]:
    """A yard whose trail is whole, and agrees with every row, when the test is over."""
    yard = Yard(shared_house)
    yield yard
    site_id = UUID(yard.site["id"])
    with shared_house.database.read() as session:
        assert list(trail.faults(session, site_id)) == []
        last = {
            (event.kind, event.thing_id): event
            for event in session.exec(select(Event).where(Event.chain_id == site_id).order_by(col(Event.seq)))
        }
        for name in ("equipment", "installation", "gas_line", "gas_line_member", "feed"):
            table = KEPT[name].table
            for row in session.exec(select(table).where(table.site_id == site_id)):
                event = last[name, row.id]
                assert event.version == row.version
                assert event.digest == KEPT[name].change(row, "any").digest, f"{name} {row.id} left no trail"
