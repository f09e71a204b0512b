"""The probes of the invented hall: every hour of the season is uploaded once, none in conflict with another."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import pairwise
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest

from service.cli.demo_description import Described
from service.cli.demo_series import uploads_of
from service.cli.opening import OPERATOR
from service.simulation import SimulatedSystem, simulate


@pytest.fixture(scope="module")
def probed() -> SimulatedSystem:
    """A system of the demonstration that has probes."""
    return next(system for system in simulate("demo", 1).systems if system.recorded.probes)


@pytest.mark.parametrize("month", [2, 9])  # the clock goes forward in March, back in October
def test_every_hour_of_the_season_is_there_once(probed: SimulatedSystem, month: int) -> None:
    start = datetime(2026, month, 2, tzinfo=ZoneInfo("Europe/Berlin"))
    described = Described(uuid4(), {uuid4(): OPERATOR}, {(probed.code, "system"): uuid4()})
    uploads = list(uploads_of(probed, described, start))
    for probe in probed.recorded.probes:
        sent = [upload for _, _, upload in uploads if upload.quantity == probe.quantity]
        times = [datetime.fromisoformat(text) for upload in sent for text in upload.taken_at]
        assert len(times) == len(probe.value)
        assert {(later - earlier).total_seconds() for earlier, later in pairwise(times)} == {3600.0}
        assert times[0] == start.astimezone(UTC)
    assert all(at == datetime.fromisoformat(upload.taken_at[-1]) for at, _, upload in uploads)
