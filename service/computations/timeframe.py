"""Time and volume as the pure computations see them: days from an origin, litres in force."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session

from service.resources.places.set_points import queries as set_points
from service.resources.places.set_points.models import SetPoint
from service.storage.types import microseconds

MICROSECONDS_A_DAY = 86_400_000_000
UNSTATED_VOLUME_SD = 0.05  # common practice: a net volume is known to about 5 %


@dataclass(frozen=True)
class Clock:
    """Days counted from an origin."""

    origin: datetime

    def days(self, at: datetime) -> float:
        """Days from the origin to an instant."""
        return (at - self.origin) / timedelta(days=1)

    def days_of(self, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Days from the origin to instants in microseconds since 1970, same shape."""
        return (at_us - microseconds(self.origin)) / MICROSECONDS_A_DAY

    def at(self, days: float) -> datetime:
        """The instant after so many days."""
        return self.origin + timedelta(days=days)


@dataclass(frozen=True)
class Volume:
    """The net water volume of a system: litres from each instant on, in time order, and the relative sd it has now."""

    from_at: tuple[datetime, ...]
    litres: tuple[float, ...]
    relative_sd: float

    def at(self, instant: datetime) -> float:
        """The litres in force at an instant; before the first statement, the first."""
        known = [litres for start, litres in zip(self.from_at, self.litres, strict=True) if start <= instant]
        return known[-1] if known else self.litres[0]


def volumes(session: Session, system_ids: Sequence[UUID]) -> Mapping[UUID, Volume | None]:
    """The water volume of each system over time; None where none was ever stated."""
    stated = set_points.history(session, system_ids, quantity="water_volume")
    return {system_id: _volume(stated[system_id]) for system_id in system_ids}


def _volume(stated: Sequence[SetPoint]) -> Volume | None:
    if not stated:
        return None
    sd = stated[-1].relative_sd
    return Volume(
        from_at=tuple(row.at for row in stated),
        litres=tuple(row.value for row in stated),
        relative_sd=UNSTATED_VOLUME_SD if sd is None else sd,
    )
