"""Inputs between their checks, against dense Gaussian conditioning and by hand."""

import numpy as np
import pytest

from service.science import input_checks
from service.science.history import Checks
from service.science.input_checks import InputCourses, input_courses
from service.science.ragged import Places, places


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def at(*days: float) -> Places:
    """Instants of the one input there is."""
    return places(np.zeros(len(days), dtype=np.int64), column(*days))


def course(checks: Checks, *grid: float) -> InputCourses:
    return input_courses(checks=[checks], grid=at(*grid))


@pytest.fixture
def drift_as_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(input_checks, "DRIFT_FACTORS", np.ones(1))


@pytest.mark.usefixtures("drift_as_stated")
def test_the_course_is_that_of_dense_conditioning() -> None:
    # A random walk with a wide start, seen at five instants; mean, variance and lag-one covariance of the conditional
    # Gaussian written out in full (any textbook of multivariate statistics).
    read_at, value = column(0.0, 3.0, 7.0, 8.5, 20.0), column(10.0, 10.9, 10.2, 10.4, 9.1)
    grid = column(0.0, 1.0, 5.0, 8.5, 15.0, 24.0)
    checks = Checks(at_days=read_at, value=value, relative_sd=np.full(5, 0.03), drift=0.02)
    found = course(checks, *grid)
    days = np.unique(np.concatenate([read_at, grid]))
    middle = np.log(np.median(value))
    prior = 2.0**2 + 0.02**2 * np.minimum.outer(days, days)
    h = (days[None] == read_at[:, None]).astype(float)
    start = np.log(value[0]) - middle
    s = h @ prior @ h.T + 0.03**2 * np.eye(5)
    gain = prior @ h.T @ np.linalg.inv(s)
    mean = start + gain @ (np.log(value) - middle - start)
    covariance = prior - gain @ h @ prior
    np.testing.assert_allclose(found.places.imag, days)
    np.testing.assert_allclose(found.log_factor, mean, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.variance, np.diag(covariance), rtol=1e-7)
    kept = np.diag(covariance, 1) / np.diag(covariance)[:-1]
    np.testing.assert_allclose(np.exp(np.diff(found.persistence)), kept, rtol=1e-6)
    lag = covariance[days == 1.0][0, days == 8.5].item() / covariance[days == 1.0][0, days == 1.0].item()
    among = found.persistence_to_next(at(*grid))
    assert among[1] * among[2] == pytest.approx(lag, rel=1e-6)


def test_one_check_holds_and_grows_less_certain() -> None:
    checks = Checks(at_days=column(2.0), value=column(50.0), relative_sd=column(0.04), drift=0.03)
    found = course(checks, 2.0, 11.0)
    assert found.value_at(at(11.0)).item() == pytest.approx(50.0)
    assert found.variance_at(at(11.0)).item() == pytest.approx(0.04**2 + 9 * 0.03**2, rel=1e-3)


def test_the_course_follows_the_set_value_and_the_checks_say_by_which_factor() -> None:
    # Set to 40, then 60 on day 10; timed 5 % low under both: 38 before, 57 after.
    checks = Checks(
        at_days=column(1.0, 9.0, 12.0, 20.0), value=column(38.0, 38.0, 57.0, 57.0), relative_sd=np.full(4, 0.03),
        drift=0.005, set_at_days=column(0.0, 10.0), set_value=column(40.0, 60.0),
    )  # fmt: skip
    found = course(checks, 0.0, 20.0)
    np.testing.assert_allclose(found.value_at(at(5.0, 9.9, 10.1, 15.0)), [38.0, 38.0, 57.0, 57.0], rtol=0.005)


def test_a_cleaning_separates_what_was_timed_before_and_after() -> None:
    # A drip clogs from 50 to 35 in two weeks, is timed, cleaned and timed again at 50.
    checks = Checks(
        at_days=column(0.0, 14.0, 14.02), value=column(50.0, 35.0, 50.0), relative_sd=np.full(3, 0.03), drift=0.03,
        reset_days=column(14.0), reset_sd=0.5,
    )  # fmt: skip
    found = course(checks, 0.0, 7.0, 14.0, 14.02, 20.0)
    np.testing.assert_allclose(found.value_at(at(14.0, 14.02)), [35.5, 50.0], rtol=0.02)
    assert found.persistence_to_next(at(0.0, 7.0, 14.0, 14.02))[2] == pytest.approx(0.0, abs=0.02)
    assert found.value_at(at(7.0)).item() == pytest.approx(42.0, rel=0.03)


def test_a_set_value_nobody_checked_is_a_quarter_uncertain() -> None:
    checks = Checks(set_at_days=column(0.0), set_value=column(80.0))
    found = course(checks, 0.0, 5.0)
    assert found.value_at(at(5.0)).item() == pytest.approx(80.0)
    assert found.variance_at(at(5.0)).item() == pytest.approx(0.25**2)


def test_a_check_far_from_the_course_is_a_new_setting_nobody_recorded() -> None:
    checks = Checks(
        at_days=column(0, 7, 14, 21, 28), value=column(50, 51, 50, 80, 81), relative_sd=np.full(5, 0.03), drift=0.01
    )
    found = course(checks, 0.0, 28.0)
    np.testing.assert_allclose(found.value_at(at(14.0, 21.0)), [50.3, 80.4], rtol=0.01)
