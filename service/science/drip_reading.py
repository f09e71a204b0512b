"""Is it the drip that changed, or only its reading? What the water says of it at constant gas.

At constant gas a slower drip carries a richer effluent: what a litre gains goes with Q^-(1 - e), e the drip's share in
what limits the chamber (`service.science.chamber_limits`): -0.1 to 0.3 in effluents from 20 to 45 dKH, less in thinner
ones. So a drip that truly fell to a part r lets a litre gain at least r^-0.7 as much. A reading that fell alone changes
nothing in the water.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.science.level_change import Z_95, LevelChange

LEAST_POWER = 0.7
"""By which power of a slower drip an effluent gains at the least (1 less the drip's largest share)."""


@dataclass(frozen=True, slots=True)
class ReadingAlone:
    """Whether the water followed a change of the drip's reading.

    expected_ratio: what each litre would gain, over what it did, were the change real (at the least); gained_ratio what
    it did gain, 95 % interval. score: by how many standard deviations it fell short of following. unmoved: it is nearer
    to not having moved at all.
    """

    expected_ratio: float
    gained_ratio: float
    low: float
    high: float
    score: float
    unmoved: bool


def reading_alone(*, flow: LevelChange, gained: LevelChange) -> ReadingAlone:
    """The change of a drip's reading held against the change of what each litre gained for the same gas and setting.

    Logarithms: what followed at least, -0.7 ln r, against ln g with the errors of both.

    Source: DERIVED, PRACTICE.
    Check value: none, tested by test_a_reading_alone_by_hand.
    """
    read, did = np.log(flow.ratio), np.log(gained.ratio)
    expected = -LEAST_POWER * read
    sd = np.hypot(_sd(gained), LEAST_POWER * _sd(flow))
    short = (did - expected) * np.sign(read)  # above nought where the effluent moved less than the drip's reading
    return ReadingAlone(
        expected_ratio=float(np.exp(expected)),
        gained_ratio=gained.ratio,
        low=gained.low,
        high=gained.high,
        score=float(short / sd),
        unmoved=bool(abs(did) < 0.5 * abs(expected)),
    )


def _sd(change: LevelChange) -> float:
    """Of the logarithm of a ratio, from its interval."""
    return float(np.log(change.high / change.low) / (2.0 * Z_95))
