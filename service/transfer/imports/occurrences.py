"""How often the same content came before in one file: two like readings a minute apart in a log are two."""

from __future__ import annotations

import sqlite3
from types import TracebackType

CACHE_KIB = 8192


class Occurrences:
    """Counts contents by their digest, in a table on disk that goes with the process: memory does not grow."""

    def __init__(self) -> None:
        self._table = sqlite3.connect("")  # a private file in the temporary folder, beyond the cache
        self._table.isolation_level = None
        for pragma in ("journal_mode=off", "synchronous=off", f"cache_size=-{CACHE_KIB}"):
            self._table.execute(f"PRAGMA {pragma}")
        self._table.execute("CREATE TABLE seen (content BLOB PRIMARY KEY, times INTEGER NOT NULL) WITHOUT ROWID")
        self._table.execute("BEGIN")

    def next(self, content: bytes) -> int:
        """1 for content that is new in this file, 2 when it comes again, and so on."""
        statement = (
            "INSERT INTO seen VALUES (?, 1) ON CONFLICT (content) DO UPDATE SET times = times + 1 RETURNING times"
        )
        ((times,),) = self._table.execute(statement, (content,)).fetchall()
        return int(times)

    def __enter__(self) -> Occurrences:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._table.close()
