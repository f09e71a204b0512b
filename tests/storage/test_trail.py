"""The audit trail: gap-free and chained, whole however many write, and telling of every edit."""

from __future__ import annotations

import itertools
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import pytest
from sqlalchemy import text
from sqlmodel import Session, col, select

from service.storage import trail
from service.storage.database import Database
from service.storage.trail import NOTHING, Actor, AuditEntry, Change, Event
from service.storage.types import digest, new_id

AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
ACTOR = Actor(UUID(int=7), "192.0.2.1")
ONE, TWO = UUID(int=1), UUID(int=2)


def a_change(version: int = 1) -> Change:
    """Something that changed."""
    return Change("thing", new_id(), "recorded", version, digest(version))


def note(session: Session, chain_id: UUID = ONE, *, changes: int = 1, **fields: Any) -> None:
    """An entry of some changes."""
    trail.note(session, chain_id=chain_id, at=AT, actor=ACTOR, changes=[a_change() for _ in range(changes)], **fields)


def entries(session: Session, chain_id: UUID = ONE) -> list[AuditEntry]:
    """A chain's entries in order."""
    statement = select(AuditEntry).where(AuditEntry.chain_id == chain_id).order_by(col(AuditEntry.seq))
    return list(session.exec(statement))


def faults(database: Database, chain_id: UUID = ONE) -> list[str]:
    """What is wrong with a chain."""
    with database.read() as session:
        return list(trail.faults(session, chain_id))


def test_entries_are_numbered_without_gaps_and_each_holds_the_hash_before_it(database: Database) -> None:
    for changes in (1, 3, 2):
        with database.write() as session:
            note(session, changes=changes, why="because", before={"value": 1.0}, after={"value": 2.5})
    with database.read() as session:
        found = entries(session)
        assert [entry.seq for entry in found] == [1, 2, 3]
        assert [entry.previous for entry in found] == [NOTHING, found[0].hash, found[1].hash]
        assert [entry.count for entry in found] == [1, 3, 2]
        positions = session.exec(select(Event.position).where(Event.seq == 2).order_by(col(Event.position))).all()
        assert list(positions) == [0, 1, 2]
        head = trail.head(session, ONE)
        assert head is not None
        assert (head.seq, head.hash) == (3, found[2].hash)
    assert faults(database) == []


def test_one_transaction_may_write_to_several_chains_and_more_than_once(database: Database) -> None:
    with database.write() as session:
        note(session, TWO)
        note(session, ONE)
        note(session, TWO)
    with database.read() as session:
        assert [len(entries(session, chain)) for chain in (ONE, TWO)] == [1, 2]
    assert faults(database, ONE) == faults(database, TWO) == []


def note_and_fail(database: Database) -> None:
    """A write that notes a change and then fails."""
    with database.write() as session:
        note(session)
        raise RuntimeError


def test_what_fails_leaves_no_gap(database: Database) -> None:
    with database.write() as session:
        note(session)
    with pytest.raises(RuntimeError):
        note_and_fail(database)
    with database.write() as session:
        note(session)
    with database.read() as session:
        assert [entry.seq for entry in entries(session)] == [1, 2]
    assert faults(database) == []


def test_many_writers_never_fork_a_chain(database: Database) -> None:
    """Twelve writers, some on two chains in either order: every seq once, every hash continued, no deadlock."""
    writers, each = 12, 8

    def write(writer: int) -> None:
        for turn in range(each):
            with database.write() as session:
                first, second = (ONE, TWO) if (writer + turn) % 2 else (TWO, ONE)
                note(session, first)
                note(session, second)

    with ThreadPoolExecutor(writers) as pool:
        for done in [pool.submit(write, writer) for writer in range(writers)]:
            done.result()
    for chain in (ONE, TWO):
        assert faults(database, chain) == []
        with database.read() as session:
            assert [entry.seq for entry in entries(session, chain)] == list(range(1, writers * each + 1))


EDITS = [
    ("UPDATE audit_entries SET why = 'nothing' WHERE seq = 2", "entry 2 was edited"),
    ("UPDATE audit_entries SET origin = '203.0.113.9' WHERE seq = 2", "entry 2 was edited"),
    ("UPDATE audit_entries SET at = at + 1 WHERE seq = 2", "entry 2 was edited"),
    ("""UPDATE audit_entries SET "before" = '[]' WHERE seq = 2""", "entry 2 was edited"),
    ("UPDATE audit_entries SET hash = previous WHERE seq = 2", "entry 2 was edited"),
    ("UPDATE audit_entries SET hash = previous WHERE seq = 2", "entry 3 does not continue the one before it"),
    ("DELETE FROM audit_entries WHERE seq = 2", "entry 2 is missing (the next one is 3)"),
    ("DELETE FROM audit_entries WHERE seq = 3", "the head of the chain is not its last entry"),
    ("UPDATE chain_heads SET seq = 2", "the head of the chain is not its last entry"),
    ("DELETE FROM chain_heads", "the head of the chain is not its last entry"),
    ("DELETE FROM events WHERE seq = 2 AND position = 1", "the changes listed under entry 2 were edited"),
    ("UPDATE events SET action = 'withdrawn' WHERE seq = 2", "the changes listed under entry 2 were edited"),
    ("UPDATE events SET position = position + 2 WHERE seq = 2 AND position = 0", "under entry 2 were edited"),
]


def test_every_edit_is_told(database: Database) -> None:
    for _ in range(3):
        with database.write() as session:
            note(session, changes=2, why="because", before={"value": 1.0})
    for statement, expected in EDITS:
        with database.engine.connect() as connection:
            assert connection.execute(text(statement)).rowcount > 0
            with Session(connection) as session:
                found = list(trail.faults(session, ONE))
            connection.rollback()
        assert any(expected in sentence for sentence in found), (statement, found)
    assert faults(database) == []


def test_equal_content_has_one_digest() -> None:
    """SHA-256 (FIPS 180-4) over {"a":1.5,"at":"2026-03-02T12:00:00Z"}, computed by hashlib alone."""
    expected = "3dcd6d966845dca9febdd5730ca005c4584c5aa1d895ef1a2e9cff9c824011b3"
    for pairs in itertools.permutations([("at", AT), ("a", 1.5)]):
        assert digest(dict(pairs)).hex() == expected
