"""The invented site of `ooid demo`: a holding hall with three systems, and a season of what its people recorded.

Everything here is invented: the hall, its people, its numbers. The water is simulated (`service.simulation`), so the
site tells a story that the answers can be held against; see shared/scenario/demo.toml.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from service.access.caller import Work
from service.cli.demo_description import Described, describe_site
from service.cli.demo_plans import describe_plans
from service.cli.demo_records import acts_of
from service.cli.demo_series import perform, uploads_of
from service.cli.opening import EVERY_SITE, OPERATOR
from service.cli.progress import Progress
from service.resources.places.sites.queries import visible
from service.simulation import load_scenario, simulate
from service.storage.database import Database

SCENARIO, SEED = "demo", 1
ZONE = ZoneInfo("Europe/Berlin")
ACTS_A_TRANSACTION = 250


def build(database: Database, *, today: date, progress: Progress) -> None:
    """Describe the site and record its season, ending today; a database that has a site is left as it is."""
    with database.read() as session:
        if visible(session, EVERY_SITE):
            return
    progress("Simulating twelve weeks of three systems ...")
    site = simulate(SCENARIO, SEED)
    start = datetime(today.year, today.month, today.day, tzinfo=ZONE) - timedelta(days=load_scenario(SCENARIO).days)
    progress("Describing the site and its equipment ...")
    with database.write() as session:
        work = Work(session, OPERATOR, start)
        described = describe_site(work, site.systems, start)
        describe_plans(work, described, start)
    _record(
        database,
        described,
        [
            act
            for system in site.systems
            for act in (*acts_of(system, described, start), *uploads_of(system, described, start))
        ],
        progress,
    )


def _record(
    database: Database, described: Described, acts: list[tuple[datetime, UUID, object]], progress: Progress
) -> None:
    """Perform every act in the order of time, as if each had been recorded when it happened."""
    acts.sort(key=lambda act: act[0])
    for first in range(0, len(acts), ACTS_A_TRANSACTION):
        progress(f"Recording {first} of {len(acts)} readings, additions and jobs ...")
        with database.write() as session:
            for at, caller_id, act in acts[first : first + ACTS_A_TRANSACTION]:
                perform(Work(session, described.staff[caller_id], at), act)
