"""Seeded random numbers, one independent stream for every run, system and purpose."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np

from service.simulation.chemistry import Values


@dataclass(frozen=True, slots=True)
class Streams:
    """The random numbers of one system in many runs.

    A stream is named by seed, system and purpose, so that a scenario that asks for one more kind of number leaves every
    other number as it was, and a run does not depend on which runs are computed beside it.
    """

    seeds: tuple[int, ...]
    system: str

    def alone(self, run: int) -> "Streams":
        """Return the streams of one run."""
        return Streams((self.seeds[run],), self.system)

    def generator(self, seed: int, purpose: str) -> np.random.Generator:
        """Return the generator of one run for one purpose."""
        key = (crc32(self.system.encode()), crc32(purpose.encode()))
        return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=key))

    def normal(self, purpose: str, *shape: int) -> Values:
        """Return standard normal numbers, shape (*shape, runs)."""
        return self._stack(purpose, lambda generator: generator.standard_normal(shape))

    def uniform(self, purpose: str, bounds: Sequence[float], *shape: int) -> Values:
        """Return numbers even between two bounds, shape (*shape, runs)."""
        low, high = bounds
        return self._stack(purpose, lambda generator: generator.uniform(low, high, shape))

    def _stack(self, purpose: str, draw: Callable[[np.random.Generator], Values]) -> Values:
        return np.stack([np.asarray(draw(self.generator(seed, purpose))) for seed in self.seeds], axis=-1)


def wander(steps: Values, sd_per_root_day: float, return_days: float) -> Values:
    """Return a random walk that is pulled back to 0 with a time constant, from hourly normal steps, same shape.

    x' = -x / return_days + sd dW, the first value 0; an exact hourly step of the Ornstein-Uhlenbeck process.
    """
    keep = np.exp(-1.0 / (24.0 * return_days))
    size = sd_per_root_day * np.sqrt(return_days / 2.0 * (1.0 - keep**2))
    walk = np.zeros_like(steps)
    for hour in range(1, len(steps)):
        walk[hour] = keep * walk[hour - 1] + size * steps[hour]
    return walk
