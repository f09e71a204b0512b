"""What is done again and again in the invented hall, by plan; one of the jobs is forgotten."""

from __future__ import annotations

from datetime import datetime, timedelta

from service.access.caller import Work
from service.cli.demo_description import Described
from service.resources.keeping.things import described
from service.resources.records.maintenance_plans.actions import MAINTENANCE_PLANS
from service.resources.records.maintenance_plans.models import MaintenancePlanSent

PLANS = (  # system, subject, what, kind, recurrence, first day of the season on which it is due
    ("LAGOON", "system", "skimmer cup emptied and neck cleaned", "predetermined", "FREQ=WEEKLY", 2),
    ("LAGOON", "probe", "pH probe calibrated in two buffers", "calibration", "FREQ=WEEKLY;INTERVAL=4", 5),
    ("LAGOON", "reactor", "low-pH cut-off tested", "inspection", "FREQ=MONTHLY", 12),
    ("LAGOON", "reactor", "drip line cleaned", "condition_based", "FREQ=WEEKLY;INTERVAL=3", 21),
    ("LAGOON", "reactor", "gas joints searched with soapy water", "inspection", "FREQ=MONTHLY", 68),
    ("NURSERY", "system", "mechanical filter changed", "predetermined", "FREQ=DAILY;INTERVAL=4", 3),
    ("QUARANTINE", "system", "limewater stirrer rinsed and refilled", "predetermined", "FREQ=WEEKLY;INTERVAL=3", 13),
)


def describe_plans(work: Work, found: Described, start: datetime) -> None:
    """The plans, described as the season begins."""
    for system, subject, what, kind, recurrence, first in PLANS:
        body = {
            "subject_id": found.subjects[system, subject],
            "what": what,
            "kind": kind,
            "recurrence": recurrence,
            "from": (start + timedelta(days=first)).isoformat(),
        }
        described(work, MAINTENANCE_PLANS, MaintenancePlanSent.model_validate(body))
