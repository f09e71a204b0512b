"""/v1/reports/weekly"""

from __future__ import annotations

from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from service.computations.pulls import held_already, resolved, tag_for
from service.errors import NotAcceptable, NotFound, NotPrinted, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.representations import preferred
from service.http.shapes import PRINTABLE
from service.reports.page import render_html
from service.reports.printed.answer import PDF, pdf
from service.reports.printed.weekly import weekly_pages
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.models import WeeklyReport
from service.reports.weekly.weeks import week_named, week_of
from service.resources.keeping.amounts import refused
from service.resources.places.sites import queries as sites

router = APIRouter(prefix="/reports", tags=["reports"])

Format = Literal["json", "html", "pdf"]
COMES_AS: dict[str, str] = {"json": "application/json", "html": "text/html", "pdf": PDF}


@router.get(
    "/weekly",
    response_model=WeeklyReport,
    responses={
        200: {"content": {"text/html": {"schema": {"type": "string"}}, PDF: {"schema": {"type": "string"}}}},
        304: {"description": "Nothing changed since the ETag you hold"},
        **may_refuse(NotFound, NotAcceptable, Unacceptable, NotPrinted),
    },
)
def read_weekly_report(
    request: Request,
    response: Response,
    door: DoorOf,
    site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")],
    week: Annotated[str | None, Query(max_length=8, description="Such as 2026-W47; left out, this week.")] = None,
    format_: Annotated[Format | None, Query(alias="format", description="Left out, by the Accept header.")] = None,
    paper: Annotated[Literal["a4", "letter"], Query(description="Of the PDF.")] = "a4",
) -> Any:
    """A site's week: in balance or not, what was found, what was done; as JSON, a page, or PDF."""
    form = format_ or preferred(request.headers.get("accept"), COMES_AS)
    with door.read() as work:
        found = sites.named(work.session, work.scope, site)
        zone = ZoneInfo(found.time_zone)
        wanted = week_of(work.at, zone) if week is None else week_named(week, zone)
        if wanted.start > work.at:
            raise refused("week", "This week has not begun. Ask for it when it has.", wanted.name, place="query")
        now = resolved(work.session, [found.id], work.at)
        at = now if form == "pdf" else min(now, wanted.end)  # pages say when they were made
        tag = tag_for(work.session, request, site_ids=[found.id], at=at, form=f"{form} {wanted.name}")
        held = held_already(request, tag)
        if held is not None:
            return held
        response.headers["ETag"] = tag
        response.headers["Vary"] = "Accept"
        report = weekly_report(work.session, found, wanted, now=now)
    headers = {"ETag": tag, "Vary": "Accept"}
    if form == "html":
        return HTMLResponse(render_html(report), headers=headers)
    if form == "pdf":
        pages = weekly_pages(report, at=now, paper=paper)
        return pdf(pages, f"{found.tag}-{wanted.name}", {**headers, "Cache-Control": "private, no-cache"})
    return report
