"""A full disk under many writers: what was acknowledged is stored, the rest is refused with a remedy."""

from __future__ import annotations

import shutil
import subprocess
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import event, insert, text
from sqlalchemy.exc import OperationalError
from sqlmodel import col, func, select
from support.house import START, House
from support.load import content, together, whole_trail

from service.errors import Busy
from service.resources.catalogue.methods.models import Method
from service.resources.records.readings.models import Reading
from service.storage.database import Database
from service.storage.types import digest, new_id

WRITERS = 20
ROUNDS = 20
MEBIBYTE = 1024 * 1024
METHOD = {"version": 1, "quantity": "alkalinity", "described_at": START}


def limit_pages(database: Database, more: int) -> None:
    """Let the database grow by so many pages and no further: SQLite then fails as it does on a full disk."""
    with database.read() as session:
        pages = session.execute(text("PRAGMA page_count")).scalar_one() + more
    database.close()
    event.listen(database.engine, "connect", lambda connection, _: connection.execute(f"PRAGMA max_page_count={pages}"))


def write_until_full(house: House, system: dict[str, Any]) -> tuple[set[str], Counter[int]]:
    """The ids of the acknowledged readings, and how often each status was answered."""
    acknowledged: set[str] = set()
    statuses: Counter[int] = Counter()
    for _ in range(ROUNDS):
        ids = [str(uuid4()) for _ in range(WRITERS)]
        sent = [
            ("PUT", f"/v1/readings/{reading_id}", {"json": content(house, system) | {"note": "x" * 3000}})
            for reading_id in ids
        ]
        answers = together(house, sent)
        statuses += Counter(status for status, _ in answers)
        acknowledged |= {reading_id for reading_id, (status, _) in zip(ids, answers, strict=True) if status == 201}
    return acknowledged, statuses


def assert_acknowledged_is_stored(house: House, system: dict[str, Any]) -> None:
    """Fill the disk, then compare."""
    acknowledged, statuses = write_until_full(house, system)
    print(f"\nfull disk under {WRITERS} writers: {dict(statuses)}")
    assert set(statuses) == {201, 503}, "the disk was to become full, and every refusal to be an honest one"
    with house.database.read() as session:
        stored = set(map(str, session.exec(select(Reading.id)).all()))
        assert session.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
    assert stored == acknowledged
    assert whole_trail(house, system["site_id"]) == []


def test_with_a_full_disk_acknowledged_is_stored(house: House) -> None:
    system = house.a_system()
    limit_pages(house.database, 100)
    assert_acknowledged_is_stored(house, system)


@contextmanager
def small_disk(folder: Path, size: int) -> Iterator[Path]:
    """A file system of its own of this size."""
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if mounted.returncode != 0:
        pytest.skip("mounting a small file system is not allowed here; the test above limits the database instead")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def test_on_a_file_system_that_runs_full_acknowledged_is_stored(tmp_path: Path, migrated_file: Path) -> None:
    size = migrated_file.stat().st_size + 2 * MEBIBYTE
    with small_disk(tmp_path / "disk", size) as disk:
        shutil.copyfile(migrated_file, disk / "ooid.db")
        database = Database(f"sqlite:///{disk / 'ooid.db'}")
        house = House(database)
        assert_acknowledged_is_stored(house, house.a_system())
        database.close()


def swallow_a_full_disk(house: House, system: dict[str, Any]) -> UUID:
    """A change whose one statement met the full disk and whose author went on regardless: SQLite ended it meanwhile."""
    reading_id = new_id()
    with house.database.write() as session:
        session.add(a_row(house, system, reading_id))
        session.flush()
        with suppress(OperationalError):
            session.connection().execute(insert(Method).values(id=new_id(), name="x" * 8 * MEBIBYTE, **METHOD))
    return reading_id


def a_row(house: House, system: dict[str, Any], reading_id: UUID) -> Reading:
    """A reading as a row, past every check."""
    return Reading(
        id=reading_id,
        site_id=UUID(system["site_id"]),
        subject_id=UUID(system["id"]),
        at=house.now,
        entered={},
        sent_digest=digest({}),
        recorded_at=house.now,
        recorded_by=new_id(),
        quantity="alkalinity",
        value=2.8,
        unit="meq/L",
        purpose="sample",
    )


def is_stored(house: House, reading_id: UUID) -> bool:
    """Whether there is such a reading."""
    with house.database.read() as session:
        return session.exec(select(func.count()).where(col(Reading.id) == reading_id)).one() == 1


def test_a_change_that_sqlite_ended_by_itself_is_refused(house: House) -> None:
    system = house.a_system()
    limit_pages(house.database, 200)
    with pytest.raises(Busy, match="disk full"):
        swallow_a_full_disk(house, system)
    assert house.call("GET", "/v1/readings") == []
    assert house.a_reading(system["id"])["version"] == 1


def test_without_that_refusal_it_would_be_acknowledged_and_lost(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """Shows that the refusal above is needed: commit() succeeds on nothing."""
    system = house.a_system()
    limit_pages(house.database, 200)
    monkeypatch.setattr(Database, "_refuse_if_rolled_back", lambda _self, _session: None)
    reading_id = swallow_a_full_disk(house, system)
    assert not is_stored(house, reading_id)
