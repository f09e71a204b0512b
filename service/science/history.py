"""What is on record about one body of water, as the consumption estimate takes it: arrays, days and one unit.

The unit is the caller's (meq/L for alkalinity, mg/L for calcium and magnesium): amounts are already divided by the
net water volume, so that everything is a concentration. Days count from any origin, the same throughout one history.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Whole = NDArray[np.int64]


def _none() -> Values:
    return np.empty(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """Tests of the water, each array (readings): when, what, its standard deviation.

    replicate_group: readings with the same number >= 0 are one test done several times and are averaged; lot: a number
    for the reagent lot, a change of which allows a step. None: no replicates, one lot.
    """

    at_days: Values = field(default_factory=_none)
    value: Values = field(default_factory=_none)
    sd: Values = field(default_factory=_none)
    replicate_group: Whole | None = None
    lot: Whole | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Doses:
    """Additions spread evenly from start to end (a minute at least): concentration added in all, relative sd."""

    start_days: Values = field(default_factory=_none)
    end_days: Values = field(default_factory=_none)
    amount: Values = field(default_factory=_none)
    relative_sd: Values = field(default_factory=_none)


@dataclass(frozen=True, slots=True, kw_only=True)
class WaterChanges:
    """Water changes: the changed fraction and the concentration of the new water, each with its sd."""

    at_days: Values = field(default_factory=_none)
    fraction: Values = field(default_factory=_none)
    fraction_sd: Values = field(default_factory=_none)
    new_value: Values = field(default_factory=_none)
    new_value_sd: Values = field(default_factory=_none)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checks:
    """Measurements of an input that runs all the time, with the relative sd of what differs between checks.

    systematic_sd: relative sd of what all checks share (the watch, the titrant). drift: relative sd a square root of a
    day by which the truth wanders between checks. set_at_days, set_value: the intended value from an instant on, where
    it is known (the truth is taken to follow it up to a factor that wanders). reset_days: just after when the input was
    cleaned or repaired, so that the factor may have jumped by reset_sd; a check at that very instant is of before. A
    new set value counts as a reset.
    """

    at_days: Values = field(default_factory=_none)
    value: Values = field(default_factory=_none)
    relative_sd: Values = field(default_factory=_none)
    systematic_sd: float = 0.0
    drift: float = 0.0
    set_at_days: Values = field(default_factory=_none)
    set_value: Values = field(default_factory=_none)
    reset_days: Values = field(default_factory=_none)
    reset_sd: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Feed:
    """Water that runs in while as much runs out: a reactor's drip, a continuous exchange, a flow-through.

    flow: volumes of the system a day; inflow: concentration of what comes in; active from one day to another (None:
    throughout). name goes into `missing` when something about it was never measured.
    """

    name: str
    flow: Checks
    inflow: Checks
    from_days: float | None = None
    to_days: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SystemHistory:
    """Everything on record about one quantity of one system."""

    readings: Readings
    doses: Doses = field(default_factory=Doses)
    water_changes: WaterChanges = field(default_factory=WaterChanges)
    feeds: tuple[Feed, ...] = ()
    volume_relative_sd: float = 0.05

    def __post_init__(self) -> None:
        """Refuse columns of unequal length and numbers that cannot be."""
        for name, table in (("readings", self.readings), ("doses", self.doses), ("water_changes", self.water_changes)):
            _check_columns(name, table)
        for feed in self.feeds:
            _check_columns(f"feed {feed.name} flow", feed.flow, optional=("set_at_days", "set_value", "reset_days"))
            _check_columns(f"feed {feed.name} inflow", feed.inflow, optional=("set_at_days", "set_value", "reset_days"))
            if np.any(feed.flow.value < 0) or np.any(feed.flow.set_value < 0):
                raise ValueError(f"feed {feed.name}: a flow is negative; give it as 0 or more volumes a day")
        if np.any(~(self.readings.sd > 0)):
            raise ValueError("readings.sd: every reading needs a standard deviation above 0; give the method's")
        if np.any(self.doses.end_days < self.doses.start_days):
            raise ValueError("doses.end_days: a dose ends before it starts; swap start and end")
        fraction = self.water_changes.fraction
        if np.any((fraction < 0) | (fraction > 1)):
            raise ValueError("water_changes.fraction: outside 0 to 1; give the changed part of the water volume")
        if not 0 <= self.volume_relative_sd < 1:
            raise ValueError("volume_relative_sd: outside 0 to 1; give the sd as a part of the volume")


def _check_columns(name: str, table: object, optional: tuple[str, ...] = ()) -> None:
    """All arrays of a table one-dimensional, finite and as long as the first (those named optional apart)."""
    length = None
    for column in table.__dataclass_fields__:  # type: ignore[attr-defined]
        values = getattr(table, column)
        if not isinstance(values, np.ndarray):
            continue
        if values.ndim != 1 or not np.isfinite(values).all():
            raise ValueError(f"{name}.{column}: must be one row of finite numbers")
        length = len(values) if length is None else length
        if len(values) != length and column not in optional:
            raise ValueError(f"{name}.{column}: {len(values)} values where the first column has {length}")
