"""Column types: small, exact and the same on SQLite and PostgreSQL."""

from __future__ import annotations

import hashlib
import os
import time
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import orjson
from sqlalchemy import BigInteger, LargeBinary, Text
from sqlalchemy.dialects import postgresql
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
BEGINNING = EPOCH  # "since always": facts described without a start hold from here


class Identifier(TypeDecorator[UUID]):
    """A UUID in 16 bytes."""

    impl = LargeBinary(16)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        if dialect.name == "postgresql":
            return dialect.type_descriptor(postgresql.UUID(as_uuid=True))
        return dialect.type_descriptor(LargeBinary(16))

    def process_bind_param(self, value: UUID | None, dialect: Dialect) -> Any:
        if value is None or dialect.name == "postgresql":
            return value
        return value.bytes

    def process_result_value(self, value: Any, dialect: Dialect) -> UUID | None:
        if value is None or isinstance(value, UUID):
            return value
        return UUID(bytes=bytes(value))


class Instant(TypeDecorator[datetime]):
    """An instant as whole microseconds since 1970 UTC. Refuses naive times; always returns UTC."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        return None if value is None else microseconds(value)

    def process_result_value(self, value: int | None, dialect: Dialect) -> datetime | None:
        return None if value is None else EPOCH + timedelta(microseconds=value)


class Document(TypeDecorator[Any]):
    """A JSON value as canonical text: sorted keys, no spaces, so that equal content is equal text."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: Any, dialect: Dialect) -> str | None:
        return None if value is None else canonical(value).decode()

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else orjson.loads(value)


def microseconds(at: datetime) -> int:
    """Whole microseconds since 1970 UTC. Raises ValueError for a naive time."""
    if at.tzinfo is None:
        raise ValueError("a naive time reached storage")
    return (at - EPOCH) // timedelta(microseconds=1)


def instant(at_us: int) -> datetime:
    """The UTC time of whole microseconds since 1970."""
    return EPOCH + timedelta(microseconds=at_us)


def canonical(value: Any) -> bytes:
    """JSON bytes that are the same for the same content: sorted keys, no spaces, times in UTC, ids in text."""
    options = orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS | orjson.OPT_PASSTHROUGH_DATETIME
    return orjson.dumps(value, default=_time_in_utc, option=options)


def _time_in_utc(value: Any) -> str:
    """An instant reads the same whatever offset it came with."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} has no place in JSON")


def digest(value: Any) -> bytes:
    """SHA-256 over the canonical JSON of a value, 32 bytes."""
    return hashlib.sha256(canonical(value)).digest()


def new_id() -> UUID:
    """A fresh time-ordered UUID (version 7, RFC 9562): neighbours in time are neighbours in the index."""
    stamp = time.time_ns() // 1_000_000
    random = int.from_bytes(os.urandom(10))
    value = (stamp & (1 << 48) - 1) << 80 | 0x7 << 76 | (random >> 68) << 64 | 0b10 << 62 | random & (1 << 62) - 1
    return UUID(int=value)
