"""What changed on a site as the phone tells it: what presses first, in the units and words of the site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.reports.handover.compute import handover_report
from service.reports.handover.mark import LONGEST, Mark, chosen
from service.reports.handover.pressing import ANIMALS, CHANGED, SOON
from service.resources.keeping.amounts import refused
from service.resources.places.set_points.codes import TARGET
from service.resources.places.sites.models import Site
from service.resources.records.procedures.queries import procedures
from service.science.quantities import QUANTITIES
from service.web.phone.fields import OWN_SETTINGS
from service.web.phone.places import Place
from service.web.phone.units import FEWER_DIGITS, pair, plain

Line = dict[str, Any]
OF_A_SYSTEM = {"water_volume": "water volume", "reference_salinity": "reference salinity"}  # set by describing it, too
SETTINGS = {code: title for settings in (OF_A_SYSTEM, *OWN_SETTINGS.values()) for code, title in settings.items()}
OF_A_QUANTITY = ("reading", "set_point", "corrected", "withdrawn")
BACK = (1, 3, 7)  # days that are one tap away


def told(session: Session, site: Site, mark: Mark, at: datetime, places: Sequence[Place]) -> dict[str, Any]:
    """The handover report of a site with its lines by how much they press, and where each leads."""
    report = handover_report(session, site, mark, at)
    there = {place.id: place for place in places}
    lines = [_line(line, stop, there) for stop in report["stops"] for line in stop["lines"]]
    lines.sort(key=lambda line: line["presses"])  # those that press alike stay in walking order
    notes = [{**note, "place": there.get(note["subject_id"])} for note in report["notes"]]
    return {
        **report,
        "notes": notes,
        "waiting": [{**task, "place": there.get(task["subject_id"])} for task in report["waiting"]],
        "pressing": [line for line in lines if line["presses"] <= SOON],
        "changed": [line for line in lines if line["presses"] == CHANGED],
        "ordinary": [line for line in lines if line["presses"] > CHANGED],
    }


def since_named(session: Session, site: Site, since: str, at: datetime) -> Mark:
    """The mark at an instant by the site's clock, such as `2026-11-28T07:00`. Raises Unacceptable."""
    try:
        local = datetime.fromisoformat(since)
    except ValueError as error:
        detail = "A day and time by the site's clock are expected, such as 2026-11-28T07:00."
        raise refused("since", detail, since, place="query") from error
    zoned = local if local.tzinfo else local.replace(tzinfo=ZoneInfo(site.time_zone))
    return chosen(session, site.id, zoned, at)


def days_back(session: Session, site: Site, days: int, at: datetime) -> Mark:
    """The mark some days ago: counted when it is asked for, because the page that offers it may be hours old."""
    return chosen(session, site.id, at - timedelta(days=days), at)


def ways_back(site: Site, at: datetime) -> dict[str, Any]:
    """Where else a list may begin: some days ago, and the bounds of what may be chosen by the site's clock."""
    zone = ZoneInfo(site.time_zone)
    return {
        "days": BACK,
        "earliest": _minute((at - LONGEST + timedelta(minutes=1)).astimezone(zone)),
        "latest": _minute(at.astimezone(zone)),
    }


def _minute(at: datetime) -> str:
    return f"{at:%Y-%m-%dT%H:%M}"


def _line(line: Line, stop: Mapping[str, Any], there: Mapping[UUID, Place]) -> Line:
    quantity = line["what"] if line["kind"] in OF_A_QUANTITY else None
    return {
        **line,
        "title": _title(line),
        "is_target": quantity is not None and quantity.startswith(TARGET),
        "stop": stop["name"],
        "place": there.get(line["subject_id"]),
        "usual": None if line["usual"] is None else _usual(line["usual"], quantity, line["amounts"][0]["unit"]),
        "in_full": line["presses"] <= ANIMALS,  # what to do now stands in the later sentences
    }


def _title(line: Line) -> str:
    """What it is about, as the form calls it: a quantity, a setting, a procedure; else the words that were recorded."""
    what: str = line["what"]
    if line["kind"] in OF_A_QUANTITY:
        code = what.removeprefix(TARGET)
        return QUANTITIES[code].title if code in QUANTITIES else SETTINGS.get(what, what)
    if line["kind"] == "commissioning" and what in procedures():
        return procedures()[what].title
    return what


def _usual(band: Mapping[str, Any], quantity: str | None, unit: str) -> tuple[str, str, str]:
    """The usual band in the unit that the reading was taken in, where that can be said; else in the canonical one."""
    low, high = band["low"], band["high"]
    known = QUANTITIES.get(quantity or "")
    turned = None if known is None else pair((low, high), known, unit)
    low, high = turned or (low, high)
    return plain(low, FEWER_DIGITS), plain(high, FEWER_DIGITS), unit if turned else band["unit"]
