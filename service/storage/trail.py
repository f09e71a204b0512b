"""The audit trail: who changed what, when, from where and why, in one hash chain a site.

An entry covers one transaction's changes on one chain. Its hash covers the entry, the digests of everything it
changed and the hash before it, so that no entry and no described or recorded row can be edited unnoticed. The head
of a chain is a row, locked last in the transaction; its gap-free `seq` is the cursor of `/v1/changes`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Field, Session, SQLModel, col, select

from service.storage.types import Document, Identifier, Instant, digest, microseconds

INSTALLATION = UUID(int=0)  # the chain of what belongs to no site: catalogue, persons, tokens, new sites
NOTHING = bytes(32)


class ChainHead(SQLModel, table=True):
    """The last entry of a chain."""

    __tablename__ = "chain_heads"

    chain_id: UUID = Field(primary_key=True, sa_type=Identifier)
    seq: int
    hash: bytes = Field(max_length=32)


class AuditEntry(SQLModel, table=True):
    """One change, or one batch of changes, by one actor for one reason."""

    __tablename__ = "audit_entries"

    chain_id: UUID = Field(primary_key=True, sa_type=Identifier)
    seq: int = Field(primary_key=True)
    at: datetime = Field(sa_type=Instant)
    actor_id: UUID = Field(sa_type=Identifier)
    origin: str = Field(max_length=64)
    why: str | None = None
    before: Any = Field(default=None, nullable=True, sa_type=Document)
    after: Any = Field(default=None, nullable=True, sa_type=Document)
    count: int
    digest: bytes = Field(max_length=32)
    previous: bytes = Field(max_length=32)
    hash: bytes = Field(max_length=32)


class Event(SQLModel, table=True):
    """One thing that one entry changed: the change feed, and what jobs react to."""

    __tablename__ = "events"

    chain_id: UUID = Field(primary_key=True, sa_type=Identifier)
    seq: int = Field(primary_key=True)
    position: int = Field(primary_key=True)
    kind: str = Field(max_length=32)
    thing_id: UUID = Field(sa_type=Identifier, index=True)
    action: str = Field(max_length=16)
    version: int
    digest: bytes = Field(max_length=32)


@dataclass(frozen=True)
class Actor:
    """Who did it: the person or token, and the address the request came from."""

    id: UUID
    origin: str


@dataclass(frozen=True)
class Change:
    """One thing recorded, corrected, withdrawn, described or changed, with the digest of what it is now."""

    kind: str
    thing_id: UUID
    action: str
    version: int
    digest: bytes


@dataclass(frozen=True)
class _Pending:
    chain_id: UUID
    at: datetime
    actor: Actor
    changes: tuple[Change, ...]
    before: Any
    after: Any
    why: str | None


def note(
    session: Session,
    *,
    chain_id: UUID,
    at: datetime,
    actor: Actor,
    changes: Sequence[Change],
    before: Any = None,
    after: Any = None,
    why: str | None = None,
) -> None:
    """Remember an entry; it is numbered, hashed and stored when the write closes."""
    pending = _Pending(chain_id, at, actor, tuple(changes), before, after, why)
    session.info.setdefault("trail", []).append(pending)


def seal(session: Session) -> None:
    """Number and hash what was noted, chain by chain in the order of their ids, each head locked while it moves."""
    noted: list[_Pending] = session.info.pop("trail", [])
    for chain_id in sorted({entry.chain_id for entry in noted}):
        head = _locked_head(session, chain_id)
        for entry in noted:
            if entry.chain_id == chain_id:
                _append(session, head, entry)


def head(session: Session, chain_id: UUID) -> ChainHead | None:
    """Where a chain stands now, or None when it has no entry."""
    return session.get(ChainHead, chain_id)


def faults(session: Session, chain_id: UUID) -> Iterator[str]:
    """Everything wrong with a chain: gaps, edited entries, edited events, a head that is not its last entry."""
    expected_seq, previous = 1, NOTHING
    entries = session.exec(
        select(AuditEntry)
        .where(AuditEntry.chain_id == chain_id)
        .order_by(col(AuditEntry.seq))
        .execution_options(yield_per=500)
    )
    for entry in entries:
        if entry.seq != expected_seq:
            yield f"entry {expected_seq} is missing (the next one is {entry.seq})"
            expected_seq = entry.seq
        if entry.previous != previous:
            yield f"entry {entry.seq} does not continue the one before it"
        if _digest_of(_events(session, chain_id, entry.seq)) != entry.digest:
            yield f"the changes listed under entry {entry.seq} were edited"
        if _hash(entry) != entry.hash:
            yield f"entry {entry.seq} was edited"
        expected_seq, previous = entry.seq + 1, entry.hash
    last = head(session, chain_id)
    if (last.seq, last.hash) != (expected_seq - 1, previous) if last else expected_seq > 1:
        yield "the head of the chain is not its last entry"


def _locked_head(session: Session, chain_id: UUID) -> ChainHead:
    insert = postgresql.insert if session.get_bind().dialect.name == "postgresql" else sqlite.insert
    first = insert(ChainHead).values(chain_id=chain_id, seq=0, hash=NOTHING)
    session.execute(first.on_conflict_do_nothing())
    locked = select(ChainHead).where(ChainHead.chain_id == chain_id).with_for_update()
    return session.exec(locked.execution_options(populate_existing=True)).one()


def _append(session: Session, head: ChainHead, pending: _Pending) -> None:
    entry = AuditEntry(
        chain_id=pending.chain_id,
        seq=head.seq + 1,
        at=pending.at,
        actor_id=pending.actor.id,
        origin=pending.actor.origin,
        why=pending.why,
        before=pending.before,
        after=pending.after,
        count=len(pending.changes),
        digest=_digest_of(pending.changes),
        previous=head.hash,
        hash=NOTHING,
    )
    entry.hash = _hash(entry)
    session.add(entry)
    session.add_all(
        Event(
            chain_id=entry.chain_id,
            seq=entry.seq,
            position=position,
            kind=change.kind,
            thing_id=change.thing_id,
            action=change.action,
            version=change.version,
            digest=change.digest,
        )
        for position, change in enumerate(pending.changes)
    )
    head.seq, head.hash = entry.seq, entry.hash


def _events(session: Session, chain_id: UUID, seq: int) -> Sequence[Event]:
    statement = select(Event).where(Event.chain_id == chain_id, Event.seq == seq).order_by(col(Event.position))
    return session.exec(statement).all()


def _digest_of(changes: Sequence[Change] | Sequence[Event]) -> bytes:
    return digest([[c.kind, str(c.thing_id), c.action, c.version, c.digest.hex()] for c in changes])


def _hash(entry: AuditEntry) -> bytes:
    return digest(
        [
            str(entry.chain_id),
            entry.seq,
            microseconds(entry.at),
            str(entry.actor_id),
            entry.origin,
            entry.why,
            entry.before,
            entry.after,
            entry.count,
            entry.digest.hex(),
            entry.previous.hex(),
        ]
    )
