"""/v1/series"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request, Response

from service.access.rights import Right
from service.errors import Malformed, NotAcceptable, NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.paging import Page, PageOf
from service.http.problems import may_refuse
from service.http.representations import preferred
from service.http.shapes import PRINTABLE, Id, Time
from service.resources.places.sites import queries as sites
from service.resources.records.series.actions import record_batch
from service.resources.records.series.models import (
    SERIES_BATCH,
    BatchAnswer,
    PointsRead,
    Series,
    SeriesBatchRead,
    SeriesRead,
    SeriesSent,
)
from service.resources.records.series.part import AsWhat, Question, part_of
from service.resources.records.series.queries import batches, visible
from service.science.quantities import quantity_named

router = APIRouter(prefix="/series", tags=["series"])

Format = Literal["json", "csv"]
MEDIA_TYPES = {"json": "application/json", "csv": "text/csv"}
USUAL_PAGE, LARGEST_PAGE = 100_000, 1_000_000


async def _question(
    subject_id: Annotated[Id, Query(description="The tank, system, piece of equipment, room or reservoir.")],
    quantity: Annotated[str, Query(max_length=40, pattern=PRINTABLE, examples=["ph"])],
    method: Annotated[
        str | None,
        Query(
            max_length=200,
            pattern=PRINTABLE,
            description="Where the subject has several series: the method; empty for the one without.",
        ),
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
        found = part_of(work, question, page)
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
