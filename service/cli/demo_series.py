"""What the invented hall's controllers logged: each probe's week of hourly values, uploaded when the week was over."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import UUID

from service.access.caller import Work
from service.cli import demo_acts
from service.cli.demo_description import Described
from service.resources.records.series.actions import record_batch
from service.resources.records.series.models import SeriesSent
from service.simulation import SimulatedSystem

UNITS = {"ph": "[pH]", "temperature": "Cel"}
DIGITS = 2  # as such controllers log
HOURS_AN_UPLOAD = 7 * 24


def uploads_of(
    system: SimulatedSystem, described: Described, start: datetime
) -> Iterator[tuple[datetime, UUID, SeriesSent]]:
    """Every upload of a system's probes: when, on whose account, what."""
    subject_id, account = described.subjects[system.code, "system"], next(iter(described.staff))
    for probe in system.recorded.probes:
        times = [start.astimezone(UTC) + timedelta(days=float(day)) for day in probe.taken_at]
        for first in range(0, len(times), HOURS_AN_UPLOAD):
            part = slice(first, first + HOURS_AN_UPLOAD)
            sent = SeriesSent(
                subject_id=subject_id,
                quantity=probe.quantity,
                unit=UNITS.get(probe.quantity, probe.unit),
                taken_at=[at.isoformat() for at in times[part]],
                value=[round(float(value), DIGITS) for value in probe.value[part]],
            )
            yield times[part][-1], account, sent


def perform(work: Work, act: SeriesSent | demo_acts.Act) -> None:
    """Upload a series; anything else is an act."""
    if isinstance(act, SeriesSent):
        record_batch(work, act)
    else:
        demo_acts.perform(work, act)
