"""What the consumption estimate answers with."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Course:
    """Something over time with its 95 % interval, arrays (instants): consumption a day, or the concentration."""

    at_days: Values
    value: Values
    low: Values
    high: Values


@dataclass(frozen=True, slots=True)
class Expected:
    """The concentration expected at the instant asked, and its sd before the noise of a reading is added."""

    at_days: float
    value: float
    sd: float

    def score(self, *, value: float, reading_sd: float) -> float:
        """How many standard deviations a new reading at this instant lies from what is expected."""
        return (value - self.value) / float(np.hypot(self.sd, reading_sd))

    def band(self, *, reading_sd: float) -> tuple[float, float]:
        """Where 95 % of new readings at this instant would lie."""
        half = 1.959964 * float(np.hypot(self.sd, reading_sd))
        return self.value - half, self.value + half


@dataclass(frozen=True, slots=True)
class SetAside:
    """A reading that was not used: its index in the record, how far off it was in sd, and why."""

    index: int
    score: float
    reason: str


@dataclass(frozen=True, slots=True)
class LevelShift:
    """The level jumped without a record: between the two instants, by how much with its 95 % interval."""

    after_days: float
    at_days: float
    size: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LotStep:
    """How far a new reagent lot reads from the one before, as the readings of the water alone tell: size and sd.

    index is the first reading with the new lot; both lots by their numbers in the record.
    """

    index: int
    at_days: float
    old_lot: int
    new_lot: int
    size: float
    sd: float


@dataclass(frozen=True, slots=True)
class Missing:
    """What would settle the estimate: readings of the water, an input's flow or inflow, or the inputs' calibration."""

    what: Literal["readings", "flow", "inflow", "calibration"]
    subject: str = ""


@dataclass(frozen=True, slots=True)
class Used:
    """How much of the record went in: counts, and the window in days (None without readings)."""

    readings: int
    set_aside: int
    doses: int
    water_changes: int
    checks: int
    from_days: float | None
    to_days: float | None


@dataclass(frozen=True, slots=True)
class ConsumptionEstimate:
    """Consumption at an instant, concentration a day, with its 95 % interval; all None when it cannot be told.

    course is the consumption where it was asked for; levels the concentration at every reading and water change, given
    with it. best, best_low, best_high say the same whether or not it is precise enough to be called an estimate (None
    only where there is nothing to go by). drift: mean s_d, concentration a day per sqrt(day); noise_factor: mean ratio
    of the kit's noise to what is stated.
    """

    value: float | None
    low: float | None
    high: float | None
    best: float | None
    best_low: float | None
    best_high: float | None
    expected: Expected | None
    course: Course | None
    levels: Course | None
    set_aside: tuple[SetAside, ...]
    level_shifts: tuple[LevelShift, ...]
    missing: tuple[Missing, ...]
    used: Used
    drift: float | None
    noise_factor: float | None
    lot_steps: tuple[LotStep, ...] = ()
