"""What the estimate is measured against: a filter that is told what cannot be known, and a line through two weeks.

**The oracle** is the filter of the service in one setting, given the truth about the run: the local sd of the demand
(`Labels.drift_sd`), the true noise of the kit, which readings are mistakes (left out), when somebody added something
unrecorded (the level may jump by any amount at the next reading), and the sizes - not the values - of the errors of
pumps, timings, titrations and volumes that the scenario draws from. It is *not* told of an unrecorded step in the
demand, nor of light, lots or clogging between checks. It shares the model of the service: it measures what is lost by
not knowing the settings, not what a better model could gain; coverage against the hidden truth measures the model.

**The line** is a least-squares slope through the readings of the last 14 days, corrected for everything recorded to
have been added; it exists where there are three readings.
"""

from dataclasses import replace

import numpy as np
from recorded_history import InputErrors, history_until

from service.science.demand_prior import Grid, corrected_readings, robust_start
from service.science.filtering import ALKALINITY, DEMAND, lasting_variance, run_filter
from service.science.history import SystemHistory
from service.science.mixture import NormalMixture
from service.science.timeline import lay_out
from service.simulation import SimulatedSystem
from service.simulation.scenario import System

LINE_DAYS = 14.0
ANY_JUMP = 100.0


def true_error_sizes(system: System) -> InputErrors:
    """The relative sds the scenario draws from; what nobody can calibrate away between titrations is added up."""
    flow = next((test for test in system.test if test.quantity == "effluent_flow"), None)
    effluent = next((test for test in system.test if test.quantity == "effluent_alkalinity"), None)
    change, top_off = next(iter(system.water_change), None), system.top_off
    strength = next((test for test in system.test if test.quantity == "limewater_strength"), None)
    limewater = 0.0
    if strength and top_off:
        wander = top_off.strength_drift * np.sqrt(top_off.strength_return_days / 2.0)
        limewater = float(np.sqrt(strength.systematic_relative**2 + strength.sd_relative**2 + wander**2))
    return InputErrors(
        drip=flow.systematic_relative if flow else 0.0,
        effluent=effluent.systematic_relative if effluent else 0.0,
        pump=system.dosing.calibration_error if system.dosing else 0.0,
        limewater=limewater,
        volume=system.water.volume_error,
        fraction=change.volume_error if change else 0.0,
        new_water=change.alkalinity_error if change else 0.0,
    )


def oracle_demand(
    runs: list[SimulatedSystem], days: np.ndarray, system: System
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean, low and high of the demand at each day of each run, (runs x days) in the order of the loops."""
    sizes = true_error_sizes(system)
    histories, drifts, factors, hidden = [], [], [], []
    for run in runs:
        stated = np.mean([reading.sd for reading in run.recorded.of("alkalinity")])
        true_sd = np.hypot(run.labels.noise_sd["alkalinity"], _rounding(system))
        for day in days:
            wrong = run.labels.outliers
            histories.append(history_until(run.recorded, day, sizes, lambda index, _, wrong=wrong: index not in wrong))
            drifts.append(run.labels.drift_sd)
            factors.append(true_sd / stated)
            hidden.append([each.at for each in run.labels.unrecorded if each.what == "addition" and each.at <= day])
    timeline = lay_out(histories=histories, at_days=np.tile(days, len(runs)))
    jumps = np.zeros(timeline.at_days.shape)
    for lane, times in enumerate(hidden):
        for at in times:
            after = np.flatnonzero((timeline.at_days[:, lane] >= at) & timeline.has_reading[:, lane])
            if len(after):
                jumps[after[0], lane] = ANY_JUMP
    grid = Grid(np.array(drifts)[:, None], np.array(factors)[:, None], np.zeros((len(drifts), 1)))
    start = robust_start(timeline=timeline)
    forward = run_filter(
        timeline=replace(timeline, jump_variance=jumps), start=start, grid=grid, rule=None, scale=ALKALINITY, keep=False
    )
    mean, variance = forward.mean[-1, DEMAND], forward.covariance[-1, DEMAND, DEMAND]
    variance = variance + lasting_variance(timeline=timeline, at_days=np.tile(days, len(runs)))[:, None]
    low, high = NormalMixture(np.ones_like(mean), mean, variance).interval()
    return mean[:, 0], low, high


def _rounding(system: System) -> float:
    step = next(test.resolution for test in system.test if test.quantity == "alkalinity")
    return step / float(np.sqrt(12.0))


def line_demand(histories: list[SystemHistory], at_days: np.ndarray) -> np.ndarray:
    """Demand by the straight line through the last 14 days, nan where there are fewer than three readings in them."""
    timeline = lay_out(histories=histories, at_days=at_days)
    corrected, reach, _, count = corrected_readings(timeline=timeline)
    found = np.full(len(histories), np.nan)
    for lane in range(len(histories)):
        days = timeline.at_days[timeline.has_reading[:, lane], lane]
        recent = np.flatnonzero(days >= at_days[lane] - LINE_DAYS)
        if len(recent) >= 3:
            x, y = reach[: count[lane], lane][recent], corrected[: count[lane], lane][recent]
            found[lane] = -np.polyfit(x - x.mean(), y, 1)[0]
    return found
