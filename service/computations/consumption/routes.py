"""/v1/systems/{id}/consumption: what a system takes, and one new reading against what is expected."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Annotated, Any, Literal
from uuid import UUID

from fastapi import APIRouter, Path, Query, Request, Response

from service.access.caller import Work
from service.computations.consumption.answer import ALONE, Scaled, estimates, shown
from service.computations.consumption.check import checked
from service.computations.consumption.gather import Gathered, gather_several
from service.computations.consumption.models import CheckRead, CheckSent, ConsumptionRead
from service.computations.consumption.water import Beside, nitrate_parts
from service.computations.pulls import UNCHANGED, AskedAt, held_already, resolved, tag_for
from service.errors import NotFound, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Id, Time
from service.http.tables import CSV_TOO, MARK, Form, line
from service.resources.keeping.amounts import refused
from service.resources.places.systems import queries as systems
from service.science.answer import ConsumptionEstimate

router = APIRouter(prefix="/systems", tags=["consumption"])

WINDOW = timedelta(days=180)
SHOWN = timedelta(days=84)
LONGEST_COURSE = timedelta(days=366)
STEP = timedelta(days=1)
BESIDE = ("alkalinity", "calcium", "nitrate")

SystemId = Annotated[Id, Path(description="The system's id.")]
Quantity = Annotated[Literal["alkalinity", "calcium", "magnesium"], Query()]


@router.get(
    "/{system_id}/consumption",
    response_model=ConsumptionRead,
    responses={
        **UNCHANGED,
        **CSV_TOO,
        **may_refuse(NotFound, Unacceptable),
    },
)
def read_consumption(
    system_id: SystemId,
    request: Request,
    response: Response,
    door: DoorOf,
    quantity: Quantity = "alkalinity",
    at: AskedAt = None,
    from_: Annotated[Time | None, Query(alias="from", description="Where the course begins.")] = None,
    to: Annotated[Time | None, Query(description="Where the course ends; at `at` at the latest.")] = None,
    unit: Annotated[str | None, Query(max_length=40, description="Such as dKH/d; left out, canonical.")] = None,
    form: Annotated[Form, Query(alias="format", description="json; csv or spreadsheet: the course alone.")] = "json",
) -> Any:
    """What a system consumes of alkalinity, calcium or magnesium, with its interval; its course as CSV when asked."""
    scaled = Scaled(quantity, unit)
    with door.read() as work:
        system = systems.one(work.session, work.scope, system_id, pointer="system_id", place="path")
        instant = at or resolved(work.session, [system.site_id], work.at)
        course_at = _course_instants(from_ or instant - SHOWN, to or instant, instant)
        tag = tag_for(work.session, request, site_ids=[system.site_id], at=instant, form=form)
        response.headers["ETag"] = tag
        held = held_already(request, tag)
        if held is not None:
            return held
        wanted = (quantity,) if quantity == "magnesium" else (quantity, *(each for each in BESIDE if each != quantity))
        every = gather_several(work.session, [system], wanted, start=instant - WINDOW, end=_just_after(instant))
        found = every[quantity][system.id]
        estimate = None if found is None else estimates([found], quantity, at=instant, course_at=course_at)[0]
        beside = ALONE if quantity == "magnesium" else _beside(every, system.id, instant, quantity, estimate)
        answer = shown(system.id, quantity, instant, found, estimate, scaled, beside=beside)
        return answer if form == "json" else _as_csv(answer["course"], tag, form)


def _beside(
    every: Mapping[str, Mapping[UUID, Gathered | None]],
    system_id: UUID,
    at: datetime,
    quantity: str,
    estimate: ConsumptionEstimate | None,
) -> Beside:
    """What lies beside a system's alkalinity or calcium: each other, and the nitrate of the same water."""
    alkalinity, nitrate = every["alkalinity"][system_id], every["nitrate"]
    if quantity != "alkalinity":
        estimate = None if alkalinity is None else estimates([alkalinity], "alkalinity", at=at)[0]
    days = [each.clock.days(at) for each in nitrate.values() if each is not None]
    part = nitrate_parts(nitrate, days[0])[system_id] if days else None
    return Beside(alkalinity, estimate, every["calcium"][system_id], part)


def _as_csv(course: Any, tag: str, form: Form) -> Response:
    """A course as lines: the instant, the value, its interval and the unit."""
    guard = form == "spreadsheet"
    columns = (course["at"], course["value"], course["low"], course["high"])
    rows = [["at", "value", "low", "high", "unit"], *([*row, course["unit"]] for row in zip(*columns, strict=True))]
    text = "".join([MARK if guard else "", *(line(row, guard=guard) for row in rows)])
    return Response(text, media_type="text/csv; charset=utf-8", headers={"ETag": tag})


@router.post(
    "/{system_id}/consumption/check", response_model=CheckRead, responses=may_refuse(NotFound, Unacceptable, TooLarge)
)
def check_reading(system_id: SystemId, sent: CheckSent, door: DoorOf) -> Any:
    """One new reading against the expected course. Advisory: it stores nothing and never delays a save."""
    with door.read() as work:
        return _check(work, system_id, sent)


def _check(work: Work, system_id: Id, sent: CheckSent) -> dict[str, Any]:
    system = systems.one(work.session, work.scope, system_id, pointer="system_id", place="path")
    return checked(work.session, system, sent, window=WINDOW)


def _course_instants(start: datetime, end: datetime, at: datetime) -> list[datetime]:
    """Every day from start to end, and the end itself. Raises Unacceptable for a span that cannot be."""
    if end > at:
        detail = "A course ends at the instant asked about, or before it."
        raise refused("to", detail, end.isoformat(), place="query")
    if start >= end:
        raise refused("from", "A course begins before it ends.", start.isoformat(), place="query")
    if end - start > LONGEST_COURSE:
        raise refused("from", "A course of at most 366 days is given at once.", start.isoformat(), place="query")
    days = int((end - start) / STEP)
    return [*(start + n * STEP for n in range(days)), end]


def _just_after(at: datetime) -> datetime:
    return at + timedelta(microseconds=1)
