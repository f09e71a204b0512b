"""One process at a time serves, migrates or restores a SQLite database: whoever does holds the file beside it."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.engine import make_url

from service.cli.refusal import Refusal

FIRST_BYTE_OF_THE_LOCK = 1 << 20  # beyond what the file says, so that others can read it on Windows too


@contextmanager
def sole_use(url: str) -> Iterator[None]:
    """Hold a SQLite database for this process; PostgreSQL looks after itself.

    The lock ends with the process, however that ends. Raises Refusal when another process holds it.
    """
    path = lock_file(url)
    if path is None:
        yield
        return
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        if not _locked(descriptor):
            holder = path.read_text().strip() or "unknown"
            raise Refusal(
                f"The database is in use by process {holder}. Stop that service first; {path} is freed when it ends."
            )
        os.ftruncate(descriptor, 0)
        os.write(descriptor, f"{os.getpid()}\n".encode())
        yield
    finally:
        os.close(descriptor)


def lock_file(url: str) -> Path | None:
    """The lock beside a SQLite database file; None for other databases."""
    address = make_url(url)
    if address.get_backend_name() != "sqlite" or not address.database:
        return None
    return Path(address.database + ".lock")


if sys.platform == "win32":
    import msvcrt

    def _locked(descriptor: int) -> bool:
        os.lseek(descriptor, FIRST_BYTE_OF_THE_LOCK, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(descriptor, 0, os.SEEK_SET)
        return True
else:
    import fcntl

    def _locked(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
