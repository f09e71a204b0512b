"""Joining witnesses of the gas flow, and telling a leak: hand figures, coverage, what is visible."""

from pathlib import Path

import numpy as np
import pytest

from service.science import gas_sources
from service.science.gas_sources import (
    UNCALIBRATED_BUBBLE_MG,
    WeighedPeriods,
    bubble_rate_g_d,
    calibrate_by_weighing,
    fuse_rates,
    gas_check,
    smallest_visible_leak,
    weighed_rate_sd,
)
from service.science.units import convert


def test_a_bubble_is_weighed() -> None:
    """Fourteen days at 1.5 bubbles a second of 0.097 mg, weighed with 20 g at either end: sd 16 %, as sqrt(2) 20/176.

    Two such periods: sd smaller by sqrt(2).
    """
    bubbles = 14 * 86_400 * 1.5
    once = WeighedPeriods(lost_g=np.array([176.0]), lost_sd_g=np.array([28.28]), indicated=np.array([bubbles]))
    found = calibrate_by_weighing(periods=once)
    assert found.unit_g * 1000 == pytest.approx(0.097, abs=0.0005)
    assert found.relative_sd == pytest.approx(28.28 / 176.0, rel=1e-3)
    twice = WeighedPeriods(
        lost_g=np.array([170.0, 182.0, np.nan]), lost_sd_g=np.array([28.28, 28.28, 1.0]), indicated=np.full(3, bubbles)
    )
    both = calibrate_by_weighing(periods=twice)
    assert both.unit_g == pytest.approx(found.unit_g, rel=1e-9)
    assert both.relative_sd == pytest.approx(found.relative_sd / np.sqrt(2.0), rel=1e-9)
    counted = WeighedPeriods(
        lost_g=np.array([1e6]), lost_sd_g=np.array([1.0]), indicated=np.array([1e10]), relative_sd=0.05
    )
    assert calibrate_by_weighing(periods=counted).relative_sd == pytest.approx(0.05, rel=1e-3)
    none = WeighedPeriods(lost_g=np.array([np.nan]), lost_sd_g=np.array([1.0]), indicated=np.array([5.0]))
    assert np.isnan(calibrate_by_weighing(periods=none).unit_g)


def test_bubbles_alone_say_little() -> None:
    """0.03-0.1 mL, 0.06-0.19 mg, 5-17 g a day at one a second; the masses from the gas density at 1.05 bar."""
    rates = bubble_rate_g_d(bubbles_per_day=86_400.0, bubble_mg=np.array(UNCALIBRATED_BUBBLE_MG))
    assert rates == pytest.approx([5.2, 16.4], abs=0.05)
    assert convert(1.0, unit="g/d", to="mL/min (0 C, 1 atm)") == pytest.approx(0.351, abs=5e-4)


def test_sources_are_joined_by_inverse_variance() -> None:
    """By hand: 20 +- 1 and 18 +- 2 give (20 + 18/4)/(1 + 1/4) = 19.6 +- sqrt(1/1.25)."""
    found = fuse_rates(rate_g_d=np.array([20.0, np.nan, 18.0]), rate_sd=np.array([1.0, 1.0, 2.0]))
    assert found.rate_g_d == pytest.approx(19.6)
    assert found.sd_g_d == pytest.approx(np.sqrt(0.8))
    assert found.weight == pytest.approx([0.8, 0.0, 0.2])
    assert found.disagreement == pytest.approx(np.sqrt(0.16 + 0.64))
    apart = fuse_rates(rate_g_d=np.array([20.0, 14.0]), rate_sd=np.array([1.0, 1.0]))
    assert apart.disagreement == pytest.approx(np.sqrt(18.0))
    assert apart.sd_g_d == pytest.approx(np.sqrt(18.0) * np.sqrt(0.5))
    alone = fuse_rates(rate_g_d=np.array([20.0, np.nan]), rate_sd=np.array([1.0, np.nan]))
    assert (alone.rate_g_d, alone.sd_g_d, np.isnan(alone.disagreement)) == (20.0, 1.0, True)
    none = fuse_rates(rate_g_d=np.array([np.nan]), rate_sd=np.array([1.0]))
    assert np.isnan(none.rate_g_d)
    many = fuse_rates(rate_g_d=np.ones((4, 3, 2)), rate_sd=np.ones(2))
    assert many.rate_g_d.shape == (4, 3)


def test_agreeing_witnesses_seldom_accuse() -> None:
    """Weighing and chemistry of the same 20 g/d: a difference is called significant in 5 % of cases, no more."""
    rng = np.random.default_rng(10_030)
    n = 40_000
    check = gas_check(
        weighed_g_d=20.0 + rng.standard_normal(n), weighed_sd=1.0,
        chemistry_g_d=20.0 + 2.2 * rng.standard_normal(n), chemistry_sd=2.2,
    )  # fmt: skip
    assert check.is_significant.mean() == pytest.approx(0.05, abs=0.005)
    held = (check.low_fraction <= 0.0) & (check.high_fraction >= 0.0)
    assert held.mean() == pytest.approx(0.95, abs=0.015)


def test_a_leak_is_seen_once_it_is_large_enough() -> None:
    leak = gas_check(weighed_g_d=20.0, weighed_sd=0.9, chemistry_g_d=np.array([14.0, 18.5]), chemistry_sd=1.5)
    assert leak.is_significant.tolist() == [True, False]
    assert leak.missing_fraction == pytest.approx([0.3, 0.075])
    more = gas_check(weighed_g_d=10.0, weighed_sd=0.5, chemistry_g_d=14.0, chemistry_sd=1.0)
    assert more.is_significant
    assert more.score < 0.0


def test_weighing_narrows_with_time_and_ph_does_not() -> None:
    """45 % after a week of 20 g weighings at 20 g/d, 23 % after four, never below what pH leaves; so says TRUST.md."""
    days = np.array([7.0, 28.0, 3650.0])
    seen = smallest_visible_leak(use_g_d=20.0, weighing_sd_g=20.0, over_days=days)
    assert seen == pytest.approx([0.451, 0.233, 0.2156], abs=0.001)
    trust = " ".join(Path(gas_sources.__file__).with_name("TRUST.md").read_text(encoding="utf-8").split())
    assert f"is about {100 * seen[0]:.0f} % after one week and {100 * seen[1]:.0f} % after four" in trust
    rng = np.random.default_rng(10_031)
    at = np.arange(0.0, 29.0, 7.0)
    slopes = np.polyfit(at, 20.0 * rng.standard_normal((len(at), 20_000)), 1)[0]
    assert weighed_rate_sd(weighing_sd_g=20.0, over_days=28.0, weighing_interval_days=7.0) == pytest.approx(
        slopes.std(), rel=0.02
    )
