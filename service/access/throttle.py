"""How often somebody may try: stored, so that a restart forgives nothing; waits grow to a quarter of an hour, never on.

An attempt is charged before it is judged: a hundred at once are a hundred attempts. NIST SP 800-63B 3.2.2, ASVS 6.3.1.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from sqlalchemy import delete
from sqlmodel import Session, col

from service.access.models import Attempts
from service.access.secrets import hashed
from service.errors import TooMany

LONGEST_WAIT = timedelta(minutes=15)
FIRST_WAIT = timedelta(seconds=2)
FORGOTTEN_AFTER = timedelta(hours=24)


class Gauge(StrEnum):
    """What attempts are counted by."""

    NAME = "name"
    ADDRESS = "address"
    PERSON = "person"
    DEVICE = "device"


FREE = {Gauge.NAME: 5, Gauge.ADDRESS: 20, Gauge.PERSON: 5, Gauge.DEVICE: 10}  # an address may be a whole house's


@dataclass(frozen=True)
class Tried:
    """What one attempt is counted by: a name as typed, an address. Stored as a hash: people type passwords there."""

    gauge: Gauge
    value: str

    @property
    def key(self) -> bytes:
        """The 32 bytes under which it is counted."""
        return hashed(f"{self.gauge}:{self.value.strip().casefold()}")


def wait_after(failures: int, free: int) -> timedelta:
    """How long to wait after so many failures: nothing at first, then doubling from 2 s to 15 min."""
    beyond = failures - free
    return timedelta(0) if beyond < 0 else min(FIRST_WAIT * 2 ** min(beyond, 20), LONGEST_WAIT)


def charge(session: Session, tried: Sequence[Tried], *, at: datetime) -> None:
    """Count one attempt by each of these. Raises TooMany, counting nothing, while one of them has to wait."""
    session.execute(delete(Attempts).where(col(Attempts.failed_at) <= at - FORGOTTEN_AFTER))
    rows = [
        (each, session.get(Attempts, each.key, with_for_update=True)) for each in sorted(tried, key=lambda t: t.key)
    ]
    ends = [row.failed_at + wait_after(row.failures, FREE[each.gauge]) for each, row in rows if row is not None]
    if ends and max(ends) > at:
        seconds = -(-(max(ends) - at) // timedelta(seconds=1))
        raise TooMany(f"Too many wrong tries. Wait {seconds} s and try again; a one-time link works now.", (), seconds)
    for each, row in rows:
        if row is None:
            session.add(Attempts(key=each.key, failures=1, failed_at=at))
        else:
            row.failures += 1
            row.failed_at = at


def forgive(session: Session, tried: Sequence[Tried]) -> None:
    """After a good attempt: what is the person's own begins anew; an address is only given this one back."""
    for each in tried:
        row = session.get(Attempts, each.key, with_for_update=True)
        if row is None:
            continue
        if each.gauge in (Gauge.ADDRESS, Gauge.DEVICE) and row.failures > 1:
            row.failures -= 1
        else:
            session.delete(row)
