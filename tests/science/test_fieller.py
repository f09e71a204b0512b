"""Student's quantiles against a printed table; Fieller's interval by its definition, by coverage, and without end."""

import numpy as np
import pytest

from service.science.fieller import line_reaches, ratio_interval
from service.science.student import t_quantile


def test_quantiles_are_those_of_the_printed_table() -> None:
    """Abramowitz & Stegun 1964, table 26.10 (the classic values, from memory)."""
    printed = {1: 12.706, 2: 4.303, 3: 3.182, 4: 2.776, 5: 2.571, 10: 2.228, 30: 2.042, 120: 1.980}
    for freedom, value in printed.items():
        assert t_quantile(level=0.95, degrees_of_freedom=freedom) == pytest.approx(value, abs=6e-4)
    assert t_quantile(level=0.99, degrees_of_freedom=7) == pytest.approx(3.499, abs=6e-4)
    assert t_quantile(level=0.90, degrees_of_freedom=8) == pytest.approx(1.860, abs=6e-4)


@pytest.mark.oracles
def test_quantiles_agree_with_scipy() -> None:
    from scipy.stats import t

    for freedom in (1, 2, 3, 6, 9, 28, 77, 400):
        for level in (0.5, 0.8, 0.95, 0.999):
            expected = t.ppf(0.5 + level / 2, freedom)
            assert t_quantile(level=level, degrees_of_freedom=freedom) == pytest.approx(expected, rel=1e-9)


def test_quantiles_refuse_what_has_none() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        t_quantile(level=0.95, degrees_of_freedom=0)
    with pytest.raises(ValueError, match="level"):
        t_quantile(level=1.0, degrees_of_freedom=3)


def test_ends_are_where_the_difference_is_z_sds_from_nothing() -> None:
    """By definition: (n - rho d)^2 = z^2 var(n - rho d) at both ends, whichever kind of set it is."""
    d = np.array([1.0, 0.3, 0.05])
    found = ratio_interval(
        numerator_mean=2.0, numerator_variance=np.array([0.01, 0.01, 4.0]), denominator_mean=d,
        denominator_variance=0.04, covariance=0.005, score=2.0,
    )  # fmt: skip
    assert found.is_bounded.tolist() == [True, False, False]
    assert found.is_two_rays.tolist() == [False, True, False]
    assert np.isinf(found.low[2])
    assert np.isinf(found.high[2])
    for end in (found.low[:2], found.high[:2]):
        variance = 0.01 - 2 * end * 0.005 + end**2 * 0.04
        assert (2.0 - end * d[:2]) ** 2 == pytest.approx(4.0 * variance, rel=1e-9)


def test_the_worked_line_and_its_interval() -> None:
    """A line by hand: 4.5 kg falling 10 g/d, residuals +-10 g in the pattern + - - +.

    Sxx 500 d2, residual variance 4e-4/2 kg2, t(2) 4.303; n = 4.35 kg at day 15, d = 0.010, v_nn 5e-5, v_dd 4e-7.
    """
    at = np.array([0.0, 10.0, 20.0, 30.0])
    mass = 4.5 - 0.010 * at + np.array([0.01, -0.01, -0.01, 0.01])
    found = line_reaches(at_days=at, mass_kg=mass)
    assert found.rate_kg_d == pytest.approx(0.010, rel=1e-9)
    assert found.rate_sd_kg_d == pytest.approx(np.sqrt(4e-7), rel=1e-9)
    assert found.at_days == pytest.approx(15.0 + 435.0, rel=1e-9)
    a, b, c = 1e-4 - 4.30265**2 * 4e-7, 0.0435, 4.35**2 - 4.30265**2 * 5e-5
    ends = [(b - np.sqrt(b**2 - a * c)) / a, (b + np.sqrt(b**2 - a * c)) / a]
    assert (found.low_days - 15.0, found.high_days - 15.0) == pytest.approx(tuple(ends), rel=1e-4)


def test_coverage_of_a_constant_rate_is_as_stated_also_without_an_end() -> None:
    """Sixty days, a weighing every ten, 20 g: 95 % of the intervals hold the day, open ones included."""
    rng = np.random.default_rng(10_001)
    runs, rate = 20_000, 0.006
    at = np.arange(0.0, 61.0, 10.0)
    mass = 4.5 - rate * at + 0.020 * rng.standard_normal((runs, len(at)))
    found = line_reaches(at_days=at, mass_kg=mass)
    true_day = 4.5 / rate
    held = (found.low_days <= true_day) & (true_day <= found.high_days)
    assert np.mean(held) == pytest.approx(0.95, abs=0.006)


def test_three_weekly_weighings_rarely_give_a_last_day() -> None:
    """Three weighings of 20 g at 10.5 g/d: about 69 % of records have no last day; four at 3 g/d about 72 %."""
    rng = np.random.default_rng(10_002)
    for count, rate, share in ((3, 0.0105, 0.69), (4, 0.003, 0.72)):
        at = 7.0 * np.arange(count)
        mass = 4.5 - rate * at + 0.020 * rng.standard_normal((20_000, count))
        found = line_reaches(at_days=at, mass_kg=mass)
        assert np.mean(np.isinf(found.high_days)) == pytest.approx(share, abs=0.03), (count, rate)
        assert np.all(np.isfinite(found.low_days) | np.isinf(found.high_days))


def test_a_tare_that_may_be_off_widens_the_interval() -> None:
    at = np.arange(0.0, 100.0, 10.0)
    mass = 4.5 - 0.03 * at + 0.001 * np.cos(at)
    sure, unsure = (line_reaches(at_days=at, mass_kg=mass, offset_sd_kg=sd) for sd in (0.0, 0.020))
    assert unsure.at_days == sure.at_days
    assert unsure.high_days - unsure.low_days > sure.high_days - sure.low_days + 1.0


def test_missing_readings_are_left_out_and_too_few_give_nothing() -> None:
    at = np.array([0.0, 10.0, 20.0, 30.0])
    mass = np.array([[4.5, np.nan, 4.3, 4.21], [4.5, np.nan, np.nan, 4.2]])
    found = line_reaches(at_days=at, mass_kg=mass)
    whole = line_reaches(at_days=at[[0, 2, 3]], mass_kg=mass[0, [0, 2, 3]])
    assert found.at_days[0] == pytest.approx(whole.at_days, rel=1e-12)
    assert found.low_days[0] == pytest.approx(whole.low_days, rel=1e-12)
    assert np.isnan(found.at_days[1])
    assert np.isnan(found.high_days[1])


def test_a_mass_that_rises_has_no_day() -> None:
    found = line_reaches(at_days=np.array([0.0, 7.0, 14.0]), mass_kg=np.array([4.40, 4.41, 4.41]))
    assert np.isnan(found.at_days)
    assert np.isposinf(found.high_days)
