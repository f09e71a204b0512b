"""Killed under load, again and again: what was acknowledged is there, once, and the trail is whole."""

from __future__ import annotations

import itertools
import random
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

import httpx
import pytest
from sqlalchemy import text
from sqlmodel import select
from support.camera import drawn, photo
from support.house import House
from support.load import recorded_times, whole_trail
from support.served import Served

from service.resources.records import checking
from service.resources.records.photos.models import PhotoPicture
from service.resources.records.readings.models import Reading

WRITERS = 6
PAUSE_SECONDS = 0.2  # before sending again; the service needs the processor to start
PROGRESS_BEFORE_A_KILL = 16  # acknowledged readings since the last start, so that every kill hits a working service


class Writers:
    """Clients that send readings without pause, each again and again under its id until it is acknowledged."""

    def __init__(self, url: str, token: str, subject_id: str) -> None:
        self.acknowledged: dict[str, Any] = {}
        self.sent_again = 0
        self._url, self._token, self._subject_id = url, token, subject_id
        self._over = threading.Event()

    def write(self, number: int) -> None:
        """One client's work, until told to stop; its last reading is acknowledged too."""
        chance = random.Random(number)
        taken_at = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
        with httpx.Client(
            base_url=self._url, headers={"Authorization": f"Bearer {self._token}"}, timeout=10.0
        ) as client:
            while not self._over.is_set():
                reading_id, value = str(uuid4()), round(chance.uniform(6, 10), 3)
                content = {
                    "subject_id": self._subject_id,
                    "quantity": "alkalinity",
                    "value": value,
                    "unit": "dKH",
                    "taken_at": taken_at,
                }
                self._until_acknowledged(client, f"/v1/readings/{reading_id}", content)
                self.acknowledged[reading_id] = value

    def stop(self) -> None:
        """Let every client finish the reading in hand."""
        self._over.set()

    def _until_acknowledged(self, client: httpx.Client, path: str, content: dict[str, object]) -> None:
        while True:
            try:
                response = client.put(path, json=content)
            except httpx.TransportError:
                self.sent_again += 1
                time.sleep(PAUSE_SECONDS)
                continue
            if response.status_code in (200, 201):
                return
            assert response.status_code == 503, response.text
            self.sent_again += 1
            time.sleep(PAUSE_SECONDS)


class PhotoWriters(Writers):
    """Clients that send pictures; what was acknowledged is told by the digest that the service answered."""

    def write(self, number: int) -> None:
        """One client's work, until told to stop."""
        at = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
        headers = {"Authorization": f"Bearer {self._token}", "Content-Type": "image/jpeg"}
        with httpx.Client(base_url=self._url, headers=headers, timeout=10.0) as client:
            for width in itertools.count(64 + 1000 * number):
                if self._over.is_set():
                    return
                photo_id, said = str(uuid4()), {"taken_at": at, "subject_id": self._subject_id}
                response = self._until_answered(
                    client, f"/v1/photos/{photo_id}", params=said, content=photo(image=drawn(width, 8))
                )
                self.acknowledged[photo_id] = response.json()["sha256"]

    def _until_answered(self, client: httpx.Client, path: str, **options: Any) -> httpx.Response:
        while True:
            try:
                response = client.put(path, **options)
            except httpx.TransportError:
                self.sent_again += 1
                time.sleep(PAUSE_SECONDS)
                continue
            if response.status_code in (200, 201):
                return response
            assert response.status_code == 503, response.text
            time.sleep(PAUSE_SECONDS)


def test_an_acknowledged_picture_survives_every_kill(house: House, tmp_path: Path, pytestconfig: pytest.Config) -> None:
    """The bytes have the durability of every record: they stand in the same transaction as their entry."""
    kills = max(3, pytestconfig.getoption("kills") // 3)
    system = house.a_system()
    with Served(house.database.url, tmp_path / "service.log") as served, ThreadPoolExecutor(3) as threads:
        writers = PhotoWriters(served.url, house.administrator, system["id"])
        working = [threads.submit(writers.write, number) for number in range(3)]
        try:
            for _ in range(kills):
                before = len(writers.acknowledged)
                while len(writers.acknowledged) < before + PROGRESS_BEFORE_A_KILL:
                    assert not any(work.done() for work in working)
                    time.sleep(0.005)
                served.kill()
                served.start()
        finally:
            writers.stop()
        for work in working:
            work.result(timeout=60)
    print(f"\n{kills} kills: {len(writers.acknowledged)} pictures, sent again {writers.sent_again} times")
    assert writers.sent_again >= kills, "no kill hit a request on its way"
    with house.database.read() as session:
        rows = session.exec(select(PhotoPicture)).all()
        assert [fault for fault in checking.faults(session) if not fault.startswith("token ")] == []
    assert {str(row.photo_id): sha256(row.jpeg).hexdigest() for row in rows} == writers.acknowledged


def test_what_was_acknowledged_survives_every_kill(house: House, tmp_path: Path, pytestconfig: pytest.Config) -> None:
    kills = pytestconfig.getoption("kills")
    system = house.a_system()
    chance = random.Random(kills)
    with (
        Served(house.database.url, tmp_path / "service.log") as served,
        ThreadPoolExecutor(WRITERS) as threads,
    ):
        writers = Writers(served.url, house.administrator, system["id"])
        working = [threads.submit(writers.write, number) for number in range(WRITERS)]
        try:
            for _ in range(kills):
                before = len(writers.acknowledged)
                while len(writers.acknowledged) < before + PROGRESS_BEFORE_A_KILL:
                    assert not any(work.done() for work in working), [
                        work.exception() for work in working if work.done()
                    ]
                    time.sleep(0.005)
                time.sleep(chance.uniform(0, 0.1))
                served.kill()
                served.start()
        finally:
            writers.stop()
        for work in working:
            work.result(timeout=60)
    print(f"\n{kills} kills: {len(writers.acknowledged)} acknowledged, sent again {writers.sent_again} times")
    assert writers.sent_again >= kills, "no kill hit a request on its way"
    with house.database.read() as session:
        rows = session.exec(select(Reading)).all()
        intact = session.execute(text("PRAGMA integrity_check")).scalar_one()
    stored = {str(row.id): row.entered["value"] for row in rows}
    assert intact == "ok"
    assert len(rows) == len(stored) == len(writers.acknowledged)
    assert stored == writers.acknowledged
    assert set(recorded_times(house, list(stored)).values()) == {1}
    assert whole_trail(house, system["site_id"]) == []
