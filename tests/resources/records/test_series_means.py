"""Means of series over hours, days and other spans: each against a plain loop over the points."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import datetime, timedelta
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from support.house import House
from support.probes import batch, read, send


def by_hand(body: dict[str, Any], start_of: Callable[[datetime], datetime]) -> list[tuple[Any, ...]]:
    """Start, mean, count, lowest and highest of each span, by a loop."""
    spans: dict[datetime, list[float]] = defaultdict(list)
    for text, value in zip(body["taken_at"], body["value"], strict=True):
        spans[start_of(datetime.fromisoformat(text))].append(value)
    return [(at, fmean(values), len(values), min(values), max(values)) for at, values in sorted(spans.items())]


def shown(columns: dict[str, Any]) -> list[tuple[Any, ...]]:
    """The same from an answer."""
    names = ("value", "count", "low", "high")
    starts = [datetime.fromisoformat(text) for text in columns["taken_at"]]
    return list(zip(starts, *(columns[name] for name in names), strict=True))


def alike(found: list[tuple[Any, ...]], expected: list[tuple[Any, ...]]) -> None:
    """The same spans with the same numbers."""
    assert [row[0] for row in found] == [row[0] for row in expected]
    assert [row[2] for row in found] == [row[2] for row in expected]
    for place in (1, 3, 4):
        assert [row[place] for row in found] == pytest.approx([row[place] for row in expected], abs=1e-12)


def floored(minutes: int) -> Callable[[datetime], datetime]:
    """The start of an instant's span, counted from 1970 UTC."""
    return lambda at: datetime.fromtimestamp(at.timestamp() // (60 * minutes) * 60 * minutes, tz=ZoneInfo("UTC"))


def signal(count: int) -> list[float]:
    """Values that differ."""
    return np.round(8.2 + np.random.default_rng(4).normal(0, 0.1, count), 3).tolist()


@pytest.mark.parametrize("every", [timedelta(seconds=20), timedelta(minutes=7), timedelta(hours=5)])
@pytest.mark.parametrize(("resolution", "minutes"), [("hour", 60), ("PT10M", 10), ("PT6H", 360), ("PT90M", 90)])
def test_spans_are_those_of_a_loop(house: House, every: timedelta, resolution: str, minutes: int) -> None:
    system = house.a_system()["id"]
    body = batch(system, signal(900), end=house.now - timedelta(minutes=1), every=every)
    half = len(body["value"]) // 2
    for part in (slice(half, None), slice(0, half)):  # two batches meet within a span
        send(house, {**body, "taken_at": body["taken_at"][part], "value": body["value"][part]})
    alike(shown(read(house, system, f"&resolution={resolution}")), by_hand(body, floored(minutes)))


@pytest.mark.parametrize(
    ("zone", "end"),
    [
        ("Europe/Oslo", datetime(2025, 4, 2, 9, tzinfo=ZoneInfo("UTC"))),  # 30 March 2025 had 23 hours there
        ("Europe/Oslo", datetime(2025, 10, 28, 9, tzinfo=ZoneInfo("UTC"))),  # 26 October 25
        ("Asia/Kolkata", datetime(2026, 2, 2, 9, tzinfo=ZoneInfo("UTC"))),  # half an hour beside the others
        ("Australia/Lord_Howe", datetime(2026, 2, 2, 9, tzinfo=ZoneInfo("UTC"))),
    ],
)
def test_days_are_the_sites(house: House, zone: str, end: datetime) -> None:
    system = house.a_system(house.a_site(time_zone=zone))["id"]
    body = batch(system, signal(2000), end=end, every=timedelta(minutes=5))
    send(house, body)

    def midnight(at: datetime) -> datetime:
        return at.astimezone(ZoneInfo(zone)).replace(hour=0, minute=0, second=0, microsecond=0)

    alike(shown(read(house, system, "&resolution=day")), by_hand(body, midnight))


def test_a_window_gives_whole_spans(house: House) -> None:
    system = house.a_system()["id"]
    body = batch(system, signal(600), end=house.now)
    send(house, body)
    whole = shown(read(house, system, "&resolution=hour"))
    part = read(house, system, "&resolution=hour&from=2026-03-02T04:30:00Z&to=2026-03-02T08:10:00Z")
    assert shown(part) == [row for row in whole if 5 <= row[0].hour <= 8]


def test_spans_come_in_pages(house: House) -> None:
    system = house.a_system()["id"]
    send(house, batch(system, signal(3000), end=house.now))
    whole = read(house, system, "&resolution=PT10M")["value"]
    path, found = f"/v1/series?subject_id={system}&quantity=ph&resolution=PT10M&limit=70", []
    while path:
        response = house.send("GET", path)
        found += response.json()["value"]
        path = response.links.get("next", {}).get("url", "")
    assert found == whole


def test_dense_blocks_are_summed_up_once_and_sparse_ones_are_not(house: House) -> None:
    """What an hour comes to must not depend on how the points were sent."""
    one, many = house.a_system()["id"], house.a_system()["id"]
    body = batch(one, signal(240), end=house.now)
    send(house, body)
    for first in range(0, 240, 5):
        part = slice(first, first + 5)
        send(house, {**body, "subject_id": many, "taken_at": body["taken_at"][part], "value": body["value"][part]})
    alike(*(shown(read(house, system, "&resolution=hour")) for system in (one, many)))
