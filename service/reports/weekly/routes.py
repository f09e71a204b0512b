"""/v1/reports/weekly"""

from __future__ import annotations

from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from service.computations.pulls import held_already, resolved, tag_for
from service.errors import NotAcceptable, NotFound, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import PRINTABLE
from service.reports.page import render_html
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.models import WeeklyReport
from service.reports.weekly.weeks import week_named, week_of
from service.resources.keeping.amounts import refused
from service.resources.places.sites import queries as sites

router = APIRouter(prefix="/reports", tags=["reports"])

Format = Literal["json", "html"]
MEDIA_TYPES: dict[str, Format] = {
    "application/json": "json",
    "text/html": "html",
    "*/*": "json",
    "application/*": "json",
    "text/*": "html",
}


@router.get(
    "/weekly",
    response_model=WeeklyReport,
    responses={
        200: {"content": {"text/html": {"schema": {"type": "string"}}}},
        304: {"description": "Nothing changed since the ETag you hold"},
        **may_refuse(NotFound, NotAcceptable, Unacceptable),
    },
)
def read_weekly_report(
    request: Request,
    response: Response,
    door: DoorOf,
    site: Annotated[str, Query(max_length=40, pattern=PRINTABLE, description="The site's tag or id.")],
    week: Annotated[str | None, Query(max_length=8, description="Such as 2026-W47; left out, this week.")] = None,
    format_: Annotated[Format | None, Query(alias="format", description="Left out, by the Accept header.")] = None,
) -> Any:
    """A site's week: in balance or not, what was found, what was done; as JSON or as a page."""
    form = format_ or negotiated(request.headers.get("accept"))
    with door.read() as work:
        found = sites.named(work.session, work.scope, site)
        zone = ZoneInfo(found.time_zone)
        wanted = week_of(work.at, zone) if week is None else week_named(week, zone)
        if wanted.start > work.at:
            raise refused("week", "This week has not begun. Ask for it when it has.", wanted.name, place="query")
        now = resolved(work.session, [found.id], work.at)
        tag = tag_for(work.session, request, site_ids=[found.id], at=min(now, wanted.end), form=f"{form} {wanted.name}")
        held = held_already(request, tag)
        if held is not None:
            return held
        response.headers["ETag"] = tag
        response.headers["Vary"] = "Accept"
        report = weekly_report(work.session, found, wanted, now=now)
    if form == "html":
        return HTMLResponse(render_html(report), headers={"ETag": tag, "Vary": "Accept"})
    return report


def negotiated(accept: str | None) -> Format:
    """The representation that an Accept header prefers. Raises NotAcceptable when it takes none of ours."""
    if accept is None:
        return "json"
    offers = [_weighed(part) for part in accept.split(",")]
    for media_type, _ in sorted((offer for offer in offers if offer[1] > 0), key=lambda offer: -offer[1]):
        if media_type in MEDIA_TYPES:
            return MEDIA_TYPES[media_type]
    raise NotAcceptable("The report comes as application/json or text/html. Say so in Accept, or send ?format=.")


def _weighed(part: str) -> tuple[str, float]:
    media_type, *parameters = (piece.strip() for piece in part.split(";"))
    quality = next((piece[2:] for piece in parameters if piece.startswith("q=")), "1")
    try:
        return media_type.lower(), float(quality)
    except ValueError:
        return media_type.lower(), 0.0
