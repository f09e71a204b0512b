"""The invented site of `ooid demo`: a holding hall with twelve systems, and half a year of what its people recorded.

Everything here is invented: the hall, its people, its numbers. The water is simulated (`service.simulation`), so the
site tells a story that the answers can be held against; see shared/scenario/demo.toml.
"""

from __future__ import annotations

from datetime import date, datetime
from uuid import UUID

from sqlmodel import select

from service.access.caller import Work
from service.cli.demo_acts import Act
from service.cli.demo_commissionings import StepTaken, runs_of
from service.cli.demo_description import Described, describe_site
from service.cli.demo_plans import describe_plans
from service.cli.demo_records import acts_of
from service.cli.demo_season import Season, begin_season
from service.cli.demo_series import perform, uploads_of
from service.cli.opening import EVERY_SITE, OPERATOR
from service.cli.progress import Progress
from service.resources.catalogue.lots.models import Lot
from service.resources.catalogue.methods.models import Method
from service.resources.places.sites.queries import visible
from service.resources.records.series.models import SeriesSent
from service.simulation import load_scenario, simulate
from service.storage.database import Database
from service.storage.subjects import Subject

Dated = tuple[datetime, UUID, Act | SeriesSent | StepTaken]
SCENARIO, SEED = "demo", 1
ACTS_A_TRANSACTION = 150


def build(database: Database, *, today: date, progress: Progress) -> None:
    """Describe the site and record its season, ending today; a database that has a site is left as it is."""
    with database.read() as session:
        if visible(session, EVERY_SITE):
            return
    progress("Simulating half a year of twelve systems ...")
    scenario = load_scenario(SCENARIO)
    site = simulate(scenario, SEED)
    start = begin_season(today, scenario.days)
    progress("Describing the site and its equipment ...")
    with database.write() as session:
        work = Work(session, OPERATOR, start)
        described = describe_site(work, scenario, site, start)
        describe_plans(work, described, start)
    season = Season(described, start)
    acts: list[Dated] = [*acts_of(site, scenario, season), *runs_of(season, scenario.days)]
    acts += (upload for system in site.systems for upload in uploads_of(system, described, start))
    _record(database, described, acts, progress)


def _record(database: Database, described: Described, acts: list[Dated], progress: Progress) -> None:
    """Perform every act in the order of time, as if each had been recorded when it happened."""
    acts.sort(key=lambda act: act[0])
    for first in range(0, len(acts), ACTS_A_TRANSACTION):
        progress(f"Recording {first} of {len(acts)} rounds, additions and jobs ...")
        with database.write() as session:
            # held, so that every record's look-up of its subject, method and lot finds them in memory
            session.info["held"] = [row for table in (Subject, Method, Lot) for row in session.exec(select(table))]
            for at, caller_id, act in acts[first : first + ACTS_A_TRANSACTION]:
                work = Work(session, described.staff[caller_id], at)
                if isinstance(act, StepTaken):
                    act.take(work)
                else:
                    perform(work, act)
