"""The part of a series that is asked for: which series, from when to when, as points or means, in which unit."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np

from service.access.caller import Work
from service.errors import NotFound, Unacceptable
from service.http.paging import Page
from service.resources.keeping.amounts import refused
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import subject_of
from service.resources.records.readings.actions import method_of, quantity_of
from service.resources.records.recalibrations.queries import in_force
from service.resources.records.series.blocks import POINT, SUM, Points, Sums
from service.resources.records.series.columns import Columns, columns_of
from service.resources.records.series.models import Series
from service.resources.records.series.queries import of_subjects, points
from service.resources.records.series.recalibrated import right_points
from service.resources.records.series.spans import Spans, means, spans_named
from service.storage.subjects import Subject
from service.storage.types import microseconds

AsWhat = Literal["corrected", "recorded"]


@dataclass(frozen=True)
class Question:
    """Which part of which series is asked for."""

    subject_id: UUID
    quantity: str
    method: str | None
    from_: datetime | None
    to: datetime | None
    resolution: str
    unit: str | None
    as_: AsWhat


def part_of(work: Work, asked: Question, page: Page) -> Columns:
    """The page of columns that is asked for; adds the Link to the next one."""
    with _in_the_query():
        subject = subject_of(work.session, work.scope, asked.subject_id)
        quantity = quantity_of(asked.quantity, subject.kind)
        series = _one_of(work, subject, asked)
    spans = _spans(work, subject, asked.resolution)
    found: Points | Sums = np.empty(0, dtype=POINT if spans is None else SUM)
    if series is not None:
        start_us, end_us = _window(series, spans, asked, page)
        lines = in_force(work.session, [series.id]).get(series.id, ()) if asked.as_ == "corrected" else ()
        found = (
            right_points(points(work.session, series.id, start_us, end_us, at_most=page.limit + 1), lines)
            if spans is None
            else means(work.session, series.id, spans, start_us, end_us, lines)
        )
    if len(found) > page.limit:
        found = found[: page.limit]
        page.go_on_after([int(found["at"][-1]), str(subject.id)])
    return columns_of(
        found,
        quantity,
        subject_id=subject.id,
        method=None if series is None else series.method,
        resolution=asked.resolution,
        unit=asked.unit or quantity.unit,
    )


@contextmanager
def _in_the_query() -> Iterator[None]:
    """Refusals from within name parameters of the query, not fields of a body."""
    try:
        yield
    except (Unacceptable, NotFound) as error:
        faults = tuple(replace(fault, pointer=fault.pointer.removeprefix("/"), place="query") for fault in error.faults)
        raise type(error)(error.detail.removeprefix("/"), faults) from error


def _spans(work: Work, subject: Subject, resolution: str) -> Spans | None:
    """The spans that are averaged over; None for the points themselves."""
    if resolution == "raw":
        return None
    return spans_named(resolution, ZoneInfo(sites.one(work.session, work.scope, subject.site_id).time_zone))


def _one_of(work: Work, subject: Subject, asked: Question) -> Series | None:
    """The series that is meant. Raises Unacceptable when the subject has several and no method was named."""
    found = of_subjects(work.session, [subject.id], asked.quantity)
    if asked.method is not None:
        method = method_of(work.session, asked.quantity, asked.method or None)
        return next((series for series in found if series.method == method), None)
    if len(found) > 1:
        known = ", ".join(series.method or "(left empty)" for series in found)
        raise refused("/method", f"This subject has several such series. Choose the method: {known}.")
    return found[0] if found else None


def _window(series: Series, spans: Spans | None, asked: Question, page: Page) -> tuple[int, int]:
    """From when to before when, in microseconds: what was asked for, within what there is."""
    if asked.from_ is not None and asked.to is not None and asked.to <= asked.from_:
        raise refused("to", "An instant after `from` is expected.", asked.to.isoformat(), place="query")
    assert series.first_at is not None, "a series in use has points"
    assert series.last_at is not None, "a series in use has points"
    start, end = microseconds(series.first_at), microseconds(series.last_at) + 1
    if spans is not None:
        start = int(spans.edges(start, end)[0])
    after = page.after_instant_and_id()
    starts = [start, *([] if asked.from_ is None else [microseconds(asked.from_)]), *([after[0] + 1] if after else [])]
    return max(starts), end if asked.to is None else min(end, microseconds(asked.to))
