"""The days to come: exact for the linear model, and right 95 times in 100 against paths drawn from it."""

import numpy as np
import pytest

from service.science.projection import Change, Start, Turn, project, start_of
from service.science.transition import transition

START = Start(
    level=2.85, level_sd=0.03, net_rate=-0.02, net_rate_sd=0.01, covariance=-1e-4, drift=0.006, level_noise=0.004,
    exchange_per_day=0.03,
)  # fmt: skip
ONE = {"restoring_per_day": np.array([0.03]), "weight": np.array([1.0])}


def looked_ahead(start: Start, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Mean and sd of the level as a filter with this state sees it, by the exact transition."""
    step = transition(exchange_per_day=np.asarray(start.exchange_per_day), dt_days=days)
    mean = start.level + start.net_rate * step.response_days
    variance = (
        step.decay**2 * start.level_sd**2
        + 2 * step.decay * step.response_days * start.covariance
        + step.response_days**2 * start.net_rate_sd**2
        + start.drift**2 * step.demand_11_days3
        + start.level_noise**2 * step.level_11_days
    )
    return mean, np.sqrt(variance)


def test_two_looks_ahead_tell_rate_and_covariance() -> None:
    days = np.array([0.0, 1.0, 8.0])
    mean, sd = looked_ahead(START, days)
    found = start_of(level=mean, level_sd=sd, ahead_days=days, drift=0.006, level_noise=0.004, exchange_per_day=0.03)
    for name in ("level", "level_sd", "net_rate", "net_rate_sd", "covariance"):
        assert getattr(found, name) == pytest.approx(getattr(START, name), rel=1e-6), name
    with pytest.raises(ValueError, match="three looks"):
        start_of(level=mean[:2], level_sd=sd, ahead_days=days, drift=0.0, level_noise=0.0, exchange_per_day=0.0)


def test_an_undisturbed_system_is_projected_as_the_filter_does() -> None:
    ahead = project(start=START, days=30, **ONE)
    mean, sd = looked_ahead(START, ahead.at_days)
    np.testing.assert_allclose(ahead.value, mean, rtol=1e-12)
    np.testing.assert_allclose(ahead.high - ahead.low, 2 * 1.959964 * sd, rtol=2e-3)


def test_bands_hold_95_of_100_paths() -> None:
    """Paths by Euler steps of an hour, drawn from the model: level and rate at the start, walk, plan, water change."""
    rng = np.random.default_rng(20101)
    runs, hours, rate = 4000, 24 * 20, 0.08
    turn = Turn(from_days=3.0, rate=0.05, sd=0.01)
    change = Change(at_days=10.0, fraction=0.2, fraction_sd=0.02, new_level=2.5, new_level_sd=0.08)
    ahead = project(
        start=START, days=20, restoring_per_day=np.array([rate]), weight=np.array([1.0]), turns=[turn], changes=[change]
    )
    covariance = [[START.level_sd**2, START.covariance], [START.covariance, START.net_rate_sd**2]]
    level, net = rng.multivariate_normal([START.level, START.net_rate], covariance, runs).T
    extra = turn.rate + turn.sd * rng.standard_normal(runs)
    covered = [np.mean((ahead.low[0] < level) & (level < ahead.high[0]))]
    dt = 1 / 24
    for hour in range(hours):
        planned = extra if hour * dt >= turn.from_days else 0.0
        level = level + dt * (net - rate * (level - START.level) + planned)
        level = level + START.level_noise * np.sqrt(dt) * rng.standard_normal(runs)
        net = net + START.drift * np.sqrt(dt) * rng.standard_normal(runs)
        if hour + 1 == 240:
            fraction = change.fraction + change.fraction_sd * rng.standard_normal(runs)
            new = change.new_level + change.new_level_sd * rng.standard_normal(runs)
            level = (1 - fraction) * level + fraction * new
        if (hour + 1) % 24 == 0:
            day = (hour + 1) // 24
            covered.append(np.mean((ahead.low[day] < level) & (level < ahead.high[day])))
    assert np.all(np.abs(np.array(covered) - 0.95) < 0.012)


def test_a_system_that_answers_comes_to_rest() -> None:
    """By hand: 0.05 meq/L a day more against 10 % a day of restoring settles 0.5 meq/L higher."""
    calm = Start(
        level=2.85, level_sd=1e-3, net_rate=0.0, net_rate_sd=1e-4, covariance=0.0, drift=0.0, level_noise=0.0,
        exchange_per_day=0.0,
    )  # fmt: skip
    ahead = project(
        start=calm,
        days=60,
        restoring_per_day=np.array([0.1]),
        weight=np.array([1.0]),
        turns=[Turn(from_days=0, rate=0.05)],
    )
    assert ahead.value[-1] == pytest.approx(2.85 + 0.5 * (1 - np.exp(-6)), abs=1e-9)
    free = project(
        start=calm,
        days=60,
        restoring_per_day=np.array([0.0]),
        weight=np.array([1.0]),
        turns=[Turn(from_days=0, rate=0.05)],
    )
    assert free.value[-1] == pytest.approx(2.85 + 3.0)
    both = project(
        start=calm, days=60, restoring_per_day=np.array([0.0, 0.1]), weight=np.array([0.5, 0.5]),
        turns=[Turn(from_days=0, rate=0.05)],
    )  # fmt: skip
    assert both.low[-1] < ahead.value[-1] + 0.1
    assert both.high[-1] > free.value[-1] - 0.1


def test_a_turn_in_shares_is_what_its_parts_are_one_by_one() -> None:
    """A third for three days, two thirds for three more, then all: three turns of a third each, nothing else."""
    parts = [Turn(from_days=day, rate=0.02) for day in (1.0, 4.0, 7.0)]
    in_one = Turn(from_days=1.0, rate=0.06, shares=(1 / 3,) * 3 + (2 / 3,) * 3 + (1.0,))
    np.testing.assert_allclose(
        project(start=START, days=20, turns=[in_one], **ONE).value,
        project(start=START, days=20, turns=parts, **ONE).value,
        rtol=1e-12,
    )
    # what is known poorly is so by the share that runs: a third of it is off by a third of its error
    wide = Turn(from_days=0.0, rate=0.0, sd=0.1, shares=(1 / 3,))
    third = Turn(from_days=0.0, rate=0.0, sd=0.1 / 3)
    found, wanted = (project(start=START, days=5, turns=[each], **ONE).high for each in (wide, third))
    np.testing.assert_allclose(found, wanted, rtol=1e-12)
    assert [in_one.share_at(day) for day in (0.99, 1.0, 3.5, 4.0, 99.0)] == [0.0, 1 / 3, 1 / 3, 2 / 3, 1.0]


def test_what_comes_in_less_what_goes_is_what_the_water_gains() -> None:
    """Stock after - stock before = net supply + turns - taken back + water changes, day by day, to the last digits.

    What is taken back is integrated here by itself: A runs from its value at dawn to its rest exponentially.
    """
    rate, days, volume = 0.07, 30, 1000.0
    turns = [
        Turn(from_days=0.0, rate=0.05, shares=(0.25,) * 3 + (0.5,) * 3 + (0.75,) * 3 + (1.0,)),
        Turn(from_days=5.0, rate=-0.03),
    ]
    change = Change(at_days=12.0, fraction=0.2, fraction_sd=0.0, new_level=2.4, new_level_sd=0.0)
    ahead = project(
        start=START, days=days, restoring_per_day=np.array([rate]), weight=np.array([1.0]), turns=turns,
        changes=[change],
    )  # fmt: skip
    supplied = taken_back = exchanged = 0.0
    level = START.level
    for day in range(days):
        inflow = START.net_rate + sum(turn.rate * turn.share_at(float(day)) for turn in turns)
        rest = START.level + inflow / rate
        above = (rest - START.level) + (level - rest) * -np.expm1(-rate) / rate  # mean of A - A_0 over the day
        supplied += volume * inflow
        taken_back += volume * rate * above
        level = rest + (level - rest) * np.exp(-rate)
        if day + 1 == change.at_days:
            exchanged = volume * change.fraction * (change.new_level - level)
            level += change.fraction * (change.new_level - level)
        gained = volume * (ahead.value[day + 1] - START.level)
        assert gained == pytest.approx(supplied - taken_back + exchanged, abs=1e-9)
    assert min(abs(supplied), abs(taken_back), abs(exchanged)) > 10.0
