"""Additions nobody recorded, told by the last two readings: each explanation's density, and what is named."""

from dataclasses import replace

import numpy as np
import pytest

from service.science.consumption import estimate_consumption
from service.science.demand_prior import Grid, robust_start, settings_grid
from service.science.filtering import ALKALINITY, run_filter
from service.science.history import Doses, Readings, SystemHistory
from service.science.second_look import last_two
from service.science.sudden_rise import explain_last_two
from service.science.timeline import Timeline, lay_out

DAYS = np.arange(0.4, 80.0, 2.0)
END = np.full(1, 79.0)


def history(*last: float, seed: int = 20_020) -> SystemHistory:
    """A pump that meets the demand, read every other day with a kit of 0.05; the last readings are so much higher."""
    value = 2.8 + 0.05 * np.random.default_rng(seed).standard_normal(len(DAYS))
    value[len(DAYS) - len(last) :] += last
    return SystemHistory(
        readings=Readings(at_days=DAYS, value=value, sd=np.full(len(DAYS), 0.05)),
        doses=Doses(
            start_days=np.zeros(1), end_days=np.full(1, 80.0), amount=np.full(1, 24.0), relative_sd=np.full(1, 0.05)
        ),
    )


def named(*last: float) -> list[float]:
    """The sizes of the jumps that are named at the end of the record."""
    (found,) = estimate_consumption(histories=[history(*last)], at_days=END)
    return [shift.size for shift in found.level_shifts]


def share_named(*last: float, records: int = 200) -> float:
    """In what part of many records a jump is named."""
    histories = [history(*last, seed=seed) for seed in range(records)]
    found = estimate_consumption(histories=histories, at_days=np.full(records, END[0]))
    return float(np.mean([bool(each.level_shifts) for each in found]))


def density(timeline: Timeline, grid: Grid) -> float:
    """Logarithm of how probable the readings are, over all settings, by the filter alone."""
    start = robust_start(timeline=lay_out(histories=[history(0.4, 0.5)], at_days=END))
    forward = run_filter(timeline=timeline, start=start, grid=grid, rule=None, scale=ALKALINITY, keep=False)
    return float(np.logaddexp.reduce(forward.log_likelihood + grid.log_prior, axis=None))


def raised(values: np.ndarray, node: int, by: float) -> np.ndarray:
    values = values.copy()
    values[node] += by
    return values


def test_each_explanation_is_the_density_of_the_readings() -> None:
    """A rise is a level free to move by sd t before the first, a mistake a reading of variance t^2 more."""
    timeline = lay_out(histories=[history(0.4, 0.5)], at_days=END)
    start = robust_start(timeline=timeline)
    found = explain_last_two(timeline=timeline, start=start, scale=ALKALINITY)
    grid, sudden = settings_grid(start=start), ALKALINITY.sudden**2
    first, second = (int(each[0]) for each in last_two(timeline))

    def wrong(*nodes: int) -> float:
        total = -np.inf
        for index in range(grid.drift.shape[1]):
            one = Grid(*(each[:, index : index + 1] for each in (grid.drift, grid.noise_factor, grid.log_prior)))
            variance = timeline.variance
            for node in nodes:  # the filter multiplies it by the square of the factor
                variance = raised(variance, node, sudden / float(one.noise_factor[0, 0]) ** 2)
            total = np.logaddexp(total, density(replace(timeline, variance=variance), one))
        return float(total)

    free = replace(timeline, jump_variance=raised(timeline.jump_variance, first, sudden))
    assert found.expected[0] == pytest.approx(density(timeline, grid), abs=1e-9)
    assert found.rise[0] == pytest.approx(density(free, grid), abs=1e-6)
    assert found.first_wrong[0] == pytest.approx(wrong(first), abs=1e-6)
    assert found.second_wrong[0] == pytest.approx(wrong(second), abs=1e-6)
    assert wrong(first, second) < found.both_wrong[0] < wrong(first, second) + 1.0


def test_two_readings_in_a_row_name_an_addition() -> None:
    assert named(0.5, 0.55) == pytest.approx([0.45], abs=0.1)
    assert not named()


@pytest.mark.parametrize("last", [(0.45,), (0.45, 0.0), (0.0, 0.45), (0.3, 0.9)])
def test_one_high_reading_and_two_that_disagree_are_no_addition(last: tuple[float, ...]) -> None:
    assert not named(*last)


def test_a_fall_of_the_same_size_needs_more() -> None:
    assert share_named(0.3, 0.3) > 2 * share_named(-0.3, -0.3) > 0.0


def test_the_readings_of_a_named_addition_are_believed() -> None:
    """Set aside they would leave the level where it was, and the next reading would be told to be tested again."""
    (found,) = estimate_consumption(histories=[history(0.4, 0.45)], at_days=END)
    assert found.expected is not None
    assert found.expected.value == pytest.approx(3.2, abs=0.1)
    assert not found.set_aside


def test_nothing_is_hardly_ever_taken_for_an_addition_and_an_addition_hardly_ever_for_nothing() -> None:
    assert share_named(records=600) < 0.005
    assert share_named(0.4, 0.4) > 0.9
