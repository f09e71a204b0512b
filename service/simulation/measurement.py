"""How somebody measures: on which days, at which hour, with which kit and how wrong."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from service.simulation.chemistry import Values
from service.simulation.faults import Begun, Degassed, begun_misread, begun_offset, drawn_sign
from service.simulation.scenario import Test
from service.simulation.streams import Streams

Hours = NDArray[np.int64]
KIT_DRIFT, INSTRUMENT_OFF, MISREAD, DEGASSED = "kit drift", "instrument off", "misread", "degassed samples"


@dataclass(frozen=True, slots=True)
class Sampling:
    """One test in one run: when it is taken and what will be wrong with it.

    Shapes: hours, bias and degassed (samples), noise and outlier (samples, replicates).
    """

    test: Test
    hours: Hours
    factor: float
    bias: Values
    noise: Values
    outlier: Values
    degassed: Values
    lot: tuple[str | None, ...]
    faults: "tuple[Wrong, ...]"
    standards: "Standards | None"
    scale: Begun | None

    def read(self, truth: Values) -> Values:
        """Return what the kit shows for the true values at the sampling hours, shape (samples, replicates)."""
        return shown(self.test, truth * self.factor_at(self.hours) + self.bias, truth, self.noise, self.outlier)

    def factor_at(self, hours: Hours) -> Values:
        """Return by how many times everything is read too high at some hours."""
        return scaled(self.factor, self.scale, hours)


@dataclass(frozen=True, slots=True)
class Wrong:
    """What is wrong with kit, instrument or samples from a day on."""

    what: str
    at: float
    size: float
    over_days: float = 0.0


@dataclass(frozen=True, slots=True)
class Standards:
    """The readings of a check standard in one run: hours and lots (times), values (times, replicates)."""

    hours: Hours
    lot: tuple[str | None, ...]
    value: Values


def shown(test: Test, biased: Values, truth: Values, noise: Values, outlier: Values | float) -> Values:
    """Return what a kit shows, (times, replicates): the biased value with noise, in the steps it can show."""
    spread = test.noise_factor * stated_sd(test, truth)
    values: Values = biased[:, None] + spread[:, None] * noise + outlier
    step = test.resolution
    return np.round(np.round(values / step) * step, 9) if step else values


def scaled(factor: float, scale: Begun | None, hours: Hours) -> Values:
    """Return the factor of a run at some hours, times the wrong scale from its day on."""
    wrong = scale.at_days(hours[:, None] / 24.0)[:, 0] if scale else np.zeros(len(hours))
    times: Values = factor * (1.0 + wrong)
    return times


def stated_sd(test: Test, value: Values) -> Values:
    """Return the sd the method is said to have at these values."""
    return np.hypot(test.sd, test.sd_relative * value)


@dataclass(frozen=True, slots=True)
class _Kit:
    """Kit or instrument in one run: each lot's first day and bias, what a bad lot adds, an offset."""

    test: Test
    opened: tuple[float, ...]
    bad: tuple[float, ...]
    off: Begun | None
    scale: Begun | None
    bias: tuple[float, ...] = ()

    def at(self, hours: Hours) -> tuple[Values, tuple[str | None, ...]]:
        """Return the bias and the code of the lot in use at some hours."""
        days, bias, number = hours / 24.0, np.zeros(len(hours)), np.full(len(hours), -1)
        for index, lot in enumerate(self.test.lot):
            since = days - self.opened[index]
            grown = np.clip(since / lot.grows_over_days, 0.0, 1.0) if lot.grows_over_days else np.ones(len(hours))
            number = np.where(since >= 0.0, index, number)
            bias = np.where(since >= 0.0, self.bias[index] + self.bad[index] * grown, bias)
        if self.off:
            bias = bias + self.off.at_days(days[:, None])[:, 0]
        return bias, tuple(self.test.lot[index].code if index >= 0 else None for index in number)

    def faults(self) -> list[Wrong]:
        """Return the bad lots and the offset."""
        lots = zip(self.test.lot, self.opened, self.bad, strict=True)
        found = [Wrong(KIT_DRIFT, day, size, lot.grows_over_days) for lot, day, size in lots if size]
        begun = [each for each in (self.off, self.scale) if each]
        return found + [Wrong(each.what, float(each.day[0]), float(each.size[0]), each.over_days) for each in begun]


def sampling(test: Test, index: int, days: int, streams: Streams) -> tuple[Sampling, ...]:
    """Return one test of a system in every run, the draws of each run its own."""
    purpose = f"test {index}"
    return tuple(
        _sampling(kit, purpose, days, streams.alone(run)) for run, kit in enumerate(_kits(test, purpose, streams))
    )


def _kits(test: Test, purpose: str, streams: Streams) -> list[_Kit]:
    """Draw what does not stand in the test's own stream, so that a sound kit's numbers stay as they are."""
    opened, bad = [], []
    for at, lot in enumerate(test.lot):
        later = np.round(24.0 * streams.uniform(f"{purpose} lot {at}", (0.0, lot.from_day_spread))) / 24.0
        sign = drawn_sign(f"{purpose} lot {at}", streams) if lot.either_sign else 1.0
        opened.append(lot.from_day + later)
        bad.append(lot.bias * sign + 0.0 * later)
    off = begun_offset(INSTRUMENT_OFF, f"{purpose} off", test.off, streams) if test.off else None
    scale = begun_misread(MISREAD, f"{purpose} misread", test.misread, streams) if test.misread else None
    return [
        _Kit(
            test,
            tuple(float(day[run]) for day in opened),
            tuple(float(size[run]) for size in bad),
            off and off.of(run),
            scale and scale.of(run),
        )
        for run in range(len(streams.seeds))
    ]


def _sampling(kit: _Kit, purpose: str, days: int, streams: Streams) -> Sampling:
    """Draw for as many samples as there could be, then keep those that fall in the record and outside the gaps."""
    (seed,), test = streams.seeds, kit.test
    generator = streams.generator(seed, purpose)
    most, shape = days + 2, (days + 2, test.replicates)
    apart = np.cumsum(generator.integers(*test.every_days, most, endpoint=True))
    day = test.first_day + apart - apart[0]
    hour = np.clip(np.round(test.hour + test.hour_spread * generator.standard_normal(most)), 0, 23)
    noise = generator.standard_normal(shape)
    wrong = generator.random(shape) < test.outlier_probability
    size = generator.uniform(*test.outlier_size, shape) * generator.choice((-1.0, 1.0), shape)
    factor = 1.0 + test.systematic_relative * float(generator.standard_normal())
    high = generator.uniform(*test.reads_high, most)
    kit = replace(kit, bias=tuple(lot.bias_sd * float(generator.standard_normal()) for lot in test.lot))
    at = (24 * day + hour).astype(np.int64)
    kept = (at < 24 * days) & ~np.any([(day >= first) & (day < last) for first, last in test.gaps] or [day < 0], axis=0)
    bias, lots = kit.at(at[kept])
    degassed, of_samples = _degassed(test.degassed, at[kept], streams.generator(seed, f"{purpose} degassed"))
    return Sampling(
        test=test,
        hours=at[kept],
        factor=factor,
        bias=high[kept] + bias + degassed,
        noise=noise[kept],
        outlier=np.where(wrong, size, 0.0)[kept],
        degassed=degassed,
        lot=lots,
        faults=(*kit.faults(), *of_samples),
        standards=_standards(kit, factor, days, streams.generator(seed, f"{purpose} standard")),
        scale=kit.scale,
    )


def _degassed(spec: Degassed | None, hours: Hours, generator: np.random.Generator) -> tuple[Values, list[Wrong]]:
    """Return how much too high each sample reads, 0 for a fresh one, and the fault if there is one."""
    if spec is None:
        return np.zeros(len(hours)), []
    begun = float(generator.uniform(*spec.between_days))
    stood = (generator.random(len(hours)) < spec.share) & (hours / 24.0 >= begun)
    high = np.where(stood, generator.uniform(*spec.reads_high, len(hours)), 0.0)
    return high, [Wrong(DEGASSED, begun, spec.share)]


def _standards(kit: _Kit, factor: float, days: int, generator: np.random.Generator) -> Standards | None:
    spec = kit.test.check_standard
    if spec is None:
        return None
    hours = np.arange(24 * spec.first_day + kit.test.hour, 24 * days, 24 * spec.every_days, dtype=np.int64)
    bias, lots = kit.at(hours)
    truth = np.full(len(hours), spec.stated * (1.0 + spec.error_relative * float(generator.standard_normal())))
    noise = generator.standard_normal((len(hours), spec.replicates))
    return Standards(hours, lots, shown(kit.test, truth * scaled(factor, kit.scale, hours) + bias, truth, noise, 0.0))


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
                factor[sample.hours, run] = sample.factor_at(sample.hours)
        return cls(factor, error)
