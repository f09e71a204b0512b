"""/, /sites/..., /docs and the files they need: what people see in a browser."""

from __future__ import annotations

from datetime import timedelta
from typing import Annotated, Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Request, Response
from fastapi.responses import RedirectResponse
from sqlmodel import Session

from service.computations.pulls import held_already, resolved, tag_for
from service.errors import NotFound, NotSignedIn
from service.http.conditional import is_held
from service.http.shapes import PRINTABLE
from service.reports.shelf import MEDIA_TYPES, PAPER, STATIC
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.weeks import week_of
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.places.sites import queries as sites
from service.resources.places.systems import queries as systems
from service.resources.places.tanks.queries import stays_on
from service.resources.records.commissionings.queries import open_runs
from service.resources.records.photos.queries import Shown, lately
from service.settings import Settings
from service.web.pages import DESK, PageRoute, Visitor, VisitorOf, page
from service.web.phone import places, runs
from service.web.phone.pages import MODULES
from service.web.reference import printed

FOR_EVER = "public, max-age=31536000, immutable"
WEEKS_OFFERED = 5
PHOTOS_SHOWN = 12

router = APIRouter(include_in_schema=False, route_class=PageRoute)

SiteTag = Annotated[str, Path(max_length=40, pattern=PRINTABLE)]
SystemTag = Annotated[str, Path(max_length=40, pattern=PRINTABLE)]


@router.get("/")
def show_first_page(request: Request, visitor: VisitorOf) -> Response:
    """What this is and where to begin: the sites of whoever is signed in, or how to sign in."""
    name, folder, system, shown = None, None, None, []
    try:
        with visitor.work() as work:
            name, folder = work.caller.name, _folder(request)
            for site in sites.visible(work.session, work.scope):
                week = week_of(work.at, ZoneInfo(site.time_zone)).name
                shown.append({"tag": site.tag, "name": site.name, "week": week})
                system = system or next((row.id for row in systems.of_site(work.session, site.id)), None)
    except NotSignedIn:
        pass  # the page itself says how to sign in
    base = str(request.base_url).rstrip("/")
    return page("first.html", person=name, sites=shown, base=base, folder=folder, system=system)


def _folder(request: Request) -> str | None:
    """The data folder that a command on this machine must be told of; None where it finds the database by itself."""
    settings: Settings = request.app.state.settings
    is_usual = settings.database_url is not None or settings.data_dir == Settings.model_fields["data_dir"].default
    return None if is_usual else str(settings.data_dir)


@router.get("/sites/{site_tag}")
def show_desk(request: Request, site_tag: SiteTag, visitor: VisitorOf) -> Response:
    """A site's ledger: one line a system."""
    return _of_week(request, visitor, site_tag, "desk")


@router.get("/sites/{site_tag}/systems/{system_tag}")
def show_course(request: Request, site_tag: SiteTag, system_tag: SystemTag, visitor: VisitorOf) -> Response:
    """A system's course with its band, readings and events, and the same as a table."""
    return _of_week(request, visitor, site_tag, "course", system_tag=system_tag)


def _of_week(
    request: Request, visitor: Visitor, site_tag: str, kind: str, *, system_tag: str | None = None
) -> Response:
    """A page on the running week of a site, or of one of its systems."""
    photos: list[Shown] = []
    with visitor.work() as work:
        site = sites.named(work.session, work.scope, site_tag)
        zone = ZoneInfo(site.time_zone)
        now, week = resolved(work.session, [site.id], work.at), week_of(work.at, zone)
        tag = tag_for(work.session, request, site_ids=[site.id], at=now, form=f"{kind} {work.caller.id}")
        held = held_already(request, tag)
        if held is not None:
            return held
        report = weekly_report(work.session, site, week, now=now)
        name = work.caller.name
        there = places.of_site(work.session, site, now) if kind == "desk" else []
        under_way = runs.under_way(there, open_runs(work.session, site.id)) if there else []
        signed = runs.signed(work.session, site, there)
        if system_tag is not None:
            photos = _photos(work.session, [line["system_id"] for line in report["lines"] if line["tag"] == system_tag])
    content: dict[str, Any] = {"report": report, "zone": zone, "person": name}
    if system_tag is None:
        links = {line["system_id"]: f"/sites/{site.tag}/systems/{line['tag']}" for line in report["lines"]}
        weeks = [week_of(now - timedelta(weeks=back), zone).name for back in range(WEEKS_OFFERED)]
        return page("desk.html", tag=tag, links=links, weeks=weeks, under_way=under_way, signed=signed, **content)
    lines = [line for line in report["lines"] if line["tag"] == system_tag]
    if not lines:
        raise NotFound("There is no system with this tag on this site.")
    return page("course.html", tag=tag, lines=lines, photos=photos, **content)


def _photos(session: Session, system_ids: list[UUID]) -> list[Shown]:
    """The last photos of a system, of what stood on it and of what fed it."""
    tanks = [stay.tank_id for stay in stays_on(session, system_ids)]
    reactors = [feed.reactor_id for feed in feeds_into(session, system_ids)]
    return lately(session, [*system_ids, *tanks, *reactors], PHOTOS_SHOWN)


@router.get("/docs")
def show_reference(request: Request) -> Response:
    """The reference of the API, printed from its own description once for each version of it."""
    reference = printed(request.app)
    headers = {"ETag": reference.tag, "Cache-Control": "no-cache"}
    if is_held(request.headers.get("if-none-match"), reference.tag):
        return Response(status_code=304, headers=headers)
    return Response(reference.html, media_type="text/html", headers=headers)


@router.get(STATIC + "/{shelf_name}/{name}")
async def read_static_file(shelf_name: str, name: str) -> Response:
    """A style sheet, module or picture, under an address that changes with its content."""
    for shelf in (PAPER, DESK, MODULES):
        if shelf.name == shelf_name and name in shelf.files:
            media_type = MEDIA_TYPES["." + name.rpartition(".")[2]]
            return Response(shelf.files[name], media_type=media_type, headers={"Cache-Control": FOR_EVER})
    raise NotFound("There is no such file in this version. Load the page again.")


@router.get("/favicon.ico")
async def read_icon() -> Response:
    """Where browsers look for the picture of a site by themselves."""
    return RedirectResponse(PAPER.url("ooid.svg"), status_code=307)
