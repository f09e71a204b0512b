"""What the water of each system says: nitrate that takes alkalinity, salinity that moves, carbonate that fell out."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from service.computations.consumption.gather import Gathered
from service.computations.consumption.water import Beside, carbonate_lost, nitrate_parts, water_findings
from service.reports.weekly.lines import Pair
from service.reports.weekly.weeks import Week

Everything = Mapping[str, Mapping[UUID, Gathered | None]]


def waters(
    gathered: Everything, estimated: Mapping[UUID, Pair], week: Week, *, at: datetime
) -> dict[UUID, list[dict[str, Any]]]:
    """The findings of each system's water now; of what fell out at once, that of the week."""
    known = {system_id: pair.now for system_id, pair in estimated.items() if pair.now is not None}
    if not known:
        return {}
    clock = next(iter(known.values()))[0].clock
    parts = nitrate_parts(gathered["nitrate"], clock.days(at))
    found = {}
    for system_id, (alkalinity, estimate) in known.items():
        beside = Beside(alkalinity, estimate, gathered["calcium"][system_id], parts[system_id])
        lost = [each for each in carbonate_lost(beside) if clock.at(each.at_days) >= week.start]
        found[system_id] = water_findings(alkalinity, beside, lost=lost)
    return found
