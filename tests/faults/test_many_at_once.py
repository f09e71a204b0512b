"""Many at once: nobody fails, nothing is stored twice or lost, and the trail stays one chain."""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any
from uuid import UUID, uuid4

from sqlmodel import col, func, select
from support.house import House
from support.load import content, recorded_times, together, whole_trail
from support.probes import batch, read

from service.resources.records.readings.models import Reading
from service.resources.records.series.checking import faults as series_faults

WRITERS = 100
ROUNDS = 3
PUTS, THREADS, IDS = 800, 40, 20


def test_a_hundred_writers_at_once_are_all_served(house: House, record_property: Callable[[str, object], None]) -> None:
    system = house.a_system()
    took: list[float] = []
    for _ in range(ROUNDS):
        sent = [("PUT", f"/v1/readings/{uuid4()}", {"json": content(house, system)}) for _ in range(WRITERS)]
        answers = together(house, sent)
        assert Counter(status for status, _ in answers) == {201: WRITERS}
        took += [seconds for _, seconds in answers]
    p99 = statistics.quantiles(took, n=100)[98]
    record_property("p99_ms", round(1000 * p99))
    kind = "SQLite" if house.database.is_sqlite else "PostgreSQL"
    print(f"\n{WRITERS} writers on {kind}: median {1000 * statistics.median(took):.0f} ms, p99 {1000 * p99:.0f} ms")
    with house.database.read() as session:
        assert session.exec(select(func.count()).select_from(Reading)).one() == WRITERS * ROUNDS
    assert whole_trail(house, system["site_id"]) == []


def test_sent_many_times_a_reading_is_stored_once(house: House) -> None:
    system = house.a_system()
    ids = [str(uuid4()) for _ in range(IDS)]

    def put(number: int) -> list[int]:
        """The statuses that one sender saw: told to wait (503) it sends the same again."""
        request = ("PUT", f"/v1/readings/{ids[number % IDS]}", {"json": content(house, system, 7 + number % IDS / 10)})
        seen: list[int] = []
        while not seen or (seen[-1] == 503 and len(seen) < 20):
            seen.append(together(house, [request])[0][0])
        return seen

    with ThreadPoolExecutor(THREADS) as threads:
        seen = list(threads.map(put, range(PUTS)))
    final = Counter(statuses[-1] for statuses in seen)
    waited = sum(len(statuses) - 1 for statuses in seen)
    print(f"\n{PUTS} PUTs on {IDS} ids: {dict(final)}, told to wait {waited} times")
    assert final == {201: IDS, 200: PUTS - IDS}
    with house.database.read() as session:
        rows = session.exec(select(Reading.id).where(col(Reading.id).in_([UUID(text) for text in ids]))).all()
        assert session.exec(select(func.count()).select_from(Reading)).one() == IDS
    assert len(rows) == IDS
    assert recorded_times(house, ids) == Counter(ids)
    assert whole_trail(house, system["site_id"]) == []


def test_of_many_corrections_of_one_version_one_is_taken(house: House) -> None:
    reading = house.a_reading(house.a_system()["id"])
    path = f"/v1/readings/{reading['id']}/corrections"
    sent = [
        ("POST", path, {"json": {"value": 8.01 + n / 100, "reason": "misread"}, "headers": {"If-Match": '"1"'}})
        for n in range(20)
    ]
    statuses = Counter(status for status, _ in together(house, sent))
    assert statuses[200] == 1, statuses
    assert set(statuses) <= {200, 412, 503}
    assert house.call("GET", f"/v1/readings/{reading['id']}")["version"] == 2
    assert whole_trail(house, reading["site_id"]) == []


def test_of_many_things_with_one_tag_one_is_described(house: House) -> None:
    site = house.a_site()
    sent = [
        ("POST", "/v1/rooms", {"json": {"site_id": site["id"], "tag": "plant-room", "name": f"Room {n}"}})
        for n in range(20)
    ]
    statuses = Counter(status for status, _ in together(house, sent))
    assert statuses[201] == 1, statuses
    assert set(statuses) <= {201, 409, 503}
    assert len(house.call("GET", "/v1/rooms")) == 1
    assert whole_trail(house, site["id"]) == []


def test_one_series_sent_by_many_at_once_is_stored_once(house: House) -> None:
    """Twenty senders with overlapping parts of one series, each part by two: every point once, whoever came first."""
    system = house.a_system()
    whole = batch(system["id"], [8 + n / 10_000 for n in range(1100)], end=house.now)
    parts = [slice(100 * n, 100 * n + 200) for n in range(10)] * 2
    bodies = [{**whole, "taken_at": whole["taken_at"][part], "value": whole["value"][part]} for part in parts]

    def post(body: dict[str, Any]) -> dict[str, Any]:
        """The answer to one sender, who is told to wait (503) and sends the same again."""
        while (response := house.send("POST", "/v1/series", json=body)).status_code == 503:
            pass
        answer: dict[str, Any] = response.json()
        return answer

    with ThreadPoolExecutor(len(bodies)) as threads:
        answers = list(threads.map(post, bodies))
    assert sum(answer["stored"] for answer in answers) == 1100
    assert sum(answer["stored"] + answer["held_already"] for answer in answers) == 20 * 200
    assert not any(answer["conflicts"] for answer in answers)
    assert read(house, system["id"])["value"] == whole["value"]
    with house.database.read() as session:
        assert list(series_faults(session)) == []
    assert whole_trail(house, system["site_id"]) == []
