"""Calcium and magnesium beside alkalinity: the level, what is used of it, and when it was last read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from service.computations.consumption.answer import SCALES, Scaled, estimates, expected_level, per_day
from service.computations.consumption.gather import Gathered
from service.reports.weekly.lines import last_tested, tested
from service.reports.weekly.weeks import Week
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.codes import TARGET
from service.resources.places.set_points.models import SetPoint
from service.resources.places.sites.models import Site

IONS = tuple(quantity for quantity in SCALES if quantity != "alkalinity")


def scaled_for(site: Site, quantity: str) -> Scaled:
    """Numbers of a quantity in the unit that the site shows it in."""
    shown: str | None = site.units.get(quantity)
    return Scaled(quantity, None if shown is None else per_day(shown))


def target_of(settings: Sequence[SetPoint], quantity: str, at: datetime, scaled: Scaled) -> dict[str, Any] | None:
    """A system's target of a quantity at an instant, in the unit shown."""
    target = set_points.in_force(settings, at).get(TARGET + quantity)
    return None if target is None else {"value": scaled.level(target.value), "unit": scaled.level_unit}


def ions(
    gathered: Mapping[str, Mapping[UUID, Gathered | None]],
    settings: Mapping[UUID, Sequence[SetPoint]],
    site: Site,
    week: Week,
    at: datetime,
) -> dict[UUID, list[dict[str, Any]]]:
    """A row for each of calcium and magnesium that was ever read in a system; one call of the estimator each."""
    found: dict[UUID, list[dict[str, Any]]] = {system_id: [] for system_id in settings}
    for quantity in IONS:
        scaled = scaled_for(site, quantity)
        read = [each for each in gathered[quantity].values() if each is not None and len(each.history.readings.at_days)]
        answers = estimates(read, quantity, at=at) if read else []
        for each, estimate in zip(read, answers, strict=True):
            found[each.system.id].append(
                {
                    "quantity": quantity,
                    "level": expected_level(estimate, scaled),
                    "consumption": scaled.rate_bounds(estimate.value, estimate.low, estimate.high),
                    "target": target_of(settings[each.system.id], quantity, at, scaled),
                    "readings": tested(each, week),
                    "last_at": last_tested(each),
                }
            )
    return found
