"""Runs of a scenario, many seeds at a time."""

from collections.abc import Sequence

import numpy as np

from service.simulation.basin import ALKALINITY, CALCIUM, CARBON, MAGNESIUM, SALT
from service.simulation.chemistry import CALCIUM_MG_PER_MMOL, MAGNESIUM_MG_PER_MMOL, Values
from service.simulation.engine import Course, run
from service.simulation.measurement import stated_sd
from service.simulation.recording import recorded, true_values
from service.simulation.records import Labels, Recorded, SimulatedSite, SimulatedSystem, Truth, Unrecorded
from service.simulation.scenario import Scenario, load_scenario
from service.simulation.streams import Streams


def simulate(scenario: Scenario | str, seed: int) -> SimulatedSite:
    """Return one run of a scenario (or of that name): the same seed, the same records to the last bit."""
    return simulate_many(scenario, [seed])[0]


def simulate_many(scenario: Scenario | str, seeds: Sequence[int]) -> list[SimulatedSite]:
    """Return one run a seed, computed side by side; each is what `simulate` gives for its seed alone.

    About 0.3 MB of truth a system and half-year run: take the seeds in parts if that is too much at once.
    """
    if isinstance(scenario, str):
        scenario = load_scenario(scenario)
    columns = [_systems(scenario, number, tuple(seeds)) for number in range(len(scenario.system))]
    return [
        SimulatedSite(scenario.title, seed, scenario.days, tuple(column[index] for column in columns))
        for index, seed in enumerate(seeds)
    ]


def _systems(scenario: Scenario, number: int, seeds: tuple[int, ...]) -> list[SimulatedSystem]:
    system = scenario.system[number]
    streams = Streams(seeds, system.code)
    course = run(system, scenario.days, streams)
    return [_system(course, index, streams) for index in range(len(seeds))]


def _system(course: Course, index: int, streams: Streams) -> SimulatedSystem:
    truth = _truth(course, index)
    record, outliers = recorded(course, truth, index, streams)
    return SimulatedSystem(
        code=course.system.code,
        name=course.system.name,
        truth=truth,
        recorded=record,
        labels=_labels(course, truth, record, outliers, index),
        flows={term: amounts[:, index].copy() for term, amounts in course.ledger.flows.items()},
        stock_at_start=course.stock_at_start[:, index].copy(),
        stock_at_end=course.stock_at_end[:, index].copy(),
    )


def daily_mean(hourly: Values) -> Values:
    """Return the mean of the 24 hours around each hour, near the ends of the first or last whole day; same shape."""
    total = np.concatenate([[0.0], np.cumsum(hourly)])
    low = np.clip(np.arange(len(hourly)) - 12, 0, len(hourly) - 24)
    means: Values = (total[low + 24] - total[low]) / 24.0
    return means


def _truth(course: Course, index: int) -> Truth:
    water, trace, hours = course.concentration[:, :, index], course.trace, course.forcing.hours
    none = np.zeros(hours)

    def traced(name: str) -> Values:
        return trace[name][:, index].copy() if name in trace else none

    return Truth(
        at=np.arange(hours) / 24.0,
        alkalinity=water[:, ALKALINITY].copy(),
        demand=daily_mean(trace["uptake"][:, index]),
        uptake=traced("uptake"),
        calcium=water[:, CALCIUM] * CALCIUM_MG_PER_MMOL,
        magnesium=water[:, MAGNESIUM] * MAGNESIUM_MG_PER_MMOL,
        carbon=water[:, CARBON].copy(),
        salinity=water[:, SALT].copy(),
        temperature=course.forcing.temperature[:, index].copy(),
        ph=traced("ph"),
        saturation=traced("saturation"),
        volume=traced("volume"),
        dosing_rate=trace["dosing_rate"][:, index] * course.pump_factor[index],
        limewater=course.forcing.limewater[:, index].copy(),
        drip=traced("drip"),
        effluent_alkalinity=traced("effluent_alkalinity"),
        effluent_ph=traced("effluent_ph"),
        gas_used=traced("gas_used"),
        media=traced("media"),
    )


def _labels(course: Course, truth: Truth, record: Recorded, outliers: frozenset[int], index: int) -> Labels:
    force, system = course.forcing, course.system
    hidden = [
        Unrecorded("addition", float(dose.hour[index]) / 24.0, dose.alkalinity_meq_l)
        for dose in force.doses
        if not dose.recorded
    ]
    hidden += [
        Unrecorded("demand step", float(step.day[index]), step.factor) for step in force.steps if not step.recorded
    ]
    samples = [each[index] for each in course.samplings]
    factors: dict[str, float] = {each.test.quantity: 1.0 / each.factor for each in samples}
    factors |= {"volume": float(force.volume_l[index]) / system.water.volume_l}
    if system.dosing:
        factors["dosing"] = float(course.pump_factor[index])
    if course.changes:
        factors["water_change"] = float(course.changes[0].litres[index]) / course.changes[0].spec.volume_l
    noise: dict[str, float] = {
        each.test.quantity: each.test.noise_factor
        * float(stated_sd(each.test, true_values(course, truth, each.test.quantity, index)).mean())
        for each in samples
    }
    return Labels(
        outliers=outliers,
        unrecorded=tuple(sorted(hidden, key=lambda each: each.at)),
        demand_steps=tuple(float(step.day[index]) for step in force.steps),
        noise_sd=noise,
        drift_sd=system.corals.drift_relative * float(truth.demand.mean()),
        true_volume_l=float(force.volume_l[index]),
        factors=factors,
    )
