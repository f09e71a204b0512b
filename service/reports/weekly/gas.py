"""How long the gas of each of a site's lines lasts, computed for all lines at once."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from service.computations.gas_forecast.answer import forecasts, shown
from service.computations.gas_forecast.gather import LineRecords, gather
from service.resources.equipment.gas_lines.models import GasLine
from service.resources.places.sites.models import Site

ROOM_C = (18.0, 26.0)
LEAD = timedelta(days=7)
SOON = timedelta(days=14)
KEPT = ("remaining", "use", "liquid_gone_at", "empty_at", "change_by", "findings", "missing")


def gas_of(session: Session, site: Site, at: datetime, zone: ZoneInfo) -> list[dict[str, Any]]:
    """A row for each gas line of the site, by tag; the number of queries does not grow with the lines."""
    lines = session.exec(select(GasLine).where(GasLine.site_id == site.id).order_by(col(GasLine.tag))).all()
    if not lines:
        return []
    gathered = gather(session, lines, at)
    records = [gathered[line.id] for line in lines]
    return [
        _row(each, shown(each, found, at=at, zone=zone, lead=LEAD, temperature_c=ROOM_C), at.astimezone(zone).date())
        for each, found in zip(records, forecasts(records, at=at, temperature_c=ROOM_C), strict=True)
    ]


def _row(records: LineRecords, answer: dict[str, Any], today: date) -> dict[str, Any]:
    return {
        "gas_line_id": records.line.id,
        "tag": records.line.tag,
        "name": records.line.name or records.line.tag,
        "cylinder": None if records.cylinder is None else records.cylinder.name or records.cylinder.tag,
        "charge_kg": None if records.specification is None else records.specification.charge_kg,
        **{name: answer[name] for name in KEPT},
        "words": _words(answer, today),
    }


def _words(answer: dict[str, Any], today: date) -> str:
    if answer["remaining"] is None:
        return "Not known."
    by: date | None = answer["change_by"]
    if by is None:
        return "No date from these records."
    if by <= today:
        return "Change the cylinder now."
    year = "" if by.year == today.year else f" {by.year}"
    return f"Change the cylinder by {by:%A} {by.day} {by:%B}{year}."
