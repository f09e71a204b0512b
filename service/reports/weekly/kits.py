"""Do the site's kits read true? Every system tested with a lot says something of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from service.computations.consumption.answer import Scaled
from service.computations.consumption.kit import kit_finding, lot_in_use, steps_seen
from service.reports.weekly.lines import QUANTITY, Pair


def kits(estimated: Mapping[UUID, Pair], scaled: Scaled) -> dict[UUID, list[dict[str, Any]]]:
    """What reads wrong among the lots in use, each told once, with the first system that is tested with it."""
    known = {system_id: pair.now for system_id, pair in estimated.items() if pair.now is not None}
    steps = {
        system_id: steps_seen(estimate, gathered.course.lot_ids) for system_id, (gathered, estimate) in known.items()
    }
    with_steps = {system_id: seen for system_id, seen in steps.items() if seen}
    found: dict[UUID, list[dict[str, Any]]] = {}
    told: set[UUID] = set()
    for system_id, (gathered, estimate) in known.items():
        course = gathered.course
        beside = [step for other, seen in with_steps.items() if other != system_id for step in seen]
        lot = lot_in_use(estimate, course.lot.tolist(), course.lot_ids, gathered.standards, beside)
        if lot is None or lot.lot_id in told:
            continue
        told.add(lot.lot_id)
        remark = kit_finding(lot, quantity=QUANTITY, level=scaled.level, unit=scaled.level_unit, system_id=system_id)
        found[system_id] = [remark]
    return found
