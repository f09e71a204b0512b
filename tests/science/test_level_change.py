"""One change in a short record: found where it was, with the size it had, and not where there was none.

The normal tail 1 - erf(z/sqrt 2) and the order statistics behind the medians are textbook; simulations here are drawn
from numpy's generator. scipy is not needed.
"""

import numpy as np
import pytest

from service.science.level_change import LevelChange, level_change, slope_change

WEEKS = 18


def drips(rng: np.random.Generator, *, factor: float, changed_after: int, shared: float = 1.1) -> np.ndarray:
    """Weekly timings of a 60 L/d drip, all with one watch, 4 % apart."""
    true = np.where(np.arange(WEEKS) < changed_after, 60.0, 60.0 * factor)
    return np.asarray(true * shared * np.exp(0.04 * rng.standard_normal(WEEKS)))


def changed(value: np.ndarray) -> LevelChange | None:
    return level_change(at_days=7.0 * np.arange(WEEKS), value=value, relative_sd=np.full(WEEKS, 0.1))


def test_a_step_is_found_where_it_was() -> None:
    value = np.array([60.0] * 14 + [45.0] * 4)
    found = changed(value)
    assert found is not None
    assert found.ratio == pytest.approx(0.75)
    assert (found.after_days, found.at_days) == (91.0, 98.0)
    assert (found.before, found.after) == (14, 4)


def test_two_checks_after_a_quarter_less_are_enough_nineteen_times_in_twenty() -> None:
    rng = np.random.default_rng(20001)
    scores = [changed(drips(rng, factor=0.75, changed_after=WEEKS - 2)).score for _ in range(400)]
    assert np.mean(np.array(scores) > 3.5) > 0.95


def test_its_interval_holds_the_true_step() -> None:
    rng = np.random.default_rng(20002)
    found = [changed(drips(rng, factor=0.75, changed_after=WEEKS - 4)) for _ in range(400)]
    assert np.mean([each.low < 0.75 < each.high for each in found]) > 0.90


def test_a_steady_drip_is_left_in_peace() -> None:
    rng = np.random.default_rng(20003)
    found = [changed(drips(rng, factor=1.0, changed_after=0)) for _ in range(600)]
    loud = [each.score > 3.5 and abs(np.log(each.ratio)) > 0.12 for each in found]
    assert np.mean(loud) < 0.005


def test_one_slip_is_no_change_and_a_drip_that_recovered_is_over() -> None:
    steady = drips(np.random.default_rng(20004), factor=1.0, changed_after=0)
    slipped, recovered = steady.copy(), steady.copy()
    slipped[-1] *= 0.6
    recovered[-4:-1] *= 0.7
    for value in (slipped, recovered):
        found = changed(value)
        assert found.score < 3.5 or abs(np.log(found.ratio)) < 0.12


def test_too_few_checks_say_nothing() -> None:
    assert level_change(at_days=np.arange(4.0), value=np.ones(4), relative_sd=np.full(4, 0.1)) is None


def weighings(rng: np.random.Generator, *, leak: float, since_week: int) -> dict[str, object]:
    """A cylinder weighed weekly within 20 g; 16.5 g/d of which a part of all that leaves is lost from a week on."""
    at = 7.0 * np.arange(WEEKS)
    bubbles = np.cumsum(np.r_[0.0, np.full(WEEKS - 1, 7.0)])
    lost = 16.5 * (at + np.maximum(at - 7.0 * since_week, 0.0) * (1.0 / (1.0 - leak) - 1.0))
    return {
        "at_days": at,
        "mass": 4500.0 - lost + 20.0 * rng.standard_normal(WEEKS),
        "mass_sd": np.full(WEEKS, 20.0),
        "indicated": bubbles,
        "series": np.zeros(WEEKS),
        "indicated_relative_sd": 0.03,
    }


def test_a_leak_bends_the_line() -> None:
    rng = np.random.default_rng(20005)
    found = [slope_change(**weighings(rng, leak=0.3, since_week=WEEKS - 5)) for _ in range(200)]
    assert np.mean([each.score > 4.0 for each in found]) > 0.95
    assert np.mean([each.low < 1.0 / 0.7 < each.high for each in found]) > 0.85


def test_a_tight_line_stays_straight() -> None:
    rng = np.random.default_rng(20006)
    found = [slope_change(**weighings(rng, leak=0.0, since_week=0)) for _ in range(400)]
    assert np.mean([abs(each.score) > 4.0 for each in found]) < 0.01


def test_each_cylinder_has_a_level_of_its_own() -> None:
    told = weighings(np.random.default_rng(20007), leak=0.0, since_week=0)
    half = WEEKS // 2
    told["mass"] = np.r_[told["mass"][:half], told["mass"][half:] + 1234.0]
    told["series"] = np.r_[np.zeros(half), np.ones(WEEKS - half)]
    assert abs(slope_change(**told).score) < 4.0
    told["series"] = np.zeros(WEEKS)
    assert abs(slope_change(**told).score) > 4.0


def test_nothing_indicated_says_nothing() -> None:
    told = weighings(np.random.default_rng(20008), leak=0.0, since_week=0)
    told["indicated"] = np.zeros(WEEKS)
    assert slope_change(**told) is None
