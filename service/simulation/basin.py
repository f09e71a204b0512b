"""Well-mixed water that holds six solutes, and the ledger of what crosses the site's boundary."""

from dataclasses import dataclass, field

import numpy as np

from service.simulation.chemistry import Values

SOLUTES = ("alkalinity", "carbon", "calcium", "magnesium", "salt", "nitrate")
ALKALINITY, CARBON, CALCIUM, MAGNESIUM, SALT, NITRATE = range(len(SOLUTES))
"""Rows of every contents array: meq, mmol, mmol, mmol, salinity times litres, and mmol."""


def column(
    alkalinity: float, carbon: float, calcium: float, magnesium: float = 0.0, salt: float = 0.0, nitrate: float = 0.0
) -> Values:
    """Return what one unit of a process adds, shape (6, 1)."""
    return np.array([[alkalinity], [carbon], [calcium], [magnesium], [salt], [nitrate]])


ARAGONITE = column(1.0, 0.5, 0.5)
"""One meq of dissolved media: CaCO3 gives two of alkalinity, one of carbon, one of calcium."""
LIMEWATER = column(1.0, 0.0, 0.5)
CARBON_DIOXIDE = column(0.0, 1.0, 0.0)
NITRIFIED = column(-1.0, 0.0, 0.0, nitrate=1.0)
"""One meq lost to nitrate formed from food: one mmol of it (Wolf-Gladrow et al. 2007)."""
BICARBONATE = column(1.0, 1.0, 0.0)


def skeleton(magnesium_share: float) -> Values:
    """Return what one meq of calcification takes out, as a positive column."""
    return column(1.0, 0.5, 0.5 * (1.0 - magnesium_share), 0.5 * magnesium_share)


@dataclass(slots=True)
class Ledger:
    """What came in over the boundary (negative: left), by named term, shape (6, runs) each.

    Boundary: the water of the system and of its reactor chamber. Coral skeletons, media, gas, air, drain, new water and
    the biology's own carbon are outside. What passes between system and chamber is inside and never booked.
    """

    runs: int
    flows: dict[str, Values] = field(default_factory=dict)

    def book(self, term: str, amounts: Values) -> Values:
        """Add amounts (6, runs) to a term and return them."""
        if term not in self.flows:
            self.flows[term] = np.zeros((len(SOLUTES), self.runs))
        self.flows[term] += amounts
        return amounts


@dataclass(slots=True)
class Basin:
    """Contents (6, runs) in a volume (runs) of litres."""

    contents: Values
    volume: Values

    def concentrations(self) -> Values:
        """Return mmol (meq, salinity) per litre, shape (5, runs)."""
        return self.contents / self.volume

    def drain(self, litres: Values | float) -> Values:
        """Take water out; return what it carried off as a negative amount."""
        lost: Values = -self.contents * (litres / self.volume)
        self.contents = self.contents + lost
        self.volume = self.volume - litres
        return lost

    def fill(self, litres: Values | float, concentrations: Values) -> Values:
        """Pour water in; return what it brought."""
        brought = concentrations * litres
        self.contents = self.contents + brought
        self.volume = self.volume + litres
        return brought
