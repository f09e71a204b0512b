"""A ground for every test of places: one site on a shared service, its trail looked through afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import UUID

import pytest
from resources.equipment.sharing import pytest_generate_tests as pytest_generate_tests
from resources.equipment.sharing import shared_house as shared_house
from resources.equipment.yard import Yard
from support.house import House

from service.storage import trail
from service.storage.trail import INSTALLATION


@pytest.fixture
def yard(shared_house: House) -> Iterator[Yard]:
    """A yard whose trail, and that of the installation, is whole when the test is over."""
    yard = Yard(shared_house)
    yield yard
    with shared_house.database.read() as session:
        assert list(trail.faults(session, UUID(yard.site["id"]))) == []
        assert list(trail.faults(session, INSTALLATION)) == []
