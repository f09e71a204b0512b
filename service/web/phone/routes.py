"""/phone, /t/{label} and what lets them work without a network: the form's pages, its service worker, its manifest."""

from __future__ import annotations

from typing import Annotated, Any, Literal
from uuid import UUID
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Query, Request, Response
from fastapi.responses import JSONResponse

from service.access import devices
from service.access.caller import Work
from service.access.models import Device
from service.access.rights import Right
from service.computations.rounds.answer import todays_round
from service.errors import NotFound
from service.http.representations import preferred
from service.http.shapes import PRINTABLE, Id
from service.reports.handover.mark import LONGEST, mark_of
from service.reports.printed.answer import PDF, pdf
from service.reports.printed.setting import set_pages
from service.reports.shelf import PAPER
from service.resources.keeping.records import found
from service.resources.places.sites import queries as sites
from service.resources.places.sites.models import Site
from service.resources.records.commissionings.actions import COMMISSIONINGS
from service.resources.records.commissionings.models import body
from service.resources.records.commissionings.queries import open_runs
from service.resources.records.maintenance_plans import queries as plans
from service.resources.records.photos.queries import lately
from service.resources.records.procedures.queries import named
from service.resources.records.readings.queries import known_of
from service.storage.subjects import Subject
from service.web.pages import PageRoute, VisitorOf
from service.web.phone import places, runs
from service.web.phone.fields import fields_of, settings_of
from service.web.phone.handing_over import days_back, since_named, told, ways_back
from service.web.phone.label_sheets import MOST_SKIPPED, PAPER_NAMES, SHEETS, USUAL, sheet_named
from service.web.phone.labels import for_print, labels
from service.web.phone.pages import MODULES, language_of, phone_page
from service.web.phone.places import CYLINDER, Place
from service.web.phone.worker import worker

PHOTOS_SHOWN = 6
LABELS_COME_AS = {"html": "text/html", "pdf": PDF}
PAINTED = {"icon-192.png": "192x192", "icon-512.png": "512x512"}  # for phones that take no drawing

router = APIRouter(include_in_schema=False, route_class=PageRoute)

SiteTag = Annotated[str, Path(max_length=40, pattern=PRINTABLE)]
Since = Annotated[str | None, Query(max_length=40, pattern=PRINTABLE)]
DaysBack = Annotated[int | None, Query(ge=1, le=LONGEST.days)]
ProcedureCode = Annotated[str, Path(max_length=40, pattern=PRINTABLE)]
RunId = Annotated[Id, Path(description="The run's id.")]
LabelCode = Annotated[str, Path(max_length=16, pattern=r"^[0-9A-Za-z]+$")]


@router.get("/phone")
def show_places(request: Request, visitor: VisitorOf) -> Response:
    """Everything that can be recorded about, by site, in walking order."""
    with visitor.work() as work:
        shown = [
            {
                "site": site,
                "places": (there := places.of_site(work.session, site, work.at)),
                "under_way": runs.under_way(there, open_runs(work.session, site.id)),
            }
            for site in sites.visible(work.session, work.scope)
            if work.caller.has(Right.READ, site.id)
        ]
        return phone_page(request, "places.html", work.caller, shown=shown)


@router.get("/phone/waiting")
def show_waiting(request: Request, visitor: VisitorOf) -> Response:
    """What this phone holds: waiting, sent lately, refused. The phone fills it in: the service does not know."""
    with visitor.work() as work:
        return phone_page(request, "waiting.html", work.caller)


@router.get("/phone/round/{site_tag}")
def show_round(request: Request, site_tag: SiteTag, visitor: VisitorOf) -> Response:
    """What is due on a site today, in walking order."""
    with visitor.work() as work:
        site = sites.named(work.session, work.scope, site_tag)
        made = todays_round(work.session, work.scope, site, work.at)
        return phone_page(request, "round.html", work.caller, site=site, round=made)


@router.get("/phone/handover/{site_tag}")
def show_handover(
    request: Request, site_tag: SiteTag, visitor: VisitorOf, since: Since = None, days: DaysBack = None
) -> Response:
    """What changed on a site since somebody last took it over, since a time by its clock, or for some days.

    And taking it over.
    """
    with visitor.work() as work:
        site = sites.named(work.session, work.scope, site_tag)
        there = places.of_site(work.session, site, work.at)
        if since:
            mark = since_named(work.session, site, since, work.at)
        elif days:
            mark = days_back(work.session, site, days, work.at)
        else:
            mark = mark_of(work.session, site.id, work.at, reader_id=work.caller.id)
        return phone_page(
            request,
            "handover.html",
            work.caller,
            place=_whole(site),
            site=site,
            zone=ZoneInfo(site.time_zone),
            places=there,
            report=told(work.session, site, mark, work.at, there),
            is_chosen=bool(since or days),
            back=ways_back(site, work.at),
            may_record=work.caller.has(Right.RECORD, site.id),
        )


@router.get("/phone/labels/{site_tag}")
def show_labels(
    request: Request,
    site_tag: SiteTag,
    visitor: VisitorOf,
    format_: Annotated[Literal["html", "pdf"] | None, Query(alias="format")] = None,
    paper: Annotated[str, Query(max_length=16, pattern=PRINTABLE)] = "a4",
    label: Annotated[str, Query(max_length=16, pattern=PRINTABLE)] = USUAL,
    skip: Annotated[int, Query(ge=0, le=MOST_SKIPPED)] = 0,
) -> Response:
    """A site's labels, to be printed from under the address that phones will use; as a page, or as sheets (PDF)."""
    form = format_ or preferred(request.headers.get("accept"), LABELS_COME_AS)
    with visitor.work() as work:
        site = sites.named(work.session, work.scope, site_tag)
        base, at = str(request.base_url).rstrip("/"), work.at
        made = labels(places.of_site(work.session, site, at), base)
        if form == "html":
            return phone_page(
                request, "labels.html", work.caller, site=site, labels=made, base=base,
                sheets=SHEETS, papers=PAPER_NAMES, usual=USUAL, most_skipped=MOST_SKIPPED,
            )  # fmt: skip
    if not made:
        raise NotFound(
            "Nothing on this site bears a label yet. Describe a system, a tank or a piece of equipment first."
        )
    words, sheet = language_of(request), sheet_named(paper, label)
    content = for_print(made, sheet, title=f"{words.gettext('Labels')}, {site.name}", skip=skip, words=words)
    return pdf(set_pages("labels.typ", content, at=at), f"labels-{site.tag}")


@router.get("/t/{code}")
def show_place(request: Request, code: LabelCode, visitor: VisitorOf) -> Response:
    """The forms for whatever bears this label."""
    with visitor.work() as work:
        site, place, there = _labelled(work, code)
        return phone_page(
            request, "place.html", work.caller, place=_told(place, site), **_content(work, site, place, there)
        )


@router.get("/t/{code}/{procedure}")
def show_procedure(request: Request, code: LabelCode, procedure: ProcedureCode, visitor: VisitorOf) -> Response:
    """A procedure at whatever bears this label: the run under way step by step, or how to begin one."""
    with visitor.work() as work:
        site, place, there = _labelled(work, code)
        asked = named(procedure, pointer="procedure", place="path")
        of_it = [
            run for run in open_runs(work.session, site.id) if (run.subject_id, run.procedure) == (place.id, asked.code)
        ]
        if not of_it and place.kind not in asked.subjects:
            raise NotFound("This procedure is not done to what bears this label.")
        run = of_it[-1] if of_it else None
        asked = asked if run is None else run.asked
        return phone_page(
            request,
            "procedure.html",
            work.caller,
            place=_told(place, site),
            here=place,
            site=site,
            procedure=asked,
            fields={step.code: runs.field_of(work.session, step, place, there) for step in asked.steps},
            snapshot=runs.snapshot(work.session, run, work.at),
            signed=[each for each in runs.signed(work.session, site, [place]) if each.run.procedure == asked.code],
            may_record=work.caller.has(Right.RECORD, site.id),
            beside=_beside(work),
        )


@router.get("/phone/runs/{run_id}")
def show_run(request: Request, run_id: RunId, visitor: VisitorOf) -> Response:
    """A run of a procedure as it is kept: what was asked, done and seen, by whom, when; to read and to print."""
    with visitor.work() as work:
        run = found(work, COMMISSIONINGS, run_id)
        site = sites.one(work.session, work.scope, run.site_id)
        subject = work.session.get_one(Subject, run.subject_id)
        place = next((each for each in places.of_site(work.session, site, work.at) if each.id == subject.id), None)
        shown = body(run)
        return phone_page(
            request,
            "run.html",
            work.caller,
            site=site,
            zone=ZoneInfo(site.time_zone),
            run=shown,
            subject=place,
            kind=subject.kind,
            who=runs.signers(work.session, shown),
        )


def _labelled(work: Work, code: str) -> tuple[Site, Place, list[Place]]:
    """What bears a label: its site, itself, and everything there. Raises NotFound."""
    subject = places.coded(work.session, work.scope, code)
    site = sites.one(work.session, work.scope, subject.site_id)
    there = places.of_site(work.session, site, work.at)
    place = next((each for each in there if each.id == subject.id), None)
    if place is None:
        raise NotFound("What bore this label is retired or was taken away; nothing is recorded about it any more.")
    return site, place, there


def _beside(work: Work) -> list[tuple[UUID, str]] | None:
    """On a shared device: who may be picked to sign beside whoever is signed in; None on a browser of one's own."""
    if work.caller.device_id is None:
        return None
    return devices.people(work.session, work.session.get_one(Device, work.caller.device_id))


def _content(work: Work, site: Site, place: Place, there: list[Place]) -> dict[str, Any]:
    sources = [place.id] if place.system_id in (None, place.id) else [place.id, place.system_id]
    known = known_of(work.session, sources, at=work.at)
    known.sort(key=lambda each: each.subject_id != place.id)  # a tank's own values first, then its water's
    front, others = fields_of(place.kind, site.units, known)
    is_swapped = place.kind == CYLINDER and places.is_on_a_line(work.session, place.id, work.at)
    return {
        "here": place,
        "site": site,
        "system": next((each for each in there if each.kind == "system" and each.id == place.system_id), None),
        "may_record": work.caller.has(Right.RECORD, site.id),
        "procedures": runs.fitting(place.kind),
        "under_way": runs.under_way([place], open_runs(work.session, site.id)),
        "signed": runs.signed(work.session, site, [place]),
        "plans": _plans(work, site, place),
        "front": front,
        "others": others,
        "settings": settings_of(place.kind, site.units),
        "elsewhere": [each for each in there if each.kind in ("system", "tank") and each.id != place.id],
        "spares": [
            (spare.id, f"{spare.name} ({spare.tag})") for spare in places.spare_cylinders(work.session, there, work.at)
        ]
        if is_swapped
        else [],
        "photos": lately(work.session, [place.id], PHOTOS_SHOWN),
        "alkalinity_unit": site.units.get("alkalinity", "meq/L"),
    }


def _plans(work: Work, site: Site, place: Place) -> list[dict[str, Any]]:
    """The maintenance plans of a place that go on, those due first: for work to name what it was done for."""
    own = [plan for plan in plans.of_sites(work.session, work.scope, site.id) if plan.subject_id == place.id]
    found = [due for due in plans.dues(work.session, own, work.at) if due.next_due_on is not None]
    found.sort(key=lambda due: (due.next_due_on, due.plan.what))
    return [
        {
            "id": due.plan.id,
            "what": due.plan.what,
            "kind": due.plan.kind,
            "due_on": due.next_due_on,
            "procedure": plans.code_of(due.plan),
        }
        for due in found
    ]


def _whole(site: Site) -> dict[str, Any]:
    """A site as a whole, told like a place: what is said of it has no subject."""
    words = {"code": f"site {site.tag}", "kind": "site", "name": site.name, "site_id": str(site.id)}
    return {"id": None, "system_id": None, **words}


def _told(place: Place, site: Site) -> dict[str, Any]:
    return {
        "id": str(place.id),
        "code": place.code,
        "kind": place.kind,
        "name": place.name,
        "site_id": str(site.id),
        "system_id": None if place.system_id is None else str(place.system_id),
    }


@router.get("/sw.js")
async def read_worker() -> Response:
    """The service worker, at the root so that it may serve every page of the form."""
    return Response(worker(), media_type="text/javascript", headers={"Cache-Control": "no-cache"})


@router.get("/app.webmanifest")
async def read_manifest(request: Request) -> Response:
    """What a phone needs to put the form among its programs (W3C Web Application Manifest)."""
    say = language_of(request).gettext
    drawn = {"type": "image/svg+xml", "sizes": "any"}
    content = {
        "name": "Ooid",
        "short_name": "Ooid",
        "description": say("Records of stony-coral systems, also without a network"),
        "start_url": "/phone",
        "scope": "/",
        "display": "standalone",
        "background_color": "#f5f8f2",
        "theme_color": "#f5f8f2",
        "icons": [
            {"src": PAPER.url("ooid.svg"), "purpose": "any", **drawn},
            {"src": MODULES.url("icon.svg"), "purpose": "maskable", **drawn},
            *({"src": MODULES.url(name), "type": "image/png", "sizes": size} for name, size in PAINTED.items()),
        ],
    }
    return JSONResponse(content, media_type="application/manifest+json", headers={"Cache-Control": "no-cache"})
