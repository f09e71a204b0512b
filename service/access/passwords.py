"""Passwords and PINs: argon2id (RFC 9106), slow on purpose, and the few rules that a new one is held to.

No rules of composition (NIST SP 800-63B, 3.1.1.2): length, and none of the commonest.
"""

from __future__ import annotations

import secrets
import threading
import unicodedata
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import VerifyMismatchError

from service.access.common_passwords import is_commonplace
from service.errors import Busy, Fault, Unacceptable
from service.settings import Settings

SHORTEST, LONGEST = 12, 256
AT_ONCE = 2  # each takes `password_memory_kib`: a crowd at the door must not take the machine's memory
WAITS_SECONDS = 10.0


class Hasher:
    """Makes and verifies hashes under the settings' parameters, a few at a time."""

    def __init__(self, settings: Settings) -> None:
        self._argon = PasswordHasher(
            time_cost=settings.password_passes,
            memory_cost=settings.password_memory_kib,
            parallelism=settings.password_lanes,
        )
        self._turns = threading.BoundedSemaphore(AT_ONCE)
        self._dummy: str | None = None

    def hash(self, secret: str) -> str:
        """The encoded argon2id hash of a secret, its parameters and salt inside."""
        with _Turn(self._turns):
            return self._argon.hash(_normal(secret))

    def matches(self, stored: str | None, secret: str) -> bool:
        """Whether this is the secret behind a hash. None (nobody's) takes the same work and is never a match."""
        with _Turn(self._turns):
            try:
                self._argon.verify(self._of_nobody() if stored is None else stored, _normal(secret))
            except VerifyMismatchError:
                return False
        return stored is not None

    def is_outdated(self, stored: str) -> bool:
        """Whether a hash was made under other parameters than those of now."""
        return self._argon.check_needs_rehash(stored)

    def _of_nobody(self) -> str:
        if self._dummy is None:
            self._dummy = self._argon.hash(secrets.token_urlsafe(32))
        return self._dummy

    def prepare(self) -> None:
        """Make the hash that unknown names are tried on, so that the first of them takes no longer than others."""
        with _Turn(self._turns):
            self._of_nobody()


class _Turn:
    """One of the few places at the hashing; raises Busy rather than wait without end."""

    def __init__(self, turns: threading.BoundedSemaphore) -> None:
        self._turns = turns

    def __enter__(self) -> None:
        if not self._turns.acquire(timeout=WAITS_SECONDS):
            raise Busy("Too many people sign in at this moment. Try again in a few seconds.")

    def __exit__(self, *_problem: object) -> None:
        self._turns.release()


def require_good_password(password: str, *, name: str, pointer: str) -> None:
    """Raise Unacceptable for a password that is too short, too long, the person's own name, or among the commonest."""
    text = _normal(password)
    if not SHORTEST <= len(text) <= LONGEST:
        detail = f"A password has {SHORTEST} to {LONGEST} characters of any kind. A few words make a good one."
    elif text.casefold() == _normal(name).casefold() or is_commonplace(text):
        detail = "This password is among the first that anybody would try. Choose another; a few words make a good one."
    else:
        return
    raise Unacceptable(detail, (Fault(pointer, detail),))


def require_good_pin(pin: str, *, pointer: str) -> None:
    """Raise Unacceptable unless a PIN is 4 to 8 digits, neither all alike nor counting up or down."""
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)} if _digits(pin) else set()
    if not _digits(pin) or not 4 <= len(pin) <= 8:
        detail = "A PIN has 4 to 8 digits."
    elif len(steps) == 1 and steps <= {0, 1, 9}:
        detail = "This PIN is among the first that anybody would try. Choose digits that neither repeat nor count."
    else:
        return
    raise Unacceptable(detail, (Fault(pointer, detail),))


def _digits(pin: str) -> bool:
    return pin.isascii() and pin.isdigit()


def _normal(secret: str) -> str:
    """One form of what looks alike on different keyboards (NFKC)."""
    return unicodedata.normalize("NFKC", secret)
