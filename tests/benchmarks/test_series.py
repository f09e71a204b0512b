"""Probe series against SQLite itself, in one run on one machine: figures are printed, loose ratios asserted.

The floor is what the same points cost as plain rows: `executemany` and `fetchall` of sqlite3 on a table clustered by
(series, instant), the fastest row schema there is, with the service's own durability.
`pytest -m benchmark -s tests/benchmarks/test_series.py`
"""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any
from uuid import UUID, uuid4

import httpx
import numpy as np
import orjson
import pytest
from sqlalchemy import text
from support.house import House

from service.resources.records.series.models import series_id
from service.resources.records.series.queries import hours
from service.storage.types import microseconds

pytestmark = pytest.mark.benchmark

ROUNDS, BATCH, RANGE = 5, 10_000, 1_000_000
ROWS = """CREATE TABLE points (series INTEGER, at INTEGER, value REAL, batch INTEGER, PRIMARY KEY (series, at))
WITHOUT ROWID"""
NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


class Rows:
    """The floor: the same points as rows of a plain SQLite file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.connection = sqlite3.connect(path, isolation_level=None)
        for pragma in ("journal_mode=wal", "synchronous=full"):
            self.connection.execute(f"PRAGMA {pragma}")
        self.connection.execute(ROWS)

    def store(self, at_us: np.ndarray, value: np.ndarray, series: int = 1) -> None:
        """One transaction, from lists to the disk."""
        rows = [(series, at, each, 1) for at, each in zip(at_us.tolist(), value.tolist(), strict=True)]
        self.connection.execute("BEGIN IMMEDIATE")
        self.connection.executemany("INSERT INTO points VALUES (?, ?, ?, ?)", rows)
        self.connection.execute("COMMIT")


@pytest.fixture
def rows(tmp_path: Path) -> Iterator[Rows]:
    """An empty floor."""
    found = Rows(tmp_path / "rows.db")
    yield found
    found.connection.close()


def signal(count: int, end: datetime) -> tuple[np.ndarray, np.ndarray]:
    """Minutes of pH to three decimals, the last at `end`."""
    at_us = microseconds(end) - 60_000_000 * np.arange(count - 1, -1, -1)
    wander = np.random.default_rng(1).normal(0, 0.004, count).cumsum()
    return at_us, np.round(8.2 + 0.1 * np.sin(wander), 3)


def body(subject_id: str, at_us: np.ndarray, value: np.ndarray) -> bytes:
    """The request's body, as a script would send it."""
    return orjson.dumps(
        {
            "subject_id": subject_id,
            "quantity": "ph",
            "unit": "[pH]",
            "taken_at": at_us.astype("M8[us]"),
            "value": value,
        },
        option=orjson.OPT_SERIALIZE_NUMPY | orjson.OPT_NAIVE_UTC,
    )


def reading(subject_id: str) -> dict[str, Any]:
    """One reading, for comparison."""
    return {"subject_id": subject_id, "quantity": "ph", "value": 8.2, "unit": "[pH]", "taken_at": NOW}


def seconds(work: Callable[[], Any]) -> float:
    """How long it takes."""
    start = perf_counter()
    work()
    return perf_counter() - start


class Client:
    """Asks the app itself, in one conversation: no network, everything else."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.loop = asyncio.new_event_loop()
        self.client = httpx.AsyncClient(
            transport=httpx.ASGITransport(app=house.app),
            base_url="http://ooid.test",
            headers={"Authorization": f"Bearer {house.administrator}", "Accept-Encoding": "identity"},
        )

    def ask(self, method: str, path: str, content: bytes | None = None) -> bytes:
        """The body of a response that must be a success."""
        headers = {"Content-Type": "application/json"} if content else {}
        response = self.loop.run_until_complete(self.client.request(method, path, content=content, headers=headers))
        assert response.is_success, response.text[:500]
        return response.content

    def close(self) -> None:
        """End the conversation."""
        self.loop.run_until_complete(self.client.aclose())
        self.loop.close()


@pytest.fixture
def client(house: House) -> Iterator[Client]:
    """A conversation with a fresh house."""
    found = Client(house)
    yield found
    found.close()


def fill(client: Client, subject_id: str, count: int) -> None:
    """Send so many minutes in the largest batches."""
    at_us, value = signal(count, NOW)
    for first in range(0, count, 50_000):
        part = slice(first, first + 50_000)
        client.ask("POST", "/v1/series", body(subject_id, at_us[part], value[part]))


@pytest.mark.parametrize("size", [1_000, BATCH])
def test_a_batch_costs_little_beside_its_rows(client: Client, rows: Rows, size: int) -> None:
    """A thousand points are over before the request is: there the measure is what one reading costs."""
    system = client.house.a_system()["id"]
    ours, floor, again, single = [], [], [], []
    for number in range(ROUNDS + 1):
        at_us, value = signal(size, NOW - timedelta(minutes=size * number))
        content = body(system, at_us, value)
        ours.append(seconds(lambda content=content: client.ask("POST", "/v1/series", content)))
        floor.append(seconds(lambda at_us=at_us, value=value: rows.store(at_us, value)))
        again.append(seconds(lambda content=content: client.ask("POST", "/v1/series", content)))
        single.append(seconds(lambda: client.ask("PUT", f"/v1/readings/{uuid4()}", orjson.dumps(reading(system)))))
    ours_s, floor_s, again_s, single_s = (median(each[1:]) for each in (ours, floor, again, single))
    print(
        f"\n{size} points: POST {size / ours_s / 1000:.0f} k points/s ({1000 * ours_s:.1f} ms; sent again "
        f"{1000 * again_s:.1f} ms), raw executemany of rows {size / floor_s / 1000:.0f} k rows/s: "
        f"{floor_s / ours_s:.2f} of it (goal 0.5 for 10,000); one reading {1000 * single_s:.1f} ms"
    )
    assert ours_s < 4 * single_s if size < BATCH else floor_s / ours_s > 0.25


def test_a_million_points_are_read_as_fast_as_rows(client: Client, rows: Rows) -> None:
    system = client.house.a_system()["id"]
    fill(client, system, RANGE)
    rows.store(*signal(RANGE, NOW))
    path = f"/v1/series?subject_id={system}&quantity=ph&limit={RANGE}"
    select = "SELECT at, value FROM points WHERE series = 1"
    ours = median(seconds(lambda: client.ask("GET", path)) for _ in range(ROUNDS))
    csv = median(seconds(lambda: client.ask("GET", f"{path}&format=csv")) for _ in range(3))
    floor = median(seconds(lambda: rows.connection.execute(select).fetchall()) for _ in range(ROUNDS))
    assert len(orjson.loads(client.ask("GET", path))["value"]) == RANGE
    plot = median(
        seconds(lambda: client.ask("GET", f"/v1/series?subject_id={system}&quantity=ph&resolution=PT17H"))
        for _ in range(ROUNDS)
    )
    fine = median(
        seconds(lambda: client.ask("GET", f"/v1/series?subject_id={system}&quantity=ph&resolution=PT10M"))
        for _ in range(ROUNDS)
    )
    print(
        f"\n{RANGE} points over the app: JSON {1000 * ours:.0f} ms, CSV {1000 * csv:.0f} ms; fetchall of rows "
        f"{1000 * floor:.0f} ms: {ours / floor:.2f} of it (goal 1.3). About 1,000 spans of them: {1000 * plot:.1f} ms "
        f"(goal 15); 100,000 spans of ten minutes {1000 * fine:.0f} ms"
    )
    assert ours / floor < 2.6
    assert plot < ours


def test_a_reading_takes_few_bytes_on_disk(client: Client) -> None:
    house = client.house
    system = house.a_system()["id"]
    with house.database.write() as session:
        before = session.execute(text("PRAGMA page_count")).scalar_one()
    fill(client, system, 500_000)
    with house.database.engine.connect() as connection:
        size = connection.execute(text("PRAGMA page_size")).scalar_one()
        minutes = (connection.execute(text("PRAGMA page_count")).scalar_one() - before) * size / 500_000
        before = connection.execute(text("PRAGMA page_count")).scalar_one()
    at_us = microseconds(NOW) - 3_600_000_000 * np.arange(40_000 - 1, -1, -1)
    content = body(house.a_system()["id"], at_us, np.full(40_000, 8.2))
    client.ask("POST", "/v1/series", content)
    with house.database.engine.connect() as connection:
        hourly = (connection.execute(text("PRAGMA page_count")).scalar_one() - before) * size / 40_000
    print(f"\nbytes a reading, hours and trail included: every minute {minutes:.1f}, every hour {hourly:.1f} (goal 32)")
    assert minutes < 32
    assert hourly < 64


def test_the_hours_of_many_series_are_one_query(client: Client) -> None:
    house = client.house
    site = house.a_site()
    at_us, value = signal(10_080, NOW)
    systems = [house.a_system(site)["id"] for _ in range(40)]
    for system in systems:
        client.ask("POST", "/v1/series", body(system, at_us, value))
    ids = [series_id(UUID(system), "ph", None) for system in systems]
    with house.database.read() as session:
        took = median(seconds(lambda: hours(session, ids, int(at_us[0]), int(at_us[-1]))) for _ in range(ROUNDS))
    print(f"\na week of 40 probes by the minute, by hours: {1000 * took:.1f} ms; 1,000 probes {25 * took:.2f} s")
    assert 25 * took < 1.5
