"""Additions nobody recorded, told by the last readings: each explanation's density, and what is named."""

from dataclasses import replace

import numpy as np
import pytest

from service.science import sudden_rise
from service.science.consumption import estimate_consumption
from service.science.demand_prior import Grid, robust_start, settings_grid
from service.science.filtering import ALKALINITY, run_filter
from service.science.history import Doses, Readings, SystemHistory
from service.science.second_look import last_readings
from service.science.sudden_rise import (
    LOOKED_AT,
    MISTAKES,
    TURNED,
    TURNED_SHARE,
    WITH_A_RISE,
    WITHOUT_A_RISE,
    Explanation,
    explain_last,
    innovations,
    weigh,
)
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
    forward = run_filter(timeline=timeline, start=START, grid=grid, rule=None, scale=ALKALINITY, keep=False)
    return float(np.logaddexp.reduce(forward.log_likelihood + grid.log_prior, axis=None))


def raised(values: np.ndarray, node: int, by: float) -> np.ndarray:
    values = values.copy()
    values[node] += by
    return values


TIMELINE = lay_out(histories=[history(0.3, 0.4, 0.5)], at_days=END)
START = robust_start(timeline=TIMELINE)
GRID = settings_grid(start=START)


def by_the_filter(explanation: Explanation) -> float:
    """The density by filtering anew: a rise is a level free to move by sd t, a mistake a reading t^2 less certain.

    A turn of the slope is a demand free to move.
    """
    before, *last = last_readings(TIMELINE, 1 + LOOKED_AT)[:, 0]
    sudden, total = ALKALINITY.sudden**2, -np.inf
    jump_variance = TIMELINE.jump_variance
    if explanation.rise is not None:
        jump_variance = raised(jump_variance, last[explanation.rise], sudden)
    for index in range(GRID.drift.shape[1]):
        one = Grid(*(each[:, index : index + 1] for each in (GRID.drift, GRID.noise_factor, GRID.log_prior)))
        variance = TIMELINE.variance
        for number in explanation.wrong:  # the filter multiplies it by the square of the factor
            variance = raised(variance, last[number], sudden / float(one.noise_factor[0, 0]) ** 2)
        demand = TIMELINE.demand_22
        if explanation.turned is not None:  # the filter multiplies it by the square of the drift
            turned = (TURNED_SHARE * float(START.demand_size[0]) / float(one.drift[0, 0])) ** 2
            demand = raised(demand, [before, *last][1 + explanation.turned], turned)
        changed = replace(TIMELINE, variance=variance, jump_variance=jump_variance, demand_22=demand)
        total = np.logaddexp(total, density(changed, one))
    priors = len(explanation.wrong) * np.log(MISTAKES) + (explanation.turned is not None) * np.log(TURNED)
    return float(total + priors)


@pytest.mark.parametrize("explanation", [*WITHOUT_A_RISE, *WITH_A_RISE], ids=str)
def test_each_explanation_is_the_density_of_the_readings(explanation: Explanation) -> None:
    forward = run_filter(timeline=TIMELINE, start=START, grid=GRID, rule=None, scale=ALKALINITY, keep=True)
    seen = innovations(
        forward=forward,
        last=last_readings(TIMELINE, 1 + LOOKED_AT),
        sudden=ALKALINITY.sudden,
        turned=TURNED_SHARE * START.demand_size,
    )
    gain = weigh(seen, explanation).log_gain
    found = np.logaddexp.reduce(GRID.log_prior + forward.log_likelihood + gain, axis=None)
    assert found == pytest.approx(by_the_filter(explanation), abs=1e-8)


def test_a_rise_is_held_against_all_else_together() -> None:
    found = explain_last(timeline=TIMELINE, start=START, scale=ALKALINITY)
    rises, others = ([by_the_filter(each) for each in every] for every in (WITH_A_RISE, WITHOUT_A_RISE))
    assert found.log_factor[0] == pytest.approx(np.logaddexp.reduce(rises) - np.logaddexp.reduce(others), abs=1e-8)
    assert found.likeliest[0] == int(np.argmax(rises))


def test_two_readings_in_a_row_name_an_addition() -> None:
    assert named(0.5, 0.55) == pytest.approx([0.45], abs=0.1)
    assert not named()


@pytest.mark.parametrize("last", [(0.45,), (0.45, 0.0), (0.0, 0.45), (0.3, 0.9)])
def test_one_high_reading_and_two_that_disagree_are_no_addition(last: tuple[float, ...]) -> None:
    assert not named(*last)


def test_a_fall_of_the_same_size_needs_more() -> None:
    assert share_named(0.35, 0.35) > 1.3 * share_named(-0.35, -0.35) > 0.0


def test_a_rise_within_what_a_day_may_bring_is_not_named() -> None:
    assert share_named(0.2, 0.2, 0.2) < 0.25 * share_named(0.35, 0.35, 0.35)


def test_a_third_reading_tells_of_a_mistake_among_them() -> None:
    assert named(0.5, -0.5, 0.55) == pytest.approx([0.45], abs=0.15)
    assert named(0.45, 0.45, -0.3) == pytest.approx([0.45], abs=0.15)


def test_a_fall_that_ends_is_weighed_against_an_addition(monkeypatch: pytest.MonkeyPatch) -> None:
    """The course foretold goes on falling: supply was turned up, or what takes less."""
    timeline = lay_out(histories=[history(*np.linspace(-0.1, -0.6, 6), -0.5, -0.5, -0.5)], at_days=END)
    start = robust_start(timeline=timeline)
    weighed = explain_last(timeline=timeline, start=start, scale=ALKALINITY).log_factor[0]
    monkeypatch.setattr(sudden_rise, "TURNED", 1e-9)
    assert weighed < explain_last(timeline=timeline, start=start, scale=ALKALINITY).log_factor[0] - 0.15


def test_the_readings_of_a_named_addition_are_believed() -> None:
    """Set aside they would leave the level where it was, and the next reading would be told to be tested again."""
    (found,) = estimate_consumption(histories=[history(0.4, 0.45)], at_days=END)
    assert found.expected is not None
    assert found.expected.value == pytest.approx(3.2, abs=0.1)
    assert not found.set_aside


def test_nothing_is_hardly_ever_taken_for_an_addition_and_an_addition_hardly_ever_for_nothing() -> None:
    assert share_named(records=600) < 0.005
    assert share_named(0.4, 0.4) > 0.9
