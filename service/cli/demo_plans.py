"""What is done again and again in the invented hall, by plan; some of the jobs are forgotten."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.access.caller import Work
from service.cli.demo_description import Described
from service.cli.demo_places import PLACES, REACTORS
from service.resources.keeping.things import described
from service.resources.records.maintenance_plans.actions import MAINTENANCE_PLANS
from service.resources.records.maintenance_plans.models import MaintenancePlanSent

DOSED = tuple(code for code, place in PLACES.items() if place.dosing_pump)
ON_LIMEWATER = tuple(code for code, place in PLACES.items() if place.stirrer)


@dataclass(frozen=True)
class Plan:
    """One job on the same part of several systems, in the words of the events that do it."""

    what: str
    kind: str
    recurrence: str
    systems: tuple[str, ...]
    subject: str
    procedure: str | None = None


PLANS = (
    Plan("low-pH cut-off tested", "inspection", "FREQ=MONTHLY", tuple(REACTORS), "reactor",
         "low_ph_cut_off_test"),
    Plan("gas joints searched with soapy water", "inspection", "FREQ=MONTHLY", tuple(REACTORS), "reactor"),
    Plan("reactor stripped down and lines renewed", "predetermined", "FREQ=MONTHLY;INTERVAL=6", tuple(REACTORS),
         "reactor", "half_yearly_strip_down"),
    Plan("drip line cleaned", "condition_based", "FREQ=WEEKLY;INTERVAL=4", tuple(REACTORS), "reactor"),
    Plan("pH probe calibrated in two buffers", "calibration", "FREQ=MONTHLY", tuple(REACTORS), "probe"),
    Plan("skimmer cup emptied and neck cleaned", "predetermined", "FREQ=WEEKLY", tuple(REACTORS), "system"),
    Plan("dosing pump head checked and calibrated by measuring cylinder", "predetermined", "FREQ=WEEKLY;INTERVAL=6",
         DOSED, "pump"),
    Plan("limewater stirrer rinsed and refilled", "predetermined", "FREQ=WEEKLY;INTERVAL=3", ON_LIMEWATER, "top_off"),
    Plan("mechanical filter changed", "predetermined", "FREQ=DAILY;INTERVAL=4", ("NURSERY", "SHALLOWS", "RACKS"),
         "system"),
)  # fmt: skip


def describe_plans(work: Work, found: Described, start: datetime) -> None:
    """The plans, described as the season begins: an interval after each job it is due again."""
    for plan in PLANS:
        for code in plan.systems:
            body = {
                "subject_id": found.subjects[code, plan.subject],
                "what": plan.what,
                "kind": plan.kind,
                "recurrence": plan.recurrence,
                "from": start.isoformat(),
                "procedure": plan.procedure,
            }
            described(work, MAINTENANCE_PLANS, MaintenancePlanSent.model_validate(body))
