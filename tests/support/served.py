"""The service as a process of its own, on a loopback port, to be killed and started again."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from typing import Self

from support.requirements import CHECKOUT

STARTS_WITHIN_SECONDS = 60.0


class Served:
    """`uvicorn` serving a database; every start is on the same port, so that clients find it again."""

    def __init__(self, database_url: str, log: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self._environment = {**os.environ, "OOID_DATABASE_URL": database_url, "PYTHONUNBUFFERED": "1"}
        self._log = log
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()

    def start(self) -> None:
        """Start the service and wait until it takes connections (only then has uvicorn loaded the app)."""
        options = ["--factory", "--port", str(self.port), "--log-level", "warning", "--no-access-log"]
        with self._log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "uvicorn", "service.main:create_app", *options],
                cwd=CHECKOUT,
                env=self._environment,
                stdout=log,
                stderr=log,
            )
        self._wait_until_it_listens()

    def kill(self) -> None:
        """End the process as a power cut would: no signal handler, no farewell (SIGKILL)."""
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            self._process = None

    def _wait_until_it_listens(self) -> None:
        assert self._process is not None
        end = time.monotonic() + STARTS_WITHIN_SECONDS
        while time.monotonic() < end:
            if self._process.poll() is not None:
                break
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=1.0):
                return
            time.sleep(0.02)
        raise RuntimeError(f"the service did not start: {self._log.read_text()[-2000:]}")
