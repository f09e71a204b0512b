"""A site's week, computed for all its systems, reactors and gas lines at once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlmodel import Session

from service import __version__
from service.computations.answers import sources_of
from service.computations.consumption.answer import ASSUMED, SCALES
from service.computations.consumption.gather import gather_several
from service.reports.weekly import happenings, upkeep
from service.reports.weekly.findings import Remark, merged, together, told
from service.reports.weekly.gas import gas_of
from service.reports.weekly.headline import headline
from service.reports.weekly.ions import ions, scaled_for, target_of
from service.reports.weekly.kits import kits
from service.reports.weekly.lines import QUANTITY, SHOWN, Known, Pair, last_tested, line, pairs, tested, withhold_advice
from service.reports.weekly.reactors import reactors_of
from service.reports.weekly.tasks import to_do, to_order
from service.reports.weekly.water import waters
from service.reports.weekly.weeks import Week
from service.resources.equipment.feeds.queries import feeds_into
from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.resources.places.sites.models import Site
from service.resources.places.systems import queries as systems
from service.resources.places.systems.models import System
from service.science.consumption import estimate_consumption
from service.storage.trail import head

Settings = Mapping[UUID, Sequence[SetPoint]]
RECORDS = timedelta(days=180)
JUST_AFTER = timedelta(microseconds=1)

SUPPLY_ASSUMED = "What a system got is what it took plus what its level rose: the balance of the week, not a meter."
CAUTIONS = (
    "The service records and computes; it switches nothing and is no safety system.",
    "Change alkalinity slowly: many keepers allow 0.36 meq/L (1 dKH) a day at most (common practice).",
    "CO2 is toxic at a few per cent in air while oxygen still reads normal. Follow local codes, the gas supplier's "
    "instructions and the site's own safety officer.",
)


def weekly_report(
    session: Session, site: Site, week: Week, *, now: datetime, found: Mapping[UUID, Sequence[Remark]] | None = None
) -> dict[str, Any]:
    """The report of one week of a site; the number of queries does not grow with what stands on it.

    `found`: what other computations found, by subject; it joins the findings of that subject's row.
    """
    at = min(week.end, now)
    today = at.astimezone(week.zone).date()
    of_site = systems.of_site(session, site.id)
    settings = set_points.history(session, [system.id for system in of_site])
    gathered = gather_several(session, of_site, [*SCALES, "nitrate"], start=at - RECORDS, end=at + JUST_AFTER)
    estimated = pairs(gathered[QUANTITY], QUANTITY, at=at)
    ions_of = ions(gathered, settings, site, week, at)
    known = _known(session, site, of_site, settings, at)
    scaled = scaled_for(site, QUANTITY)
    lines = [
        {**line(system, week, estimated[system.id], known[system.id], scaled), "ions": ions_of[system.id]}
        for system in of_site
    ]
    alkalinity = {system_id: pair.now for system_id, pair in estimated.items() if pair.now is not None}
    reactors = reactors_of(session, site, at, lines, alkalinity, scaled)
    gas = gas_of(session, site, at, week.zone)
    plans = upkeep.due_of(session, site, at)
    found = together(waters(gathered, estimated, week, at=at), kits(estimated, scaled), found or {})
    elsewhere = merged(found, lines=lines, reactors=reactors, gas=gas)
    withhold_advice(lines)
    names = happenings.labels(session, {*(due.plan.subject_id for due in plans), *found})
    due = [upkeep.shown(each, names) for each in plans]
    findings = told(lines=lines, reactors=reactors, gas=gas, elsewhere=elsewhere, names=names)
    corrections = happenings.corrections(session, site.id, week.start, week.end)
    unlogged = _unlogged(of_site, estimated, week)
    rows = {"lines": lines, "reactors": reactors, "gas": gas, "findings": findings, "due": due}
    chain = head(session, site.id)
    return {
        "site": {"id": site.id, "tag": site.tag, "name": site.name, "time_zone": site.time_zone},
        "week": week.name,
        "from": week.start,
        "to": week.end,
        "hours": week.hours,
        "at": at.astimezone(week.zone),
        "program_version": __version__,
        "audit_seq": chain.seq if chain else 0,
        "headline": headline(
            **rows,
            lost=happenings.lost(lines, week.start),
            unlogged=len(unlogged),
            corrections=len(corrections),
            at=at,
            zone=week.zone,
        ),
        "to_do": to_do(**rows, today=today),
        "to_order": to_order(gas, reactors, today=today),
        **rows,
        "maintenance": happenings.work_done(session, site.id, week.start, week.end),
        "corrections": corrections,
        "unlogged": unlogged,
        "assumptions": list(dict.fromkeys([*ASSUMED, SUPPLY_ASSUMED, *_assumptions(estimated)])),
        "sources": sources_of(estimate_consumption),
        "cautions": list(CAUTIONS),
    }


def _known(
    session: Session, site: Site, of_site: Sequence[System], settings: Settings, at: datetime
) -> dict[UUID, Known]:
    ids = [system.id for system in of_site]
    scaled = scaled_for(site, QUANTITY)
    fed = {feed.system_id for feed in feeds_into(session, ids) if feed.span.holds_at(at)}
    events = happenings.of_systems(session, of_site, at - SHOWN, at)
    known = {}
    for system_id in ids:
        volume = set_points.in_force(settings[system_id], at).get("water_volume")
        known[system_id] = Known(
            target=target_of(settings[system_id], QUANTITY, at, scaled),
            events=events[system_id],
            litres=None if volume is None else volume.value,
            is_fed=system_id in fed,
        )
    return known


def _unlogged(of_site: Sequence[System], estimated: Mapping[UUID, Pair], week: Week) -> list[dict[str, Any]]:
    rows = []
    for system in of_site:
        pair = estimated[system.id].now
        if pair is None or not tested(pair[0], week):
            last = None if pair is None else last_tested(pair[0])
            rows.append({"system": system.name, "quantity": QUANTITY, "last_at": last})
    return rows


def _assumptions(estimated: Mapping[UUID, Pair]) -> list[str]:
    return [sentence for pair in estimated.values() if pair.now for sentence in pair.now[0].inputs.assumptions]
