"""How somebody measures: on which days, at which hour, with which kit and how wrong."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.simulation.chemistry import Values
from service.simulation.scenario import Test
from service.simulation.streams import Streams

Hours = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Sampling:
    """One test in one run: when it is taken and what will be wrong with it.

    Shapes: hours and bias (samples), the rest (samples, replicates) but for the systematic factor.
    """

    test: Test
    hours: Hours
    factor: float
    bias: Values
    noise: Values
    outlier: Values
    lot: tuple[str | None, ...]

    def read(self, truth: Values) -> Values:
        """Return what the kit shows for the true values at the sampling hours, shape (samples, replicates)."""
        shown = truth * self.factor + self.bias
        spread = self.test.noise_factor * stated_sd(self.test, truth)
        values: Values = shown[:, None] + spread[:, None] * self.noise + self.outlier
        step = self.test.resolution
        return np.round(np.round(values / step) * step, 9) if step else values


def stated_sd(test: Test, value: Values) -> Values:
    """Return the sd the method is said to have at these values."""
    return np.hypot(test.sd, test.sd_relative * value)


def sampling(test: Test, index: int, days: int, streams: Streams) -> tuple[Sampling, ...]:
    """Return one test of a system in every run, the draws of each run its own."""
    return tuple(_sampling(test, days, streams.generator(seed, f"test {index}")) for seed in streams.seeds)


def _sampling(test: Test, days: int, generator: np.random.Generator) -> Sampling:
    """Draw for as many samples as there could be, then keep those that fall in the record and outside the gaps."""
    most, shape = days + 2, (days + 2, test.replicates)
    apart = np.cumsum(generator.integers(*test.every_days, most, endpoint=True))
    day = test.first_day + apart - apart[0]
    hour = np.clip(np.round(test.hour + test.hour_spread * generator.standard_normal(most)), 0, 23)
    noise = generator.standard_normal(shape)
    wrong = generator.random(shape) < test.outlier_probability
    size = generator.uniform(*test.outlier_size, shape) * generator.choice((-1.0, 1.0), shape)
    factor = 1.0 + test.systematic_relative * float(generator.standard_normal())
    high = generator.uniform(*test.reads_high, most)
    at = (24 * day + hour).astype(np.int64)
    bias, lots = high, np.full(most, -1)
    for number, lot in enumerate(test.lot):
        of_lot = lot.bias_sd * generator.standard_normal()
        opened = at >= 24 * lot.from_day
        lots = np.where(opened, number, lots)
        bias = np.where(opened, high + of_lot, bias)
    kept = (at < 24 * days) & ~np.any([(day >= first) & (day < last) for first, last in test.gaps] or [day < 0], axis=0)
    return Sampling(
        test=test,
        hours=at[kept],
        factor=factor,
        bias=bias[kept],
        noise=noise[kept],
        outlier=np.where(wrong, size, 0.0)[kept],
        lot=tuple(test.lot[number].code if number >= 0 else None for number in lots[kept]),
    )


@dataclass(frozen=True, slots=True)
class Known:
    """What the keeper of each run knows of the alkalinity at each hour: the reading, else nan. (hours, runs)."""

    factor: Values
    error: Values

    @classmethod
    def of(cls, samplings: tuple[tuple[Sampling, ...], ...], hours: int, runs: int) -> "Known":
        """Return it from all alkalinity tests of a system (the first replicate is what the keeper acts on)."""
        factor, error = np.ones((hours, runs)), np.full((hours, runs), np.nan)
        for of_test in samplings:
            for run, sample in enumerate(of_test):
                zero = np.zeros(len(sample.hours))
                spread = sample.test.noise_factor * stated_sd(sample.test, zero)
                error[sample.hours, run] = sample.bias + spread * sample.noise[:, 0] + sample.outlier[:, 0]
                factor[sample.hours, run] = sample.factor
        return cls(factor, error)
