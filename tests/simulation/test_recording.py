"""What is recorded is as wrong as the scenario says, and the labels know where."""

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from service.simulation import SimulatedSystem, load_scenario, simulate, simulate_many
from service.simulation.scenario import Lot

SEEDS = range(10000, 10040)


@cache
def runs(name: str) -> tuple[SimulatedSystem, ...]:
    scenario = replace(load_scenario(f"consumption/{name}"), days=120)
    return tuple(site.systems[0] for site in simulate_many(scenario, SEEDS))


def errors(system: SimulatedSystem, quantity: str = "alkalinity", sound: bool = True) -> np.ndarray:
    found = []
    for index, reading in enumerate(system.recorded.readings):
        if reading.quantity == quantity and (not sound or index not in system.labels.outliers):
            found.append(reading.value - system.truth.alkalinity[round(reading.taken_at * 24)])
    return np.array(found)


@pytest.mark.parametrize(
    ("name", "sd", "true_sd"), [("steady", 0.05, 0.05), ("noisy_kit", 0.05, 0.10), ("titrator", 0.02, 0.02)]
)
def test_noise(name: str, sd: float, true_sd: float) -> None:
    pooled = np.concatenate([errors(system) for system in runs(name)])
    assert len(pooled) > 1500
    assert np.std(pooled) == pytest.approx(true_sd, rel=0.06)
    assert abs(np.mean(pooled)) < 4 * true_sd / np.sqrt(len(pooled))
    assert np.mean(np.abs(pooled) > 2 * true_sd) == pytest.approx(0.0455, abs=0.02)  # the normal distribution
    assert {reading.sd for reading in runs(name)[0].recorded.of("alkalinity")} == {sd}
    assert runs(name)[0].labels.noise_sd["alkalinity"] == pytest.approx(true_sd)


def test_whole_drops() -> None:
    values = np.array([reading.value for reading in runs("drop_kit")[0].recorded.of("alkalinity")])
    assert np.allclose(values / 0.178325, np.round(values / 0.178325))
    pooled = np.concatenate([errors(system) for system in runs("drop_kit")])
    assert np.std(pooled) == pytest.approx(np.hypot(0.14, 0.178325 / np.sqrt(12)), rel=0.06)
    assert runs("drop_kit")[0].recorded.of("alkalinity")[0].sd == pytest.approx(np.std(pooled), rel=0.06)


def test_outliers_are_labelled_and_as_many_as_stated() -> None:
    total = sum(len(system.recorded.readings) for system in runs("outliers"))
    wrong = sum(len(system.labels.outliers) for system in runs("outliers"))
    assert wrong / total == pytest.approx(0.08, abs=0.02)
    sound = np.concatenate([errors(system) for system in runs("outliers")])
    assert np.std(sound) == pytest.approx(0.05, rel=0.06)
    assert np.max(np.abs(np.concatenate([errors(system, sound=False) for system in runs("outliers")]))) > 0.6


def test_intervals_and_gaps() -> None:
    for system in runs("gaps"):
        days = np.array([np.floor(reading.taken_at) for reading in system.recorded.of("alkalinity")])
        assert not np.any((days >= 45) & (days < 57))
        assert np.max(np.diff(days)) >= 12
    for system in runs("steady"):
        days = np.array([np.floor(reading.taken_at) for reading in system.recorded.of("alkalinity")])
        assert set(np.diff(days)) == {1.0, 2.0, 3.0, 4.0}


def test_hand_timed_drip_has_one_error_a_run() -> None:
    factors = []
    for system in runs("reactor"):
        ratio = [
            reading.value / system.truth.drip[max(round(reading.taken_at * 24) - 1, 0)]
            for reading in system.recorded.of("effluent_flow")
            if (reading.taken_at * 24) % 1 == 0
        ]
        assert np.std(ratio) < 0.06
        factors.append(np.mean(ratio) * system.labels.factors["effluent_flow"])
    assert np.mean(factors) == pytest.approx(1.0, abs=0.01)
    spread = np.std([1.0 / system.labels.factors["effluent_flow"] for system in runs("reactor")])
    assert spread == pytest.approx(0.10, rel=0.35)


def test_a_clogging_line_loses_a_third_and_is_timed_before_and_after_cleaning() -> None:
    system = runs("clogging")[0]
    cleaned = [event.at for event in system.recorded.maintenance if event.what == "drip line cleaned"]
    assert len(cleaned) == 8  # noon of day 14, 28, ... 112
    share = [system.truth.drip[round(at * 24) - 1] / system.truth.drip[round(at * 24) - 14 * 24] for at in cleaned[1:]]
    assert len(share) == 7
    assert np.min(share) < 0.8
    timed = np.array([reading.taken_at for reading in system.recorded.of("effluent_flow")])
    for at in cleaned:
        assert np.sum(np.abs(timed - at) < 0.03) >= 2


def test_drift_label_is_the_sd_of_the_demand_walk() -> None:
    """Quadratic variation of a diffusion over whole days, the light cancelled by the daily mean."""
    ratios = []
    for system in runs("fast_drift"):
        noon = system.truth.demand[12::24]
        ratios.append(np.mean(np.diff(noon) ** 2) / system.labels.drift_sd**2)
    # daily means of a walk: consecutive differences hold two thirds of its variance; a log-normal level a little more
    assert np.mean(ratios) == pytest.approx(2.0 / 3.0, rel=0.15)


def test_unrecorded_means_unrecorded() -> None:
    for system in runs("unrecorded_addition"):
        (hidden,) = system.labels.unrecorded
        assert hidden.what == "addition"
        hour = round(hidden.at * 24)
        if hour + 1 < len(system.truth.at):
            jump = system.truth.alkalinity[hour + 1] - system.truth.alkalinity[hour]
            assert jump == pytest.approx(0.6, abs=0.08)
        assert not [addition for addition in system.recorded.additions if addition.start == addition.end == hidden.at]
    step = runs("step")[0]
    assert step.labels.demand_steps
    assert step.recorded.stock_changes == ()


def test_recorded_doses_are_the_pumps_settings_and_wrong_by_its_calibration() -> None:
    wrong = []
    for system in runs("steady"):
        doses = [addition for addition in system.recorded.additions if addition.kind == "dose"]
        arrived = float(system.truth.dosing_rate.sum() / 24.0)
        wrong.append(arrived / sum(dose.amount for dose in doses))
        assert wrong[-1] == pytest.approx(system.labels.factors["dosing"], rel=1e-9)
        assert all(one.end == other.start for one, other in pairwise(doses))
    assert np.std(wrong) == pytest.approx(0.05, rel=0.35)


def test_limewater_is_weak_and_measured() -> None:
    strengths = np.concatenate([system.truth.limewater for system in runs("limewater")])
    assert np.median(strengths) == pytest.approx(0.7 * 40.6, rel=0.05)
    for system in runs("limewater"):
        poured = [addition for addition in system.recorded.additions if addition.kind == "limewater"]
        assert all(addition.alkalinity_meq_l is not None for addition in poured)
        assert sum(addition.amount for addition in poured) == pytest.approx(1200.0, rel=0.05)


def test_lots_shift_the_readings_from_their_day_on() -> None:
    scenario = load_scenario("consumption/steady")
    lots = (Lot(code="A-1", from_day=0.0, bias_sd=0.0), Lot(code="A-2", from_day=52.0, bias_sd=5.0))
    kit = replace(scenario.system[0].test[0], lot=lots)
    system = replace(scenario.system[0], test=(kit,))
    found = simulate(replace(scenario, days=84, system=(system,)), 10011).systems[0]
    for reading in found.recorded.of("alkalinity"):
        error = abs(reading.value - found.truth.alkalinity[round(reading.taken_at * 24)])
        assert reading.lot == ("A-1" if reading.taken_at < 52 else "A-2")
        assert error > 1.0 if reading.lot == "A-2" else error < 1.0


def test_replicates_are_marked() -> None:
    scenario = load_scenario("consumption/steady")
    twice = replace(scenario.system[0], test=(replace(scenario.system[0].test[0], replicates=2),))
    found = simulate(replace(scenario, days=20, system=(twice,)), 10000).systems[0].recorded.of("alkalinity")
    assert [reading.purpose for reading in found] == ["sample", "replicate"] * (len(found) // 2)
    assert found[0].taken_at == found[1].taken_at
    assert found[0].value != found[1].value
