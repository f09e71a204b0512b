"""Two doors to the database: a read that never blocks, and a write that is one transaction from open to close."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import structlog
from sqlalchemy import Connection, event, text
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlmodel import Session, create_engine

from service.errors import Busy
from service.storage import trail

log = structlog.get_logger()

SQLITE_PRAGMAS = ("journal_mode=wal", "synchronous=full", "foreign_keys=on", "busy_timeout=10000")
UNIQUE_VIOLATION = "23505"  # SQLSTATE, PostgreSQL's appendix A
THREADS = 40  # the server's worker threads; a pool smaller than that deadlocks under load


class Database:
    """One engine. A write is one transaction, opened and closed in one thread; reads run beside it.

    On SQLite writers take turns by a lock of the process and `BEGIN IMMEDIATE`; with more than `waiting` writers
    in the queue a further one is refused with Busy instead of waiting without end.
    """

    def __init__(self, url: str, *, waiting: int = 256) -> None:
        self.url = url
        self.is_sqlite = url.startswith("sqlite")
        options: dict[str, Any] = {"pool_size": THREADS, "max_overflow": 8, "pool_pre_ping": not self.is_sqlite}
        self.engine = create_engine(url, **options)
        self._writer = self.engine.execution_options(writes=True)
        self._turn = threading.Lock()
        self._queue = threading.BoundedSemaphore(waiting)
        if self.is_sqlite:
            event.listen(self.engine, "connect", _configure_sqlite)
            event.listen(self.engine, "begin", _begin_sqlite)
        else:
            event.listen(self.engine, "connect", _configure_postgresql)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that only reads: one consistent snapshot, never waiting for a writer."""
        with _database_trouble_is_busy(), Session(self.engine, autoflush=False, expire_on_commit=False) as session:
            if not self.is_sqlite:
                session.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"))
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose block is one transaction. The audit trail is sealed last, then everything is committed.

        Nothing is stored when the block raises. Raises Busy when too many writers wait or the database refuses.
        """
        if not self._queue.acquire(blocking=False):
            raise Busy("Too many changes are waiting to be stored. Send this again in a few seconds.")
        try:
            with (
                _database_trouble_is_busy(),
                self._one_at_a_time(),
                Session(self._writer, expire_on_commit=False) as session,
            ):
                yield session
                session.flush()
                trail.seal(session)
                session.flush()
                self._refuse_if_rolled_back(session)
                remarks = session.connection().connection.info
                session.commit()
                if remarks.pop("unreplicated", False):
                    raise Busy("Stored here, but not yet confirmed by the standby. Send it again with the same id.")
        finally:
            self._queue.release()

    def close(self) -> None:
        """Give back every connection; a later use opens new ones."""
        self.engine.dispose()

    @contextmanager
    def _one_at_a_time(self) -> Iterator[None]:
        if not self.is_sqlite:
            yield
            return
        with self._turn:
            yield

    def _refuse_if_rolled_back(self, session: Session) -> None:
        """SQLite ends a transaction by itself when the disk is full; a commit would then succeed on nothing."""
        if self.is_sqlite and not session.connection().connection.dbapi_connection.in_transaction:  # type: ignore[union-attr]
            raise Busy("The database gave up this change (is the disk full?). Nothing was stored; send it again.")


@contextmanager
def _database_trouble_is_busy() -> Iterator[None]:
    try:
        yield
    except DBAPIError as error:
        if error.connection_invalidated:
            raise Busy("The connection to the database was lost. Nothing is confirmed; send it again.") from error
        if isinstance(error, OperationalError):
            log.error("database_refused", error=str(error.orig))
            raise Busy("The database cannot take this now. Nothing was stored; send it again.") from error
        if _came_second(error):
            raise Busy("Another request stored the same at this very moment. Send this again.") from error
        raise


def _came_second(error: DBAPIError) -> bool:
    """Whether two writers on PostgreSQL both found an id or a name free, and this one was the later.

    On SQLite writers take turns, so that there the same error would be a check that the service forgot.
    """
    return getattr(error.orig, "sqlstate", None) == UNIQUE_VIOLATION


def _configure_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # BEGIN is ours to send, see _begin_sqlite
    for pragma in SQLITE_PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _configure_postgresql(connection: Any, record: Any) -> None:
    """A commit whose wait for the standby is cancelled answers OK with only a warning: remember that warning."""
    connection.add_notice_handler(lambda notice: _remember_warning(notice, record))


def _remember_warning(notice: Any, record: Any) -> None:
    if notice.sqlstate == "01000" and "synchronous" in (notice.message_primary or ""):
        record.info["unreplicated"] = True
