"""Rows of a probe's log as points of series: known by their instant, never overwritten, stored in columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from service.access.caller import Work
from service.http.shapes import Shape
from service.resources.records.readings.actions import READINGS
from service.resources.records.readings.models import ReadingSent
from service.resources.records.series.actions import SAME, record_batch
from service.resources.records.series.models import SeriesSent, series_id
from service.resources.records.series.queries import points
from service.science.quantities import quantity_named
from service.storage.types import canonical, microseconds


class PointRefused(ValueError):
    """Another value is held for the instant of a point."""


@dataclass(frozen=True)
class Point:
    """One value of a row as a point: its series, its instant, its canonical value, and what was sent."""

    series: UUID
    at_us: int
    value: float
    unit: str
    is_flagged: bool
    sent: ReadingSent


@dataclass
class _Batch:
    """Points of one series that were sent alike, as they came."""

    sent: ReadingSent
    taken_at: list[str] = field(default_factory=list)
    value: list[float] = field(default_factory=list)


class PointsOfBlock:
    """The points of one block of rows: judged one by one against what is held, stored together at its end."""

    def __init__(self, work: Work, sent: Sequence[Shape]) -> None:
        """Read once what each series holds in the time of the block."""
        self._work = work
        self._held: dict[UUID, dict[int, float]] = {}
        self._batches: dict[bytes, _Batch] = {}
        spans: dict[tuple[UUID, str, str | None], list[int]] = {}
        for each in sent:
            assert isinstance(each, ReadingSent)
            spans.setdefault((each.subject_id, each.quantity, each.method), []).append(microseconds(each.taken_at))
        for (subject_id, quantity, method), instants in spans.items():
            known = series_id(subject_id, quantity, method)
            held = points(work.session, known, min(instants), max(instants) + 1)
            self._held[known] = dict(zip(held["at"].tolist(), held["value"].tolist(), strict=True))

    def point(self, sent: ReadingSent) -> Point:
        """What was sent as a point, checked as a reading is. Raises what recording a reading raises."""
        columns = READINGS.columns(self._work, sent)
        known = series_id(sent.subject_id, columns["quantity"], columns["method"])
        at_us = microseconds(sent.taken_at)
        return Point(known, at_us, columns["value"], columns["unit"], columns["flagged"], sent)

    def is_new(self, point: Point) -> bool:
        """Whether nothing is held for its instant. Raises PointRefused when another value is."""
        held = self._held.get(point.series, {}).get(point.at_us)
        if held is None:
            return True
        if abs(held - point.value) > SAME * abs(held):
            symbol = quantity_named(point.sent.quantity).unit
            raise PointRefused(f"another value is held for this instant ({held:g} {symbol}); nothing is overwritten")
        return False

    def take(self, point: Point) -> None:
        """Hold a new point; it is stored with the others of the block."""
        sent = point.sent
        self._held.setdefault(point.series, {})[point.at_us] = point.value
        conditions = {name: _plain(value) for name, value in sent.conditions.items()}
        key = canonical([point.series, sent.unit, conditions])
        batch = self._batches.setdefault(key, _Batch(sent))
        batch.taken_at.append(sent.taken_at.isoformat())
        batch.value.append(sent.value)

    def store(self) -> None:
        """Store what was taken: one batch a series."""
        for batch in self._batches.values():
            sent = batch.sent
            record_batch(
                self._work,
                SeriesSent(
                    subject_id=sent.subject_id,
                    quantity=sent.quantity,
                    unit=sent.unit,
                    method=sent.method,
                    conditions=sent.conditions,
                    taken_at=batch.taken_at,
                    value=batch.value,
                ),
            )


def _plain(condition: Any) -> Any:
    return condition.model_dump() if hasattr(condition, "model_dump") else condition
