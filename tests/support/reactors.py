"""Reactors of every kind: what was read of them known well, badly or not at all; none to three systems fed."""

from __future__ import annotations

from uuid import UUID

import numpy as np

from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Chamber, Fed, Gas, Others, Situation
from service.science.answering import Answer
from service.science.reactor_output import Mode

TOLD = Answer(0.5, 0.4, 0.6, np.array([0.45, 0.6]), np.array([0.5, 0.5]))


class _Draw:
    """Numbers by chance."""

    def __init__(self, seed: int) -> None:
        self.random = np.random.default_rng(seed)

    def between(self, low: float, high: float) -> float:
        return float(self.random.uniform(low, high))

    def is_so(self, chance: float) -> bool:
        return bool(self.random.uniform() < chance)

    def known(self, value: float, relative_sd: float, chance: float) -> Number | None:
        """A number, where it was read."""
        return Number(value, abs(value) * relative_sd) if self.is_so(chance) else None


def reactors(count: int, *, seed: int = 1) -> list[Situation]:
    """So many different reactors."""
    draw = _Draw(seed)
    return [_reactor(draw, number) for number in range(count)]


def _reactor(draw: _Draw, number: int) -> Situation:
    systems = int(draw.random.choice([0, 1, 1, 1, 1, 2, 3]))
    return Situation(
        chamber=_chamber(draw),
        fed=tuple(_fed(draw, UUID(int=10 * number + place), 1.0 / systems) for place in range(systems)),
        gas=Gas(
            by_weighing=draw.known(draw.between(-2, 40), 0.05, 0.7),
            by_bubbles=draw.known(draw.between(5, 40), 0.2, 0.4),
            by_gas_flow=draw.known(draw.between(5, 40), 0.1, 0.3),
            bubbles_per_s=1.2 if draw.is_so(0.5) else None,
            significant_score=4.0 if draw.is_so(0.5) else 1.96,
        ),
        mode=Mode.PH_CONTROLLED if draw.is_so(0.5) else Mode.GAS_LIMITED,
        subject_id=UUID(int=10 * number + 9),
        doubts_flow=draw.is_so(0.1),
        is_steady=draw.is_so(0.85),
    )


def _chamber(draw: _Draw) -> Chamber:
    """From far below the ceiling to above it; now and then nothing drips, or a sample lost gas on its way."""
    ph = draw.between(6.0, 7.0) if draw.is_so(0.6) else draw.between(6.0, 8.0)
    return Chamber(
        flow=draw.known(0.0 if draw.is_so(0.1) else draw.between(20, 150), draw.between(0.03, 0.1), 0.93),
        alkalinity=draw.known(draw.between(1.5, 14.0), 0.03, 0.93),
        ph=draw.known(ph, 0.015, 0.9),
        temperature_c=draw.between(20, 28) if draw.is_so(0.5) else None,
        sample_ph=draw.known(ph + draw.between(-0.1, 0.5), 0.01, 0.2),
    )


def _fed(draw: _Draw, system_id: UUID, share: float) -> Fed:
    return Fed(
        share=share,
        system_id=system_id if draw.is_so(0.8) else None,
        alkalinity=draw.known(draw.between(2.2, 4.0), 0.02, 0.95),
        ph=draw.known(draw.between(7.8, 8.4), 0.006, 0.85),
        temperature_c=draw.between(22, 28),
        salinity=draw.between(30, 37),
        boron_factor=2.0 if draw.is_so(0.2) else 1.0,
        volume_l=draw.between(300, 3000) if draw.is_so(0.95) else None,
        demand=draw.known(draw.between(-20, 900), draw.between(0.02, 0.2), 0.93),
        others=Others(Number(draw.between(0, 50), 3.0), draw.between(0, 20), 2.6) if draw.is_so(0.9) else None,
        answer=TOLD if draw.is_so(0.4) else None,
        demand_knows_reactor=draw.is_so(0.5),
    )
