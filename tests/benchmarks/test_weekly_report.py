"""The weekly report of a large site: time, memory and queries are printed; ratios in one run are asserted.

`pytest -m benchmark -s tests/benchmarks/test_weekly_report.py`
"""

from __future__ import annotations

import resource
import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from time import perf_counter, process_time
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import event
from support.large_site import write_large_site
from support.pdf import count_pages

from service.access.caller import Scope
from service.reports.page import render_html
from service.reports.printed.weekly import weekly_pages
from service.reports.weekly.compute import weekly_report
from service.reports.weekly.weeks import week_named
from service.resources.places.sites import queries as sites
from service.storage import migrating
from service.storage.database import Database

pytestmark = pytest.mark.benchmark

FEW, MANY, ROUNDS = 10, 500, 3
END = datetime(2026, 11, 22, 18, tzinfo=UTC)
GOAL_SECONDS = 1.5  # data and HTML of 500 systems
GOAL_PDF = "10 s and 350 MB"  # of 500 systems


@dataclass(frozen=True)
class Measured:
    """One site's report: processor seconds for data and page (the best of some rounds), queries, and what it holds."""

    data: float
    html: float
    queries: int
    report: dict[str, Any]

    @property
    def whole(self) -> float:
        """Data and page together."""
        return self.data + self.html


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """A database with two sites, one small and one large, half a year of records each."""
    url = f"sqlite:///{tmp_path_factory.mktemp('large') / 'ooid.db'}"
    migrating.upgrade(url)
    database = Database(url)
    for systems in (FEW, MANY):
        write_large_site(database, systems=systems, end=END, tag=f"hall-{systems}")
    yield database
    database.close()


def reported(database: Database, systems: int) -> dict[str, Any]:
    """The report of the site with so many systems."""
    with database.read() as session:
        site = sites.named(session, Scope(None), f"hall-{systems}")
        week = week_named("2026-W47", ZoneInfo(site.time_zone))
        return weekly_report(session, site, week, now=week.end)


def measured(database: Database, systems: int) -> Measured:
    """The report of the site with so many systems, made some times."""
    sent: list[str] = []

    def count(*call: Any) -> None:
        sent.append(call[2])

    event.listen(database.engine, "before_cursor_execute", count)
    data, html, report = [], [], {}
    for _ in range(ROUNDS):
        sent.clear()
        began = process_time()
        report = reported(database, systems)
        computed = process_time()
        render_html(report)
        data.append(computed - began)
        html.append(process_time() - computed)
    event.remove(database.engine, "before_cursor_execute", count)
    return Measured(min(data), min(html), len(sent), report)


def test_a_report_of_five_hundred_systems_is_far_cheaper_than_fifty_of_ten(large: Database) -> None:
    few, many = measured(large, FEW), measured(large, MANY)
    for found in (few, many):
        rows = {name: len(found.report[name]) for name in ("lines", "reactors", "gas", "due")}
        print(
            f"\n{rows}: data {found.data:.2f} s, HTML {found.html:.2f} s, {found.queries} queries"
            f" (goal for {MANY}: {GOAL_SECONDS} s)"
        )
    print(f"{MANY / FEW:.0f} times the systems take {many.whole / few.whole:.1f} times as long")
    assert many.queries == few.queries
    assert many.whole < MANY / FEW * few.whole * 0.8  # what grows with the square would be far above


def test_memory_stays_within_bounds(large: Database) -> None:
    """Traced: Python's and numpy's own allocations, above what was there before."""
    reported(large, FEW)
    tracemalloc.start()
    report = reported(large, MANY)
    size = len(render_html(report))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(f"\npeak {peak / 1e6:.0f} MB for a page of {size / 1e6:.1f} MB")
    assert peak < 1e9


def test_printing_grows_with_the_pages_and_no_faster(large: Database) -> None:
    """Wall-clock time of HTML, layout and PDF together; memory is that of the largest child."""
    taken = {}
    for systems in (FEW, MANY):
        report = reported(large, systems)
        began = perf_counter()
        made = weekly_pages(report, at=END, paper="a4")
        taken[systems] = perf_counter() - began
        print(f"\n{systems} systems: {count_pages(made)} pages, {len(made) / 1e6:.1f} MB in {taken[systems]:.1f} s")
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{peak:.0f} MB of memory for {MANY} systems (goal: {GOAL_PDF})")
    assert taken[MANY] < MANY / FEW * taken[FEW]
