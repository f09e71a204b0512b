"""Runs migrations on either database: all steps of an upgrade in one transaction, one upgrade at a time.

The engine is our own, without the service's pragmas: rebuilding a SQLite table with foreign keys on would delete its
children. The database is the one in `config.attributes["url"]` (set by `service.storage.migrating`), else the
service's own (OOID_DATABASE_URL, OOID_DATA_DIR).
"""

from __future__ import annotations

from typing import Any

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.pool import NullPool
from sqlmodel.sql.sqltypes import AutoString

import service.main  # noqa: F401 - every module with a table, by way of the app that needs them
from service.settings import Settings
from service.storage.base import metadata
from service.storage.types import Document, Identifier, Instant

ONE_UPGRADE_AT_A_TIME = 0x6F6F6964  # "ooid": the key of PostgreSQL's advisory lock
LOCK_TIMEOUT = "4s"  # a table in use makes the upgrade fail soon, instead of queueing the service behind it


def open_engine(url: str) -> Engine:
    """An engine for one upgrade."""
    engine = create_engine(url, poolclass=NullPool)
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", lambda connection, _record: setattr(connection, "isolation_level", None))
        event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN IMMEDIATE"))
    return engine


def plain_type(kind: str, item: Any, _autogen: AutogenContext) -> str | bool:
    """The service's column types spelled in SQLAlchemy's own, so that an old migration never needs today's service."""
    if kind != "type":
        return False
    if isinstance(item, Identifier):
        return "IDENTIFIER"  # script.py.mako defines it
    if isinstance(item, Instant):
        return "sa.BigInteger()"
    if isinstance(item, Document):
        return "sa.Text()"
    if isinstance(item, AutoString):
        return f"sa.String({'' if item.length is None else item.length})"
    return False


def take_the_lock(connection: Connection) -> None:
    """On PostgreSQL wait for another upgrade; on SQLite BEGIN IMMEDIATE has done so."""
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SET LOCAL lock_timeout = '{LOCK_TIMEOUT}'"))
        connection.execute(text(f"SELECT pg_advisory_xact_lock({ONE_UPGRADE_AT_A_TIME})"))


def refuse_broken_references(connection: Connection) -> None:
    """On SQLite nothing watched the foreign keys meanwhile: look at all of them before anything is kept."""
    if connection.dialect.name == "sqlite":
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise RuntimeError(f"The migration would break {len(broken)} references; nothing was changed: {broken[:5]}")


def run() -> None:
    """Run what alembic was asked for."""
    engine = open_engine(context.config.attributes.get("url") or Settings().url)
    try:
        with engine.begin() as connection:
            take_the_lock(connection)
            context.configure(
                connection=connection,
                target_metadata=metadata,
                render_as_batch=connection.dialect.name == "sqlite",
                render_item=plain_type,
                compare_type=True,
                compare_server_default=True,
                transactional_ddl=True,
            )
            with context.begin_transaction():
                context.run_migrations()
            refuse_broken_references(connection)
    finally:
        engine.dispose()


run()
