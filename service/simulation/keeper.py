"""A keeper who re-sets pump or reactor from the last tests, as wrong as those are."""

from dataclasses import dataclass

import numpy as np

from service.simulation.chemistry import Values
from service.simulation.scenario import Keeping


@dataclass(slots=True)
class Notebook:
    """The last test and the one the last change was based on, shape (runs) each; nan where there is none."""

    value: Values
    day: Values
    earlier_value: Values
    earlier_day: Values

    @classmethod
    def empty(cls, runs: int) -> "Notebook":
        """Return a notebook without an entry."""
        return cls(*(np.full(runs, np.nan) for _ in range(4)))

    def write(self, reading: Values, day: float) -> None:
        """Take down the readings of this hour (nan: none)."""
        new = ~np.isnan(reading)
        self.value = np.where(new, reading, self.value)
        self.day = np.where(new, day, self.day)

    def wanted_change(self, keeping: Keeping) -> Values:
        """Return the change of supply the keeper decides on, meq/L/d: stop the slope, close the distance; 0 if unsure.

        Eight tenths of it, as people do. Without two tests on different days nothing is changed.
        """
        span = self.day - self.earlier_day
        known = span > 0.5
        slope = (self.value - self.earlier_value) / np.where(known, span, 1.0)
        change = 0.8 * ((keeping.target_meq_l - self.value) / keeping.horizon_days - slope)
        self.earlier_value, self.earlier_day = self.value, self.day
        return np.where(known, change, 0.0)


def due(keeping: Keeping, hour: int) -> bool:
    """Tell whether the keeper re-sets at this hour: noon, every so many days, not on the first."""
    return keeping.every_days > 0 and hour > 24 and hour % (24 * keeping.every_days) == 12
