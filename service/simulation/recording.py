"""What people wrote down of one run, and with which errors."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from service.simulation.chemistry import Values
from service.simulation.engine import Course
from service.simulation.measurement import Sampling, stated_sd
from service.simulation.records import (
    Addition,
    MaintenanceEvent,
    ProbeSeries,
    Reading,
    Recorded,
    SetPoint,
    StockChange,
    Truth,
)
from service.simulation.scenario import Probe
from service.simulation.streams import Streams, wander

UNITS = {
    "alkalinity": "meq/L", "calcium": "mg/L", "magnesium": "mg/L", "salinity": "1", "temperature": "Cel", "ph": "1",
    "effluent_alkalinity": "meq/L", "effluent_ph": "1", "effluent_flow": "L/d", "cylinder_gross_mass": "kg",
    "limewater_strength": "meq/L", "bubble_rate": "/min", "media_level": "%",
    "nitrate": "mg/L NO3",
}  # fmt: skip
SUBJECTS = {
    "effluent_alkalinity": "reactor", "effluent_ph": "reactor", "effluent_flow": "reactor", "bubble_rate": "reactor",
    "cylinder_gross_mass": "cylinder", "limewater_strength": "top_off", "media_level": "reactor",
}  # fmt: skip
QUARTER_OF_AN_HOUR = 0.25 / 24.0
"""People test before they act: an act is written down so much after the tests of its hour, and the drip is timed so
much before and after it is touched."""


def true_values(course: Course, truth: Truth, quantity: str, run: int) -> Values:
    """Return the true hourly course of what a test measures, in the unit of its readings."""
    match quantity:
        case "effluent_flow":
            return np.concatenate([truth.drip[:1], truth.drip[:-1]])  # as it was before the hour's work
        case "limewater_strength":
            return truth.limewater
        case "bubble_rate":
            assert course.system.reactor is not None
            grams_a_day = course.trace["gas_fed"][:, run] * 44.0095e-3
            counted: Values = grams_a_day * course.system.reactor.bubbles_per_gram / 1440.0
            return counted if course.forcing.bubbles is None else counted * course.forcing.bubbles[:, run]
        case "media_level":
            assert course.system.reactor is not None
            return 100.0 * truth.media / course.system.reactor.media_kg
        case "cylinder_gross_mass":
            assert course.cylinders is not None
            return course.cylinders.gross_mass(truth.gas_used + truth.gas_leaked, run)
        case _:
            values: Values = getattr(truth, quantity)
            return values


@dataclass(frozen=True, slots=True)
class Marks:
    """Which of the recorded readings are mistakes and which samples had stood open, as indexes."""

    outliers: frozenset[int]
    degassed: frozenset[int]


def recorded(course: Course, truth: Truth, run: int, streams: Streams) -> tuple[Recorded, Marks]:
    """Return what was recorded in one run, and what is wrong with which of its readings."""
    samplings = [each[run] for each in course.samplings]
    labelled = [
        found
        for sample in samplings
        for found in sampled(sample, true_values(course, truth, sample.test.quantity, run)[sample.hours])
    ]
    labelled += [(reading, False, False) for reading in _drip_checks(course, truth, run, streams)]
    labelled.sort(key=lambda found: found[0].taken_at)
    readings = tuple(reading for reading, _, _ in labelled)
    system = course.system
    steps = [step for step in course.forcing.steps if step.recorded]
    return (
        Recorded(
            water_volume_l=system.water.volume_l,
            readings=readings,
            check_standards=tuple(sorted(_check_standards(samplings), key=lambda each: each.taken_at)),
            additions=tuple(sorted(_additions(course, truth, readings, run, streams), key=lambda each: each.start)),
            set_points=tuple(_set_points(course, run)),
            maintenance=tuple(sorted(_maintenance(course), key=lambda each: each.at)),
            stock_changes=tuple(StockChange(float(step.day[run]), step.note) for step in steps),
            probes=tuple(_probe(probe, truth, run, streams) for probe in system.probe),
        ),
        Marks(
            outliers=frozenset(index for index, (_, wrong, _) in enumerate(labelled) if wrong),
            degassed=frozenset(index for index, (_, _, stood) in enumerate(labelled) if stood),
        ),
    )


def sampled(sample: Sampling, actual: Values) -> list[tuple[Reading, bool, bool]]:
    """Return the readings of true values at the sampling hours, each with whether it is a mistake, and had degassed."""
    test = sample.test
    values = sample.read(actual)
    sds = np.hypot(stated_sd(test, values), test.resolution / np.sqrt(12.0))
    return [
        (
            Reading(
                quantity=test.quantity,
                value=float(values[index, copy]),
                unit=UNITS[test.quantity],
                taken_at=float(hour) / 24.0,
                subject=SUBJECTS.get(test.quantity, "system"),
                method=test.method,
                sd=float(sds[index, copy]),
                lot=sample.lot[index],
                purpose="replicate" if copy else "sample",
            ),
            bool(sample.outlier[index, copy]),
            bool(sample.degassed[index]),
        )
        for index, hour in enumerate(sample.hours)
        for copy in range(test.replicates)
    ]


def _check_standards(samplings: list[Sampling]) -> Iterator[Reading]:
    """Yield the readings of check standards, a quarter of an hour before the day's samples, replicates beside them."""
    for sample in samplings:
        test, spec = sample.test, sample.test.check_standard
        if sample.standards is None or spec is None:
            continue
        for hour, lot, values in zip(sample.standards.hours, sample.standards.lot, sample.standards.value, strict=True):
            for copy, value in enumerate(values):
                sd = float(np.hypot(stated_sd(test, value), test.resolution / np.sqrt(12.0)))
                at = float(hour) / 24.0 - QUARTER_OF_AN_HOUR * (1.0 - copy / spec.replicates)
                yield Reading(
                    test.quantity, float(value), UNITS[test.quantity], at, SUBJECTS.get(test.quantity, "system"),
                    test.method, sd, lot, "check_standard", spec.stated,
                )  # fmt: skip


def _drip_checks(course: Course, truth: Truth, run: int, streams: Streams) -> list[Reading]:
    """Return the timings before and after the line was cleaned or the drip re-set, by the scenario's drip test."""
    test_of = [each[run] for each in course.samplings if each[run].test.quantity == "effluent_flow"]
    touched = sorted({hour for hour, code, _ in course.settings if code == "effluent_flow"} | course.forcing.cleaned)
    if not test_of or not touched:
        return []
    sample = test_of[0]
    noise = streams.generator(streams.seeds[run], "drip checks").standard_normal((len(touched), 2))
    checks = []
    for index, hour in enumerate(touched):
        for after, away in enumerate((-QUARTER_OF_AN_HOUR, QUARTER_OF_AN_HOUR)):
            actual = truth.drip[hour - 1 + after] * float(sample.factor_at(np.array([hour]))[0])
            sd = float(stated_sd(sample.test, actual))
            value = float(actual + sample.test.noise_factor * sd * noise[index, after])
            checks.append(Reading("effluent_flow", value, "L/d", hour / 24.0 + away, "reactor", sample.test.method, sd))
    return checks


def _additions(
    course: Course, truth: Truth, readings: tuple[Reading, ...], run: int, streams: Streams
) -> list[Addition]:
    system, days, found = course.system, len(truth.at) / 24.0, []
    if system.dosing:
        changed = [0.0, *(hour / 24.0 for hour, code, _ in course.settings if code == "dosing_rate"), days]
        for start, end in pairwise(changed):
            rate = float(course.trace["dosing_rate"][round(start * 24), run])
            found.append(Addition("dose", start, end, rate * (end - start), "meq", system.dosing.calibration_error))
    for change in course.changes:
        spec, at = change.spec, change.hour / 24.0 + QUARTER_OF_AN_HOUR
        found.append(
            Addition(
                "water_change", at, at, spec.volume_l, "L", spec.volume_error, spec.alkalinity_meq_l,
                spec.alkalinity_error,
            )
        )  # fmt: skip
    if system.exchange:
        flow = system.exchange
        found.append(
            Addition(
                "exchange", 0.0, days, flow.litres_per_day * days, "L", flow.flow_error, flow.alkalinity_meq_l,
                flow.alkalinity_error,
            )
        )  # fmt: skip
    for dose in course.forcing.doses:
        if dose.recorded:
            at = float(dose.hour[run]) / 24.0 + QUARTER_OF_AN_HOUR
            meq = dose.alkalinity_meq_l * system.water.volume_l
            found.append(Addition("dose", at, at, meq, "meq", 0.0, note=dose.note))
    if system.reactor:
        refills = (day for day in system.reactor.refill_days if day < days)
        found += [Addition("media", day, day, system.reactor.media_kg, "kg", 0.02) for day in refills]
    return found + _top_offs(course, readings, run, streams)


def _top_offs(course: Course, readings: tuple[Reading, ...], run: int, streams: Streams) -> list[Addition]:
    """Return the top-off volumes as read off every few days, limewater with the strength last measured (or none)."""
    top_off = course.system.top_off
    if top_off is None:
        return []
    measured = [reading for reading in readings if reading.quantity == "limewater_strength"]
    litres = course.trace["topped_up"][:, run]
    edges = range(0, len(litres), 24 * top_off.recorded_every_days)
    misread = 1.0 + top_off.volume_error * streams.generator(streams.seeds[run], "top-off").standard_normal(len(edges))
    found = []
    for start, error in zip(edges, misread, strict=True):
        end = min(start + 24 * top_off.recorded_every_days, len(litres))
        if not litres[start:end].any():
            continue
        known = [reading for reading in measured if reading.taken_at <= start / 24.0 + 1.0]
        found.append(
            Addition(
                top_off.kind, start / 24.0, end / 24.0, float(litres[start:end].sum() * error), "L",
                top_off.volume_error, known[-1].value if known else None, 0.15 if top_off.kind == "limewater" else 0.0,
            )
        )  # fmt: skip
    return found


def _set_points(course: Course, run: int) -> list[SetPoint]:
    system = course.system
    found = [SetPoint("water_volume", 0.0, system.water.volume_l, "L", "system")]
    found.append(SetPoint("reference_salinity", 0.0, system.water.salinity, "1", "system"))
    for keeper in (system.dosing, system.reactor):
        if keeper:
            found.append(SetPoint("target_alkalinity", 0.0, keeper.keeping.target_meq_l, "meq/L", "system"))
    if system.dosing:
        found.append(SetPoint("dosing_rate", 0.0, float(course.trace["dosing_rate"][0, run]), "meq/d", "system"))
    if system.reactor:
        found.append(SetPoint("effluent_flow", 0.0, float(course.trace["set_drip"][0, run]), "L/d", "reactor"))
    for hour, code, value in course.settings:
        unit, subject = ("meq/d", "system") if code == "dosing_rate" else ("L/d", "reactor")
        found.append(SetPoint(code, hour / 24.0, float(value[run]), unit, subject, "towards the target"))
    return found


def _maintenance(course: Course) -> list[MaintenanceEvent]:
    days = course.forcing.hours / 24.0
    found = [
        MaintenanceEvent(work.kind, work.what, float(day), work.subject)
        for work in course.system.maintenance
        for day in np.arange(work.first_day, min(days, work.until_day), work.every_days)
    ]
    found += [
        MaintenanceEvent("condition_based", "drip line cleaned", hour / 24.0, "reactor")
        for hour in course.forcing.cleaned
    ]
    reactor = course.system.reactor
    if reactor:
        refills = [MaintenanceEvent("condition_based", "media replaced", day, "reactor") for day in reactor.refill_days]
        swaps = reactor.cylinder.swap_days if reactor.cylinder else ()
        found += refills + [MaintenanceEvent("predetermined", "cylinder swapped", day, "cylinder") for day in swaps]
    return [event for event in found if event.at < days]


def _probe(probe: Probe, truth: Truth, run: int, streams: Streams) -> ProbeSeries:
    generator = streams.generator(streams.seeds[run], f"probe {probe.quantity}")
    noise = generator.standard_normal((2, len(truth.at)))
    drift = wander(noise[0][:, None], probe.drift_per_root_day, 60.0)[:, 0]
    value = getattr(truth, probe.quantity) + probe.sd * noise[1] + drift
    return ProbeSeries(probe.quantity, UNITS[probe.quantity], truth.at, value, probe.sd)
