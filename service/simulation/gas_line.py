"""Cylinders on a scale: what one line's reactors draw, what leaks before it reaches them, and what hangs there."""

from dataclasses import dataclass

import numpy as np

from service.simulation.chemistry import Values
from service.simulation.scenario import Cylinder
from service.simulation.streams import Streams


def leaked(passed: Values, share: Values) -> Values:
    """Return what escapes when a share of what the cylinder loses never passes the counter, in the unit of `passed`."""
    escaped: Values = passed * (share / (1.0 - share))
    return escaped


@dataclass(frozen=True, slots=True)
class Cylinders:
    """The cylinders of one line as they are, shape (cylinders, runs) each, in the order they hang there."""

    spec: Cylinder
    tare_kg: Values
    charge_kg: Values

    @classmethod
    def drawn(cls, spec: Cylinder, streams: Streams) -> "Cylinders":
        """Draw each cylinder's true tare and fill."""
        count = 1 + len(spec.swap_days)
        return cls(
            spec,
            spec.tare_kg + spec.tare_error_kg * streams.normal("cylinder tare", count),
            spec.charge_kg + spec.charge_error_kg * streams.normal("cylinder fill", count),
        )

    def gross_mass(self, lost_g: Values, run: int) -> Values:
        """Return the mass on the scale from the grams lost since the start, kg, shape (hours); never below the tare.

        Simplification: a line is never without gas. A cylinder that would be empty weighs its tare.
        """
        content = self.spec.at_start_kg - lost_g / 1000.0
        tare = np.full(len(lost_g), self.tare_kg[0, run])
        for number, day in enumerate(self.spec.swap_days, start=1):
            hour = round(day * 24)
            content[hour:] = self.charge_kg[number, run] - (lost_g[hour:] - lost_g[hour : hour + 1]) / 1000.0
            tare[hour:] = self.tare_kg[number, run]
        gross: Values = tare + np.maximum(content, 0.0)
        return gross
