"""A loopback proxy that mistreats requests: loses answers, resets connections, or holds answers until it is told.

One connection upstream a request, so that every request has a fate of its own.
"""

from __future__ import annotations

import random
import socket
import struct
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Self

RESET_AT_ONCE = struct.pack("ii", 1, 0)  # SO_LINGER with no time: closing sends RST


@dataclass
class Passed:
    """One request that came: its method and path, and what became of it (`reset`, `lost` or `answered`)."""

    method: str
    path: str
    fate: str = "under way"


@dataclass
class Lossy:
    """A proxy in front of a port of this machine. `lose` and `reset` are shares of the requests under `prefix`.

    Clear `may_answer` to hold answers under `prefix` back, set it to let them go.
    """

    target: int
    prefix: str = "/v1/"
    lose: float = 0.0
    reset: float = 0.0
    seed: int = 1
    passed: list[Passed] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.may_answer = threading.Event()
        self.may_answer.set()
        self._random = random.Random(self.seed)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://localhost:{self._listener.getsockname()[1]}"

    def __enter__(self) -> Self:
        threading.Thread(target=self._accept, daemon=True).start()
        return self

    def __exit__(self, *_problem: object) -> None:
        self.may_answer.set()
        self._listener.close()

    def seen(self, method: str) -> list[Passed]:
        """The requests of this method that came, under the prefix."""
        return [each for each in self.passed if each.method == method and each.path.startswith(self.prefix)]

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                threading.Thread(target=self._serve, args=(client,), daemon=True).start()

    def _serve(self, client: socket.socket) -> None:
        with client, suppress(OSError):
            request = _whole_request(client)
            if request is None:
                return
            method, path = request.split(b" ", 2)[:2]
            passed = Passed(method.decode(), path.decode())
            self.passed.append(passed)
            is_mistreated = passed.path.startswith(self.prefix)
            luck = self._random.random() if is_mistreated else 1.0
            if luck < self.reset:
                passed.fate = "reset"
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_AT_ONCE)
                return
            answer = self._asked(request)
            if is_mistreated:
                self.may_answer.wait(timeout=60)
            if luck < self.reset + self.lose:
                passed.fate = "lost"
                client.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, RESET_AT_ONCE)
                return
            client.sendall(answer)
            passed.fate = "answered"

    def _asked(self, request: bytes) -> bytes:
        head, _, body = request.partition(b"\r\n\r\n")
        lines = [line for line in head.split(b"\r\n") if not line.lower().startswith(b"connection:")]
        answer = b""
        with socket.create_connection(("127.0.0.1", self.target)) as server:
            server.sendall(b"\r\n".join([*lines, b"Connection: close"]) + b"\r\n\r\n" + body)
            while part := server.recv(65536):
                answer += part
        return answer


def _whole_request(client: socket.socket) -> bytes | None:
    """Everything of one request: its head, and as much body as it announces."""
    received = b""
    while b"\r\n\r\n" not in received:
        part = client.recv(65536)
        if not part:
            return None
        received += part
    head, _, body = received.partition(b"\r\n\r\n")
    length = next((int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")), 0)
    while len(body) < length:
        part = client.recv(65536)
        if not part:
            return None
        body += part
    return head + b"\r\n\r\n" + body
