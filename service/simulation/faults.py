"""What goes wrong on a day that nobody chose: a share lost or an instrument off, as data and as drawn."""

from dataclasses import dataclass

import numpy as np

from service.simulation.chemistry import Values
from service.simulation.streams import Streams
from service.simulation.strict import ScenarioError, number

Span = tuple[float, float]
FOR_EVER = 1e4
A_MOMENT = 1e-6
"""Days: an end that is a beginning plus a length may miss the whole hour by a rounding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """From a day drawn between two bounds a share is lost: at once, or growing evenly over so many days."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    share: float = number(0, 0.95)
    over_days: float = number(0, FOR_EVER, 0.0)
    until_day: float = number(0, FOR_EVER, FOR_EVER)

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order and an end before the beginning."""
        _in_order(self.between_days, self.until_day)


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """From a day drawn between two bounds an instrument reads this much too high (negative: low), and nobody knows."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    size: float = number(-1000, 1000)
    either_sign: bool = False
    """The sign is drawn too."""
    over_days: float = number(0, FOR_EVER, 0.0)

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order."""
        _in_order(self.between_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Misread:
    """From a day drawn between two bounds everything is read so many times too high: another scale, another vessel."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    factor: float = number(0.1, 10)

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order."""
        _in_order(self.between_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Degassed:
    """From a day drawn between two bounds a share of the samples stands open before pH is read, which then is high."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    share: float = number(0, 1)
    reads_high: tuple[float, float] = number(0, 1, (0.1, 0.3))

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order."""
        _in_order(self.between_days)
        _in_order(self.reads_high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standstill:
    """From a day drawn between two bounds the top-off stands still for so many days; then the level is made up."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    days: float = number(0.1, 60)

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order."""
        _in_order(self.between_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """From a day drawn between two bounds something runs at a rate, for so many days or growing over so many."""

    between_days: tuple[float, float] = number(0, FOR_EVER)
    rate: float = number(0, 1000)
    days: float = number(0.04, FOR_EVER, FOR_EVER)
    over_days: float = number(0, FOR_EVER, 0.0)

    def __post_init__(self) -> None:
        """Refuse bounds in the wrong order."""
        _in_order(self.between_days)


@dataclass(frozen=True, slots=True)
class Begun:
    """A fault as drawn: the day it began, its end and its size in each run, shape (runs)."""

    what: str
    day: Values
    until: Values
    size: Values
    over_days: float = 0.0

    def of(self, run: int) -> "Begun":
        """Return the fault of one run, its arrays of one element."""
        here = slice(run, run + 1)
        return Begun(self.what, self.day[here], self.until[here], self.size[here], self.over_days)

    def course(self, hours: int) -> Values:
        """Return its size hour by hour, 0 before and after, shape (hours, runs)."""
        return self.at_days(np.arange(hours)[:, None] / 24.0)

    def at_days(self, days: Values) -> Values:
        """Return its size at some days, the last axis being the runs."""
        since = days - self.day
        grown = np.clip(since / self.over_days, 0.0, 1.0) if self.over_days else np.ones_like(since)
        sizes: Values = np.where((since >= 0.0) & (self.until - days > A_MOMENT), self.size * grown, 0.0)
        return sizes


def begun_loss(what: str, loss: Loss, streams: Streams) -> Begun:
    """Return a loss as drawn in every run."""
    day = beginning(what, loss.between_days, streams)
    return Begun(what, day, np.full_like(day, loss.until_day), np.full_like(day, loss.share), loss.over_days)


def begun_rate(what: str, rate: Rate, streams: Streams) -> Begun:
    """Return something that runs at a rate as drawn in every run; it ends on a whole hour."""
    day = beginning(what, rate.between_days, streams)
    until = day + round(rate.days * 24) / 24.0
    return Begun(what, day, until, np.full_like(day, rate.rate), rate.over_days)


def begun_offset(what: str, purpose: str, offset: Offset, streams: Streams) -> Begun:
    """Return an instrument's error as drawn in every run."""
    day = beginning(purpose, offset.between_days, streams)
    size = offset.size * (drawn_sign(purpose, streams) if offset.either_sign else np.ones_like(day))
    return Begun(what, day, np.full_like(day, FOR_EVER), size, offset.over_days)


def begun_misread(what: str, purpose: str, misread: Misread, streams: Streams) -> Begun:
    """Return a wrong scale as drawn in every run; its size is the factor less one."""
    day = beginning(purpose, misread.between_days, streams)
    return Begun(what, day, np.full_like(day, FOR_EVER), np.full_like(day, misread.factor - 1.0))


def begun_standstill(what: str, standstill: Standstill, streams: Streams) -> Begun:
    """Return a standstill as drawn in every run; its size is its length in days."""
    day = beginning(what, standstill.between_days, streams)
    return Begun(what, day, day + round(standstill.days * 24) / 24.0, np.full_like(day, standstill.days))


def beginning(purpose: str, between_days: Span, streams: Streams) -> Values:
    """Return the day in each run, on a whole hour."""
    day: Values = np.round(streams.uniform(f"{purpose} begins", between_days) * 24.0) / 24.0
    return day


def drawn_sign(purpose: str, streams: Streams) -> Values:
    """Return +1 or -1 in each run."""
    return np.where(streams.uniform(f"{purpose} sign", (-1.0, 1.0)) < 0.0, -1.0, 1.0)


def _in_order(bounds: Span, end: float = FOR_EVER) -> None:
    if not bounds[0] <= bounds[1] <= end:
        raise ScenarioError(f"{bounds[0]:g}, {bounds[1]:g} and the end {end:g} must not decrease: put them in order")
