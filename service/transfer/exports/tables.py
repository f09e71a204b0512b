"""Which rows of which tables are a site's, and how each cell is written and read."""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import orjson
from sqlalchemy import (
    Boolean,
    Column,
    ColumnElement,
    Date,
    Float,
    Integer,
    LargeBinary,
    Table,
    or_,
    select,
    true,
)

from service.http.shapes import RFC3339
from service.storage.base import metadata
from service.storage.types import Document, Identifier, Instant, canonical

# How people sign in here is of no use elsewhere.
LEFT_OUT = frozenset(
    {"browser_sessions", "sign_in_links", "passwords", "pins", "sign_in_attempts", "devices", "pin_tries"}
)
SECRETS = {"tokens": frozenset({"secret_hash"})}
FILES = {"photo_pictures": ("jpeg", "photos/{photo_id}.jpg")}  # a column that leaves as a file of its own, a row
CATALOGUE = frozenset({"methods", "lots"})  # shared by all sites; what refers to them needs them
_GUARDED = re.compile(r"[=+\-@\t\r'\uff1d\uff0b\uff0d\uff20]")


class Unreadable(ValueError):
    """A cell that is not what its column holds; the text says what was expected."""


@dataclass(frozen=True)
class Cells:
    """How the values of one type of column are written as text, and read again."""

    name: str
    write: Callable[[Any], str]
    read: Callable[[str], Any]


def exported() -> list[Table]:
    """The tables of an export, those that others refer to first."""
    return [table for table in metadata.sorted_tables if table.name not in LEFT_OUT]


def columns_of(table: Table) -> list[Column[Any]]:
    """The columns of a table that leave the service as cells: no secret does, nor its digest, and no picture."""
    in_file, _ = FILES.get(table.name, (None, ""))
    left_out = SECRETS.get(table.name, frozenset()) | {in_file}
    return [column for column in table.columns if column.name not in left_out]


def file_of(table: Table) -> tuple[Column[Any], str] | None:
    """The column of a table that leaves as a file for each row, and the pattern of its names; None for most."""
    return (table.c[FILES[table.name][0]], FILES[table.name][1]) if table.name in FILES else None


def belongs(table: Table, site_id: UUID) -> ColumnElement[bool]:
    """The condition that picks a site's rows of a table.

    Of people and tokens of the whole installation it picks those that the site's trail names, and those with a role
    on the site: records carry their ids.
    """
    if table.name == "sites":
        return table.c.id == site_id
    if table.name in CATALOGUE:
        return true()
    if table.name == "people":
        grants = metadata.tables["grants"]
        on_site = select(grants.c.person_id).where(grants.c.site_id == site_id)
        return or_(table.c.id.in_(_actors(site_id)), table.c.id.in_(on_site))
    if table.name == "tokens":
        return or_(table.c.site_id == site_id, table.c.id.in_(_actors(site_id)))
    if "chain_id" in table.c:
        return table.c.chain_id == site_id
    return table.c.site_id == site_id


def _actors(site_id: UUID) -> Any:
    entries = metadata.tables["audit_entries"]
    return select(entries.c.actor_id).where(entries.c.chain_id == site_id)


def order_of(table: Table) -> list[Column[Any]]:
    """The columns that rows are sorted by: their key, so that equal sites are equal files."""
    return list(table.primary_key.columns)


def cells_of(column: Column[Any]) -> Cells:
    """How the values of a column are written."""
    for kind, cells in _KINDS:
        if isinstance(column.type, kind):
            return cells
    return TEXT


def written(column: Column[Any], value: Any) -> str:
    """A value as its cell: nothing is nothing, text never begins as a formula does."""
    return "" if value is None else cells_of(column).write(value)


def read(column: Column[Any], text: str) -> Any:
    """The value of a cell. Raises Unreadable."""
    if text == "":
        if not column.nullable:
            raise Unreadable("this cell must not be empty")
        return None
    try:
        return cells_of(column).read(text)
    except Unreadable:
        raise
    except (ValueError, TypeError, OverflowError, binascii.Error) as error:
        raise Unreadable(f"{cells_of(column).name} is expected, not {text[:60]!r}") from error


def guarded(text: str) -> str:
    """Text as a cell: an apostrophe before what a spreadsheet would run, and before an apostrophe or nothing."""
    return f"'{text}" if text == "" or _GUARDED.match(text) else text


def unguarded(text: str) -> str:
    """The text of a cell: `guarded` undone."""
    return text.removeprefix("'")


def _instant(text: str) -> datetime:
    if not RFC3339.match(text):
        raise Unreadable(f"an RFC 3339 time is expected, not {text[:60]!r}")
    return datetime.fromisoformat(text)


def _flag(text: str) -> bool:
    if text not in ("true", "false"):
        raise Unreadable(f"true or false is expected, not {text[:60]!r}")
    return text == "true"


TEXT = Cells("text", guarded, unguarded)
_KINDS: tuple[tuple[type, Cells], ...] = (
    (Identifier, Cells("a UUID", str, UUID)),
    (
        Instant,
        Cells("an RFC 3339 time in UTC", lambda at: at.astimezone(UTC).isoformat().replace("+00:00", "Z"), _instant),
    ),
    (
        Document,
        Cells("JSON", lambda value: guarded(canonical(value).decode()), lambda text: orjson.loads(unguarded(text))),
    ),
    (
        LargeBinary,
        Cells(
            "base64 (RFC 4648)",
            lambda value: guarded(base64.b64encode(value).decode()),
            lambda text: base64.b64decode(unguarded(text), validate=True),
        ),
    ),
    (Boolean, Cells("true or false", lambda value: "true" if value else "false", _flag)),
    (Integer, Cells("a whole number", str, int)),
    (Float, Cells("a number", repr, float)),
    (Date, Cells("a date", date.isoformat, date.fromisoformat)),
)
