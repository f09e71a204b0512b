"""Runs of a scenario, many seeds at a time."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from service.simulation.basin import ALKALINITY, CALCIUM, CARBON, MAGNESIUM, NITRATE, SALT
from service.simulation.chemistry import (
    CALCIUM_MG_PER_MMOL,
    CO2_MG_PER_MMOL,
    MAGNESIUM_MG_PER_MMOL,
    NITRATE_MG_PER_MMOL,
    Values,
)
from service.simulation.engine import Course, run
from service.simulation.faults import Begun, begun_loss
from service.simulation.forcing import GAS_LEAK
from service.simulation.gas_line import Cylinders, leaked
from service.simulation.library import load_scenario
from service.simulation.measurement import sampling, stated_sd
from service.simulation.recording import Marks, recorded, sampled, true_values
from service.simulation.records import (
    Fault,
    Labels,
    SimulatedGasLine,
    SimulatedSite,
    SimulatedSystem,
    Truth,
    Unrecorded,
)
from service.simulation.scenario import GasLine, Scenario
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
    sites = [
        SimulatedSite(scenario.title, seed, scenario.days, tuple(column[index] for column in columns))
        for index, seed in enumerate(seeds)
    ]
    lines = [_gas_lines(line, sites) for line in scenario.gas_line]
    return [replace(site, gas_lines=tuple(line[index] for line in lines)) for index, site in enumerate(sites)]


def _gas_lines(line: GasLine, sites: list[SimulatedSite]) -> list[SimulatedGasLine]:
    """Return one line in every run: its cylinders lose the sum of what its reactors draw, and what leaks."""
    streams, days = Streams(tuple(site.seed for site in sites), line.code), sites[0].days
    cylinders = Cylinders.drawn(line.cylinder, streams)
    leak = begun_loss(GAS_LEAK, line.leak, streams) if line.leak else None
    share = leak.course(24 * days) if leak else np.zeros((24 * days, len(sites)))
    samplings = sampling(line.weighing, 0, days, streams)
    found = []
    for index, site in enumerate(sites):
        passed = sum((each.truth.gas_used for each in site.systems if each.code in line.feeds), np.zeros(24 * days))
        escaped = leaked(np.diff(passed, append=passed[-1]), share[:, index])
        lost = passed + np.concatenate([[0.0], np.cumsum(escaped)[:-1]])
        mass = cylinders.gross_mass(lost, index)
        weighed = sampled(samplings[index], mass[samplings[index].hours])
        found.append(
            SimulatedGasLine(
                code=line.code,
                feeds=line.feeds,
                weighings=tuple(reading for reading, _, _ in weighed),
                swaps=tuple(day for day in line.cylinder.swap_days if day < days),
                lost_g=lost,
                gross_mass_kg=mass,
                outliers=frozenset(index for index, (_, wrong, _) in enumerate(weighed) if wrong),
                faults=_begun(leak, index, days),
                tare_errors_kg=_tare_errors(cylinders, index),
            )
        )
    return found


def _begun(fault: Begun | None, index: int, days: int) -> tuple[Fault, ...]:
    """Return the label of a fault in one run, if it began within the record."""
    if fault is None or fault.day[index] >= days:
        return ()
    until = float(fault.until[index])
    ended = until if until < days else None
    return (Fault(fault.what, float(fault.day[index]), float(fault.size[index]), None, fault.over_days, ended),)


def _tare_errors(cylinders: Cylinders, index: int) -> tuple[float, ...]:
    return tuple(float(tare) for tare in cylinders.tare_kg[:, index] - cylinders.spec.tare_kg)


def _systems(scenario: Scenario, number: int, seeds: tuple[int, ...]) -> list[SimulatedSystem]:
    system = scenario.system[number]
    streams = Streams(seeds, system.code)
    course = run(system, scenario.days, streams)
    return [_system(course, index, streams) for index in range(len(seeds))]


def _system(course: Course, index: int, streams: Streams) -> SimulatedSystem:
    truth = _truth(course, index)
    record, marks = recorded(course, truth, index, streams)
    return SimulatedSystem(
        code=course.system.code,
        name=course.system.name,
        truth=truth,
        recorded=record,
        labels=_labels(course, truth, marks, index),
        flows={term: amounts[:, index].copy() for term, amounts in course.ledger.flows.items()},
        stock_at_start=course.stock_at_start[:, index].copy(),
        stock_at_end=course.stock_at_end[:, index].copy(),
        gas=_gas(course, index),
    )


def _gas(course: Course, index: int) -> dict[str, float]:
    if course.chamber is None:
        return {}
    return {
        "dissolved": float(course.ledger.flows["gas fed"][CARBON, index]) * CO2_MG_PER_MMOL / 1000.0,
        "vented": float(course.chamber.gas_vented_g[index]),
        "leaked": float(course.chamber.gas_leaked_g[index]),
    }


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
        nitrate=water[:, NITRATE] * NITRATE_MG_PER_MMOL,
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
        gas_vented=traced("gas_vented"),
        gas_leaked=traced("gas_leaked"),
        media=traced("media"),
    )


def _labels(course: Course, truth: Truth, marks: Marks, index: int) -> Labels:
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
        outliers=marks.outliers,
        degassed=marks.degassed,
        faults=_faults(course, hidden, index),
        unrecorded=tuple(sorted(hidden, key=lambda each: each.at)),
        demand_steps=tuple(float(step.day[index]) for step in force.steps),
        noise_sd=noise,
        drift_sd=system.corals.drift_relative * float(truth.demand.mean()),
        true_volume_l=float(force.volume_l[index]),
        factors=factors,
        tare_errors_kg=_tare_errors(course.cylinders, index) if course.cylinders else (),
    )


def _faults(course: Course, hidden: list[Unrecorded], index: int) -> tuple[Fault, ...]:
    """Return everything that went wrong within the record, in order of time."""
    days = course.forcing.hours // 24
    found = [label for fault in course.forcing.faults for label in _begun(fault, index, days)]
    found += [Fault(f"unrecorded {each.what}", each.at, each.size) for each in hidden if each.at < days]
    for each in course.samplings:
        test = each[index].test
        found += [
            Fault(fault.what, fault.at, fault.size, test.quantity, fault.over_days)
            for fault in each[index].faults
            if fault.at < days
        ]
    return tuple(sorted(found, key=lambda fault: fault.at))
