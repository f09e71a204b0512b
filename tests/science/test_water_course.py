"""The smoothed course of salinity and nitrate, what it dilutes, and what nitrate takes."""

from __future__ import annotations

import numpy as np
import pytest

from service.science.consumption import Scale, estimate_consumption
from service.science.demand_prior import Grid, Start
from service.science.dilution import dilution, dilution_now, weeks_until
from service.science.filtering import DEMAND, LEVEL, run_filter
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges
from service.science.nitrate import alkalinity_of_nitrate_meq_l_d
from service.science.smoother import smooth_backward
from service.science.timeline import lay_out
from service.science.water_course import NITRATE, SALINITY, Pace, WaterCourse, water_courses


def history(days: np.ndarray, value: np.ndarray, sd: float, **more: object) -> SystemHistory:
    return SystemHistory(readings=Readings(at_days=days, value=value, sd=np.full(len(days), sd)), **more)  # type: ignore[arg-type]


def course(record: SystemHistory, at: np.ndarray, pace: Pace = SALINITY) -> WaterCourse:
    (found,) = water_courses(histories=[record], at_days=[at], pace=pace)
    assert found is not None
    return found


def test_the_course_is_that_of_the_smoother() -> None:
    """One model, two ways: the filter and smoother of the consumption estimate, with the same settings and no gate."""
    days = np.array([0.0, 4.0, 9.0, 12.5, 20.0, 26.0, 31.0])
    value = 35.0 + np.array([0.0, 0.1, -0.05, -0.1, -0.2, -0.15, -0.4])
    record = history(days, value, 0.2)
    found = course(record, days)
    timeline = lay_out(histories=[record], at_days=days[-1:])
    # the noise is that of the first pass, which the scatter of few good readings lowers to its floor twice
    sd = 0.2 * 0.95
    middle, start_sd = np.array([np.median(value)]), np.array([10.0 * 0.2])
    forward = run_filter(
        timeline=timeline,
        start=Start(middle, start_sd, np.zeros(1), np.array([SALINITY.slope_sd]), np.ones(1)),
        grid=Grid(np.full((1, 1), SALINITY.slope_drift), np.full((1, 1), sd / 0.2), np.zeros((1, 1))),
        rule=None,
        scale=Scale(level_noise=SALINITY.level_noise),
        keep=True,
    )
    smoothed = smooth_backward(forward=forward)
    assert found.slope == pytest.approx(-smoothed.mean[:, DEMAND, 0, 0], abs=1e-9)
    assert found.slope_sd**2 == pytest.approx(smoothed.covariance[:, DEMAND, DEMAND, 0, 0], rel=1e-6)
    assert found.level == pytest.approx(smoothed.mean[:, LEVEL, 0, 0], abs=1e-8)
    assert found.level_sd**2 == pytest.approx(smoothed.covariance[:, LEVEL, LEVEL, 0, 0], rel=1e-6)


def test_a_falling_salinity_is_followed_across_water_changes() -> None:
    """35 falls by 0.05 a day; each fortnight a tenth of the water is changed for water of 35."""
    days = np.arange(0.0, 85.0, 3.0)
    at, level, levels = 0.0, 35.0, []
    changes = np.arange(10.5, 84.0, 14.0)
    for day in days:
        for when in changes[(changes > at) & (changes <= day)]:
            level -= 0.05 * (when - at)
            level, at = 0.9 * level + 0.1 * 35.0, float(when)
        level, at = level - 0.05 * (day - at), float(day)
        levels.append(level)
    count = len(changes)
    changed = WaterChanges(
        at_days=changes, fraction=np.full(count, 0.1), fraction_sd=np.full(count, 0.005),
        new_value=np.full(count, 35.0), new_value_sd=np.full(count, 0.2),
    )  # fmt: skip
    noise = 0.1 * np.random.default_rng(3).standard_normal(len(days))
    found = course(history(days, np.array(levels) + noise, 0.1, water_changes=changed), days[-1:])
    assert found.slope[0] == pytest.approx(-0.05, abs=0.01)
    assert found.level[0] == pytest.approx(levels[-1], abs=0.15)
    unaware = course(history(days, np.array(levels) + noise, 0.1), days[-1:])
    assert unaware.slope[0] > found.slope[0] + 0.005


def test_an_exchange_and_weighed_salt_are_events() -> None:
    """By hand: a hundredth a day of water of 30 against 35 takes 0.05 a day; salt of 0.05 a day makes up for it."""
    days = np.arange(0.0, 60.0, 3.0)
    fresh = Feed(
        name="x",
        flow=Checks(at_days=np.zeros(1), value=np.array([0.01]), relative_sd=np.array([0.05])),
        inflow=Checks(at_days=np.zeros(1), value=np.array([30.0]), relative_sd=np.array([0.01])),
    )
    salt = Doses(start_days=np.zeros(1), end_days=np.array([60.0]), amount=np.array([3.0]), relative_sd=np.array([0.1]))
    flat = np.full(len(days), 35.0)
    assert course(history(days, flat, 0.1, feeds=(fresh,)), days[-1:]).slope[0] == pytest.approx(0.05, abs=0.005)
    both = course(history(days, flat, 0.1, feeds=(fresh,), doses=salt), days[-1:])
    assert both.slope[0] == pytest.approx(0.0, abs=1e-9)


def test_one_wild_reading_moves_no_slope_and_three_readings_have_none() -> None:
    days = np.arange(0.0, 60.0, 4.0)
    value = np.full(len(days), 35.0)
    value[-2] = 38.0
    assert abs(course(history(days, value, 0.15), days[-1:]).slope[0]) < 0.003
    assert water_courses(histories=[history(days[:3], value[:3], 0.1)], at_days=[days[-1:]], pace=SALINITY) == [None]
    assert water_courses(histories=[SystemHistory(readings=Readings())], at_days=[days[-1:]], pace=NITRATE) == [None]


def test_many_systems_are_answered_as_each_alone() -> None:
    days = np.arange(0.0, 60.0, 4.0)
    records = [
        history(days[:count], 35.0 - rate * days[:count], 0.1) for count, rate in ((15, 0.0), (9, 0.04), (4, 0.02))
    ]
    together = water_courses(histories=records, at_days=[days[-1:]] * 3, pace=SALINITY)
    for record, found in zip(records, together, strict=True):
        assert found is not None
        alone = course(record, days[-1:])
        assert found.slope == pytest.approx(alone.slope, abs=1e-9)
        assert found.slope_sd == pytest.approx(alone.slope_sd, rel=1e-6)


def test_diluted_water_is_not_consumed() -> None:
    """Nothing is consumed; 0.2 % of the water a day leaves and is made up fresh: A and S fall alike."""
    days = np.arange(0.0, 90.0, 2.0)
    kept = np.exp(-0.002 * days)
    random = np.random.default_rng(5)
    alkalinity = history(days, 2.85 * kept + 0.02 * random.standard_normal(len(days)), 0.02)
    salinity = history(days[::2], 35.0 * kept[::2] + 0.1 * random.standard_normal(len(days[::2])), 0.1)
    weeks = weeks_until(first_day=0.0, at_day=88.0)
    salt = course(salinity, weeks)
    brought = dilution(course=salt, level=2.85, salt=Doses())
    corrected = SystemHistory(readings=alkalinity.readings, doses=brought)
    before, after = estimate_consumption(histories=[alkalinity, corrected], at_days=[88.0, 88.0])
    by_hand = 2.85 * kept[-1] * 0.002  # A/S dS/dt
    assert before.best == pytest.approx(by_hand, abs=0.0012)
    assert after.best == pytest.approx(0.0, abs=0.0015)
    now = dilution_now(course=salt, level=2.85 * kept[-1])
    assert now is not None
    assert now[0] == pytest.approx(by_hand, abs=0.001)


def test_a_salinity_read_too_seldom_takes_nothing_out() -> None:
    weeks = weeks_until(first_day=0.0, at_day=88.0)
    seldom = course(history(np.array([67.0, 74.0, 81.0, 88.0]), np.array([35.0, 34.5, 35.0, 34.0]), 1.0), weeks)
    assert not len(dilution(course=seldom, level=2.85, salt=Doses()).amount)
    assert dilution_now(course=seldom, level=2.85) is None


def test_a_milligram_of_nitrate_a_day_by_hand() -> None:
    """1 mg / 62.005 mg a mmol = 0.01613 mmol, one meq each (Wolf-Gladrow et al. 2007)."""
    assert float(alkalinity_of_nitrate_meq_l_d(nitrate_mg_l_d=1.0)) == pytest.approx(0.01613, abs=5e-6)
    assert float(alkalinity_of_nitrate_meq_l_d(nitrate_mg_l_d=-2.0)) == pytest.approx(-0.03226, abs=1e-5)
