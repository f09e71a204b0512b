"""Check standards: what a kit read of water that somebody says holds so much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from sqlmodel import Session, col, select

from service.resources.catalogue.methods.queries import repeatabilities
from service.resources.keeping.records import RECORDED
from service.resources.records.queries import SMALLEST_SD
from service.resources.records.readings.models import Reading
from service.science.quantities import stated_value


@dataclass(frozen=True)
class StandardRead:
    """A check standard as it was read with a lot: canonical value, what it is said to hold, sd of the reading."""

    lot_id: UUID
    at: datetime
    value: float
    stated: float
    sd: float


def check_standards(
    session: Session, site_ids: Sequence[UUID], quantities: Sequence[str], *, start: datetime, end: datetime
) -> dict[str, dict[UUID, list[StandardRead]]]:
    """The check standards of each quantity read at each site with a known lot and stated value, in time order.

    One query for all: it walks everything that was read on the sites in the time.
    """
    statement = (
        select(Reading)
        .where(
            col(Reading.site_id).in_(site_ids),
            col(Reading.quantity).in_(quantities),
            col(Reading.purpose) == "check_standard",
            col(Reading.state) == RECORDED,
            col(Reading.lot_id).is_not(None),
            col(Reading.at) >= start,
            col(Reading.at) < end,
        )
        .order_by(col(Reading.at), col(Reading.id))
    )
    rows = list(session.exec(statement))
    repeats = repeatabilities(session, list({(row.quantity, row.method) for row in rows}))
    found: dict[str, dict[UUID, list[StandardRead]]] = {
        quantity: {site_id: [] for site_id in site_ids} for quantity in quantities
    }
    for row in rows:
        stated = stated_value(row.quantity, row.entered.get("conditions") or {})
        if stated is None or row.lot_id is None:
            continue
        repeatability = repeats[row.quantity, row.method]
        sd = abs(row.relative_sd * row.value) if row.relative_sd is not None else repeatability.at(row.value)
        found[row.quantity][row.site_id].append(
            StandardRead(row.lot_id, row.at, row.value, stated, max(sd, SMALLEST_SD))
        )
    return found
