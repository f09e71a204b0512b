"""Rows for every table of a database, made from its schema alone: what a migration must keep."""

from __future__ import annotations

from datetime import date
from typing import Any
from uuid import UUID

from sqlalchemy import Column, Connection, MetaData, inspect, select, types


def fill(connection: Connection, *, rows: int = 2) -> None:
    """Give every empty table some rows. Row n holds n in every column, so that every reference finds its row n."""
    tables = MetaData()
    tables.reflect(connection)
    for table in tables.sorted_tables:
        if table.name == "alembic_version" or connection.execute(select(table).limit(1)).first() is not None:
            continue
        values = [{column.name: _value(column, n) for column in table.columns} for n in range(1, rows + 1)]
        connection.execute(table.insert(), values)


def contents(connection: Connection) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table, in a fixed order, but for the revision."""
    tables = MetaData()
    tables.reflect(connection)
    return {
        table.name: sorted((dict(row) for row in connection.execute(select(table)).mappings()), key=str)
        for table in tables.sorted_tables
        if table.name != "alembic_version"
    }


def table_names(connection: Connection) -> set[str]:
    """The names of all tables."""
    return set(inspect(connection).get_table_names())


def lost(before: dict[str, list[dict[str, Any]]], after: dict[str, list[dict[str, Any]]]) -> list[str]:
    """What is gone or changed in the tables and columns that both have; new tables and columns are no loss."""
    faults = []
    for name, rows in before.items():
        if name not in after:
            continue
        shared = [column for column in rows[0] if not after[name] or column in after[name][0]] if rows else []
        old = sorted(str({column: row[column] for column in shared}) for row in rows)
        new = sorted(str({column: row.get(column) for column in shared}) for row in after[name])
        if old != new:
            faults.append(f"{name}: {len(old)} rows before, {len(new)} after, {len(set(old) & set(new))} alike")
    return faults


def _value(column: Column[Any], n: int) -> Any:
    kind = column.type
    if isinstance(kind, types.Uuid):
        return UUID(int=n)
    if isinstance(kind, types.LargeBinary):
        return UUID(int=n).bytes
    if isinstance(kind, types.Boolean):
        return n % 2 == 0
    if isinstance(kind, types.Date):
        return date(2026, 1, n)
    if isinstance(kind, types.String):
        return str(n)
    return n
