"""What the estimator may see of a simulated system up to an instant, with the uncertainties of practice.

The relative errors of inputs are the service's defaults (timed drip 10 %, effluent by kit 3 %, dosing pump 5 %,
limewater strength 15 %, water volume 5 %, changed fraction 5 %, new water 3 %), not what a scenario says; an oracle
passes its own. None of them is fitted to a scenario.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from service.computations.consumption.practice import PRACTICE as DEFAULTS
from service.computations.consumption.reactor_calcium import together
from service.computations.timeframe import UNSTATED_VOLUME_SD
from service.science.dilution import dilution, weeks_until
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges
from service.science.reactor_output import MG_CALCIUM_PER_MEQ
from service.science.water_course import SALINITY, water_courses
from service.simulation import Addition, Reading, Recorded

DRIP_DRIFT, EFFLUENT_DRIFT, AFTER_RESETTING = DEFAULTS.drip_drift, DEFAULTS.effluent_drift, DEFAULTS.after_cleaning


@dataclass(frozen=True, slots=True, kw_only=True)
class InputErrors:
    """Relative sds; what all timings or titrations of an effluent share is the systematic part."""

    drip: float = DEFAULTS.timed_drip
    effluent: float = DEFAULTS.effluent_kit
    pump: float = DEFAULTS.dosing_pump
    limewater: float = DEFAULTS.titrated_limewater
    volume: float = UNSTATED_VOLUME_SD
    fraction: float = DEFAULTS.changed_fraction
    new_water: float = DEFAULTS.new_water


PRACTICE = InputErrors()
NEW_WATER = {"calcium": (430.0, 13.0), "salinity": (35.0, 0.5), "nitrate": (0.0, 1.0)}
"""What new water holds and its sd: calcium as the scenarios state it, the others as the service takes them."""


def history_until(
    recorded: Recorded,
    day: float,
    errors: InputErrors = PRACTICE,
    sound: Callable[[int, Reading], bool] | None = None,
) -> SystemHistory:
    """Everything recorded up to a day; `sound` can leave out readings of alkalinity by index and reading."""
    readings = [
        (index, reading)
        for index, reading in enumerate(recorded.readings)
        if reading.quantity == "alkalinity" and reading.taken_at <= day and (sound is None or sound(index, reading))
    ]
    past = [addition for addition in recorded.additions if addition.start <= day]
    return SystemHistory(
        readings=_readings([reading for _, reading in readings]),
        doses=_doses(past, recorded.water_volume_l, errors),
        water_changes=_water_changes([each for each in past if each.kind == "water_change"], recorded, errors),
        feeds=_feeds(recorded, day, errors),
        volume_relative_sd=errors.volume,
    )


def water_until(recorded: Recorded, day: float, quantity: str) -> SystemHistory:
    """The same of calcium, salinity or nitrate, as far as it is on record: what a reactor brings of calcium is not."""
    rows = [row for row in recorded.of(quantity) if row.taken_at <= day]
    past = [addition for addition in recorded.additions if addition.start <= day]
    changes = _water_changes([each for each in past if each.kind == "water_change"], recorded, PRACTICE)
    new, sd = NEW_WATER[quantity]
    doses = _doses(past, recorded.water_volume_l, PRACTICE)
    none = Doses()
    return SystemHistory(
        readings=_readings(rows),
        doses=replace(doses, amount=doses.amount * MG_CALCIUM_PER_MEQ) if quantity == "calcium" else none,
        water_changes=replace(
            changes, new_value=np.full_like(changes.new_value, new), new_value_sd=np.full_like(changes.new_value, sd)
        ),
    )


def undiluted(recorded: Recorded, day: float, history: SystemHistory) -> SystemHistory:
    """The history with what dilution brought, where salinity was read, as the service reckons it."""
    weeks = weeks_until(first_day=0.0, at_day=day)
    salt = water_until(recorded, day, "salinity")
    (course,) = water_courses(histories=[salt], at_days=[weeks], pace=SALINITY)
    if course is None:
        return history
    brought = dilution(course=course, level=float(np.median(history.readings.value)), salt=Doses())
    return replace(history, doses=together([history.doses, brought]))


def _column(values: Sequence[float]) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def _readings(readings: list[Reading]) -> Readings:
    group = np.cumsum([reading.purpose != "replicate" for reading in readings])
    lots = sorted({reading.lot or "" for reading in readings})
    return Readings(
        at_days=_column([reading.taken_at for reading in readings]),
        value=_column([reading.value for reading in readings]),
        sd=_column([reading.sd for reading in readings]),
        replicate_group=group.astype(np.int64),
        lot=np.array([lots.index(reading.lot or "") for reading in readings], dtype=np.int64),
    )


def _doses(past: list[Addition], volume_l: float, errors: InputErrors) -> Doses:
    rows = []
    for each in past:
        if each.kind == "dose":
            rows.append(
                (
                    each.start,
                    each.end,
                    each.amount / volume_l,
                    errors.pump if each.end > each.start else DEFAULTS.measured_dose,
                )
            )
        if each.kind == "limewater":
            strength = each.alkalinity_meq_l or DEFAULTS.untitrated_limewater_meq_l
            rows.append((each.start, each.end, each.amount * strength / volume_l, errors.limewater))
    columns = [_column(column) for column in zip(*rows, strict=True)] or [np.empty(0)] * 4
    return Doses(start_days=columns[0], end_days=columns[1], amount=columns[2], relative_sd=columns[3])


def _water_changes(changes: list[Addition], recorded: Recorded, errors: InputErrors) -> WaterChanges:
    fraction = _column([each.amount / recorded.water_volume_l for each in changes])
    new = _column([each.alkalinity_meq_l or 0.0 for each in changes])
    return WaterChanges(
        at_days=_column([each.start for each in changes]),
        fraction=fraction,
        fraction_sd=fraction * errors.fraction,
        new_value=new,
        new_value_sd=new * errors.new_water,
    )


def _feeds(recorded: Recorded, day: float, errors: InputErrors) -> tuple[Feed, ...]:
    flows, inflows = (
        [r for r in recorded.of(q) if r.taken_at <= day] for q in ("effluent_flow", "effluent_alkalinity")
    )
    if not flows:
        return ()
    settings = [each for each in recorded.set_points if each.code == "effluent_flow" and each.at <= day]
    cleaned = [each.at for each in recorded.maintenance if each.what == "drip line cleaned" and each.at <= day]
    volume = recorded.water_volume_l
    flow = Checks(
        at_days=_column([each.taken_at for each in flows]),
        value=_column([each.value / volume for each in flows]),
        relative_sd=_column([each.sd / each.value for each in flows]),
        systematic_sd=errors.drip,
        drift=DRIP_DRIFT,
        set_at_days=_column([each.at for each in settings]),
        set_value=_column([each.value / volume for each in settings]),
        reset_days=_column(cleaned),
        reset_sd=AFTER_RESETTING,
    )
    inflow = Checks(
        at_days=_column([each.taken_at for each in inflows]),
        value=_column([each.value for each in inflows]),
        relative_sd=_column([each.sd / each.value for each in inflows]),
        systematic_sd=errors.effluent,
        drift=EFFLUENT_DRIFT,
    )
    return (Feed(name="reactor", flow=flow, inflow=inflow),)
