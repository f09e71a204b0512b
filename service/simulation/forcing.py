"""Everything about a run that does not depend on its own course: drawn beforehand, hour by hour."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from service.simulation.chemistry import Values
from service.simulation.faults import Begun, begun_loss, begun_rate, begun_standstill
from service.simulation.scenario import Air, Clogging, Corals, DemandStep, Dose, System, TopOff
from service.simulation.streams import Streams, wander

GAS_LEAK, GAS_VENTED, GAS_LOSS = "gas leak", "gas vented", "gas falls"
DRIP_LOSS, MEDIA_AGEING = "drip loss", "media ageing"
TOP_OFF_STANDSTILL = "top-off standstill"
SALT_LOST, MORE_FOOD, PRECIPITATION = "salt lost", "more food", "precipitation"
SATURATED_LIMEWATER_MEQ_L = 40.6
"""2 x 20.3 mmol/L at 25 degC (Bates, Bower & Smith 1956)."""


@dataclass(frozen=True, slots=True)
class StepTaken:
    """A step in the demand as drawn: the day in each run, shape (runs)."""

    day: Values
    factor: float
    recorded: bool
    note: str


@dataclass(frozen=True, slots=True)
class DoseTaken:
    """A hand dose as drawn: the hour in each run, shape (runs)."""

    hour: Values
    alkalinity_meq_l: float
    recorded: bool
    note: str


@dataclass(frozen=True, slots=True)
class Forcing:
    """Hourly courses (hours, runs), the light (24), and what was drawn once a run (runs)."""

    hours: int
    volume_l: Values
    demand: Values
    light: Values
    temperature: Values
    limewater: Values
    clear: Values
    """Share of the set drip that the line lets through."""
    cleaned: frozenset[int]
    steps: tuple[StepTaken, ...]
    doses: tuple[DoseTaken, ...]
    bubbles: Values | None
    """Bubbles a gram over those the scenario names."""
    faults: tuple[Begun, ...]
    """Of reactor and top-off; those of instruments lie with their samplings."""

    def fault(self, what: str) -> Begun | None:
        """Return the fault of that name, if the scenario has it."""
        return next((fault for fault in self.faults if fault.what == what), None)


def forcing(system: System, days: int, streams: Streams) -> Forcing:
    """Return the drawn courses of one system in every run."""
    hours = 24 * days
    clogging = system.reactor.clogging if system.reactor else None
    clear, cleaned = _clear_line(clogging, hours, streams)
    faults = tuple(_faults(system, streams))
    for fault in faults:
        if fault.what == DRIP_LOSS:
            clear = clear * (1.0 - fault.course(hours))
    steps = tuple(_step(step, index, streams) for index, step in enumerate(system.corals.step))
    return Forcing(
        hours=hours,
        volume_l=system.water.volume_l * (1.0 + system.water.volume_error * streams.normal("volume")),
        demand=_demand(system.corals, steps, hours, streams),
        light=daylight(system.air),
        temperature=_temperature(system, hours, streams),
        limewater=_limewater(system.top_off, hours, streams),
        clear=clear,
        cleaned=cleaned,
        steps=steps,
        doses=tuple(_dose(dose, index, streams) for index, dose in enumerate(system.dose)),
        bubbles=_bubbles(system, hours, streams),
        faults=faults,
    )


def _bubbles(system: System, hours: int, streams: Streams) -> Values | None:
    if system.reactor is None or not system.reactor.bubble_drift:
        return None
    log = wander(streams.normal("bubbles", hours), system.reactor.bubble_drift, 60.0)
    course: Values = np.exp(log)
    return course


def _faults(system: System, streams: Streams) -> Iterator[Begun]:
    reactor, top_off = system.reactor, system.top_off
    if reactor:
        losses = (
            (GAS_LEAK, reactor.leak),
            (GAS_VENTED, reactor.venting),
            (GAS_LOSS, reactor.gas_loss),
            (DRIP_LOSS, reactor.drip_loss),
            (MEDIA_AGEING, reactor.media_ageing),
        )
        yield from (begun_loss(what, loss, streams) for what, loss in losses if loss)
    if top_off and top_off.standstill:
        yield begun_standstill(TOP_OFF_STANDSTILL, top_off.standstill, streams)
    rates = (
        (SALT_LOST, top_off.salt_lost if top_off else None),
        (MORE_FOOD, system.corals.more_food),
        (PRECIPITATION, system.precipitation),
    )
    yield from (begun_rate(what, rate, streams) for what, rate in rates if rate)


def daylight(air: Air) -> Values:
    """Return the light of each hour of the day, half a sine wave with mean 1, shape (24)."""
    after = (np.arange(24) + 0.5 - air.light_from_hour) % 24
    wave = np.where(after < air.light_hours, np.sin(np.pi * np.minimum(after, air.light_hours) / air.light_hours), 0.0)
    normalised: Values = wave / wave.mean()
    return normalised


def _demand(corals: Corals, steps: tuple[StepTaken, ...], hours: int, streams: Streams) -> Values:
    day = np.arange(hours)[:, None] / 24.0
    log = wander(streams.normal("demand", hours), corals.drift_relative, corals.drift_return_days)
    start = corals.demand_meq_l_d * np.exp(corals.demand_spread * streams.normal("demand at the start"))
    level = start * np.exp(log + corals.growth_per_day * day)
    for step in steps:
        level = level * np.where(day >= step.day, step.factor, 1.0)
    return level


def _temperature(system: System, hours: int, streams: Streams) -> Values:
    wave = np.sin(2.0 * np.pi * (np.arange(hours) - 9.0) / 24.0)[:, None]
    slow = wander(streams.normal("temperature", hours), 0.08, 4.0)
    course: Values = system.water.temperature_c + system.water.temperature_swing_c * wave + slow
    return course


def _limewater(top_off: TopOff | None, hours: int, streams: Streams) -> Values:
    if top_off is None or top_off.kind != "limewater":
        return np.zeros((hours, len(streams.seeds)))
    log = wander(streams.normal("limewater", hours), top_off.strength_drift, top_off.strength_return_days)
    return SATURATED_LIMEWATER_MEQ_L * top_off.strength_share * np.exp(log)


def _clear_line(clogging: Clogging | None, hours: int, streams: Streams) -> tuple[Values, frozenset[int]]:
    """Return the open share of the line and the hours at which it is cleaned: noon, every so many days."""
    clear = np.ones((hours, len(streams.seeds)))
    if clogging is None:
        return clear, frozenset()
    period = 24 * clogging.clean_every_days
    starts = [0, *range(period + 12, hours, period)]
    depth = streams.uniform("clogging depth", clogging.depth, len(starts))
    bend = streams.uniform("clogging bend", (0.7, 1.6), len(starts))
    for index, start in enumerate(starts):
        span = np.arange(min(period + (12 if start == 0 else 0), hours - start))[:, None]
        clear[start : start + len(span)] = 1.0 - depth[index] * (span / period) ** bend[index]
    return clear, frozenset(starts[1:])


def _step(step: DemandStep, index: int, streams: Streams) -> StepTaken:
    day = np.round(streams.uniform(f"step {index}", step.between_days) * 24) / 24
    return StepTaken(day, step.factor, step.recorded, step.note)


def _dose(dose: Dose, index: int, streams: Streams) -> DoseTaken:
    hour = np.round(streams.uniform(f"dose {index}", dose.between_days) * 24)
    return DoseTaken(hour, dose.alkalinity_meq_l, dose.recorded, dose.note)
