"""The invented site of `ooid demo`."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from service.access.caller import Work
from service.cli.opening import EVERY_SITE, OPERATOR
from service.cli.progress import Progress
from service.http.shapes import Amount
from service.resources.keeping.things import described
from service.resources.places.sites.actions import SITES
from service.resources.places.sites.models import SiteSent
from service.resources.places.sites.queries import visible
from service.resources.places.systems.actions import SYSTEMS
from service.resources.places.systems.models import SystemSent
from service.storage.database import Database


def build(database: Database, *, today: date, progress: Progress) -> None:
    """Describe the site and its system; a database that has a site is left as it is."""
    with database.write() as session:
        if visible(session, EVERY_SITE):
            return
        progress("Describing the site ...")
        work = Work(session, OPERATOR, datetime.combine(today, time(), UTC))
        site = described(work, SITES, SiteSent(tag="demo", name="The Reefhouse", time_zone="Europe/Oslo"))
        volume = Amount(value=1200.0, unit="L")
        described(work, SYSTEMS, SystemSent(site_id=site.id, tag="north-1", name="North loop", water_volume=volume))
