"""/v1/series"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated, Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

import numpy as np
from fastapi import APIRouter, Depends, Query, Request, Response

from service.access.caller import Work
from service.access.rights import Right
from service.errors import Malformed, NotAcceptable, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.paging import Page, PageOf
from service.http.problems import may_refuse
from service.http.representations import preferred
from service.http.shapes import PRINTABLE, Id, Time
from service.resources.keeping.amounts import refused
from service.resources.places.sites import queries as sites
from service.resources.places.subjects import subject_of
from service.resources.records.readings.actions import method_of, quantity_of
from service.resources.records.recalibrations.queries import in_force
from service.resources.records.series.actions import record_batch
from service.resources.records.series.blocks import POINT, SUM, Points, Sums
from service.resources.records.series.columns import Columns, columns_of
from service.resources.records.series.models import (
    SERIES_BATCH,
    BatchAnswer,
    PointsRead,
    Series,
    SeriesBatchRead,
    SeriesRead,
    SeriesSent,
)
from service.resources.records.series.queries import batches, of_subjects, points, visible
from service.resources.records.series.recalibrated import right_points
from service.resources.records.series.spans import Spans, means, spans_named
from service.science.quantities import quantity_named
from service.storage.subjects import Subject
from service.storage.types import microseconds

router = APIRouter(prefix="/series", tags=["series"])

Format = Literal["json", "csv"]
AsWhat = Literal["corrected", "recorded"]
MEDIA_TYPES = {"json": "application/json", "csv": "text/csv"}
USUAL_PAGE, LARGEST_PAGE = 100_000, 1_000_000


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


async def _question(
    subject_id: Annotated[Id, Query(description="The tank, system, piece of equipment, room or reservoir.")],
    quantity: Annotated[str, Query(max_length=40, pattern=PRINTABLE, examples=["ph"])],
    method: Annotated[
        str | None,
        Query(max_length=200, pattern=PRINTABLE, description="The method, where the subject has several series."),
    ] = None,
    from_: Annotated[
        Time | None, Query(alias="from", description="At this instant or later; left out, from the first point.")
    ] = None,
    to: Annotated[Time | None, Query(description="Before this instant; left out, to the last point.")] = None,
    resolution: Annotated[
        str,
        Query(
            max_length=9,
            pattern=PRINTABLE,
            description="raw; or means by hour, by day (the site's), by a span such as PT10M, counted from 1970 UTC.",
        ),
    ] = "raw",
    unit: Annotated[
        str | None, Query(max_length=40, pattern=PRINTABLE, description="Left out, the canonical unit.")
    ] = None,
    as_: Annotated[
        AsWhat,
        Query(alias="as", description="corrected: with the recalibrations in force. recorded: as the probe sent it."),
    ] = "corrected",
) -> Question:
    return Question(subject_id, quantity, method, from_, to, resolution, unit, as_)


async def _page(
    request: Request,
    response: Response,
    limit: Annotated[int, Query(ge=1, le=LARGEST_PAGE, description="Points or spans a page.")] = USUAL_PAGE,
    cursor: Annotated[
        str | None, Query(max_length=400, description="Where the page before ended: follow `Link`.")
    ] = None,
) -> Page:
    return Page(request, response, limit, cursor)


@router.post(
    "",
    response_model=BatchAnswer,
    status_code=201,
    responses={
        200: {"model": BatchAnswer, "description": "Nothing new: all was known, in conflict or refused"},
        **may_refuse(Malformed, NotFound, TooLarge, Unacceptable),
    },
)
def record_series(sent: SeriesSent, door: DoorOf, response: Response) -> Any:
    """Record many values of a probe, in columns. Safe to repeat: a point is known by its instant.

    Points of an instant that holds another value are reported in `conflicts` and not stored; impossible values in
    `refused`. The rest is stored as one batch.
    """
    with door.write(Right.RECORD) as work:
        answer = record_batch(work, sent)
        response.status_code = 201 if answer["stored"] else 200
        return answer


@router.get(
    "",
    response_model=PointsRead,
    responses={
        200: {"content": {"text/csv": {"schema": {"type": "string"}}}},
        **may_refuse(Malformed, NotFound, NotAcceptable, TooLarge, Unacceptable),
    },
)
def read_series(
    request: Request,
    response: Response,
    door: DoorOf,
    page: Annotated[Page, Depends(_page)],
    question: Annotated[Question, Depends(_question)],
    format_: Annotated[Format | None, Query(alias="format", description="Left out, by the Accept header.")] = None,
) -> Any:
    """Part of a series in columns: its points, or the means of spans with count, lowest and highest.

    Pages by `Link` beyond `limit`. A subject without such a series answers empty columns.
    """
    form = format_ or preferred(request.headers.get("accept"), MEDIA_TYPES)
    with door.read() as work:
        found = _columns(work, question, page)
    content = found.csv() if form == "csv" else found.json()
    headers = {**dict(response.headers), "Vary": "Accept"}
    headers.pop("content-length", None)
    return Response(content, media_type=MEDIA_TYPES[form], headers=headers)


@router.get("/overview", response_model=list[SeriesRead], responses=may_refuse(Malformed, NotFound, Unacceptable))
def list_series(
    door: DoorOf,
    page: PageOf,
    site: Annotated[
        str | None, Query(max_length=40, pattern=PRINTABLE, description="Only this site's: its tag or id.")
    ] = None,
    subject: Annotated[Id | None, Query(description="Only those of this subject.")] = None,
    quantity: Annotated[str | None, Query(max_length=40, pattern=PRINTABLE, description="Only this quantity.")] = None,
) -> Any:
    """Which series there are: first and last instant, and how many points."""
    with door.read() as work:
        rows = visible(
            work.session,
            work.scope,
            site_id=None if site is None else sites.id_named(work.session, work.scope, site),
            subject_id=subject,
            quantity=quantity,
            after=page.after_id(),
            limit=page.limit + 1,
        )
        return [_shown(row) for row in page.close(rows, lambda row: [str(row.id)])]


@router.get("/batches", response_model=list[SeriesBatchRead], responses=may_refuse(Malformed, NotFound, Unacceptable))
def list_series_batches(
    door: DoorOf,
    page: PageOf,
    subject: Annotated[Id | None, Query(description="Only those of this subject.")] = None,
    quantity: Annotated[str | None, Query(max_length=40, pattern=PRINTABLE, description="Only this quantity.")] = None,
) -> Any:
    """Which batches series were recorded in, the last first: by whom, when, in which unit."""
    with door.read() as work:
        rows = batches(
            work.session,
            work.scope,
            subject_id=subject,
            quantity=quantity,
            before=page.after_id(),
            limit=page.limit + 1,
        )
        return [SERIES_BATCH.body(row) for row in page.close(rows, lambda row: [str(row.id)])]


def _shown(row: Series) -> dict[str, Any]:
    unit = quantity_named(row.quantity).unit
    return {name: getattr(row, name) for name in SeriesRead.model_fields if name != "unit"} | {"unit": unit}


def _columns(work: Work, asked: Question, page: Page) -> Columns:
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
    about = Columns(
        subject_id=subject.id,
        quantity=quantity.code,
        unit=asked.unit or quantity.unit,
        method=None if series is None else series.method,
        resolution=asked.resolution,
        at_us=np.empty(0, dtype=np.int64),
        value=np.empty(0),
    )
    return columns_of(found, about, quantity)


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
        method = method_of(work.session, asked.quantity, asked.method)
        return next((series for series in found if series.method == method), None)
    if len(found) > 1:
        known = ", ".join(series.method or "(none)" for series in found)
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
