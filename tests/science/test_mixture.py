"""Intervals of normal mixtures against tabulated values, the definition, and scipy."""

import numpy as np
import pytest

from service.science.mixture import NormalMixture


def mixture(*rows: tuple[float, float, float]) -> NormalMixture:
    weight, mean, variance = np.array(rows).T
    return NormalMixture(weight, mean, variance)


@pytest.mark.parametrize(
    ("probability", "score"),
    [(0.5, 0.0), (0.025, -1.959964), (0.975, 1.959964), (0.995, 2.575829), (0.05, -1.644854), (0.841345, 1.0)],
)
def test_one_component_gives_the_tabulated_normal_quantiles(probability: float, score: float) -> None:
    # Any table of the normal distribution.
    found = mixture((1.0, 0.3, 0.04)).quantile(probability)
    assert found.item() == pytest.approx(0.3 + 0.2 * score, abs=1e-6)


def test_two_far_components_put_the_interval_at_their_outer_tails() -> None:
    # By hand: halves at 0 and 10 with sd 1, so the 2.5 % point is the 5 % point of the lower one.
    low, high = mixture((0.5, 0.0, 1.0), (0.5, 10.0, 1.0)).interval()
    assert low.item() == pytest.approx(-1.644854, abs=1e-5)
    assert high.item() == pytest.approx(11.644854, abs=1e-5)


def test_mean_and_sd_are_those_of_the_mixture() -> None:
    found = mixture((0.25, 1.0, 0.5), (0.75, 3.0, 1.5))
    assert found.mean().item() == pytest.approx(2.5)
    assert found.sd().item() == pytest.approx(np.sqrt(0.25 * 0.5 + 0.75 * 1.5 + 0.25 * 0.75 * 2.0**2))


def test_many_mixtures_at_once_are_each_of_them() -> None:
    rng = np.random.default_rng(20_002)
    weight = rng.dirichlet(np.ones(7), size=(3, 4))
    mean, variance = rng.normal(size=(3, 4, 7)), rng.uniform(0.01, 2.0, size=(3, 4, 7))
    low, high = NormalMixture(weight, mean, variance).interval()
    alone = NormalMixture(weight[1, 2], mean[1, 2], variance[1, 2]).interval()
    assert (low[1, 2], high[1, 2]) == pytest.approx(tuple(x.item() for x in alone), abs=1e-6)


@pytest.mark.oracles
def test_mixture_quantiles_are_scipys() -> None:
    from scipy.optimize import brentq
    from scipy.stats import norm

    rng = np.random.default_rng(20_003)
    for _ in range(50):
        weight, mean, sd = rng.dirichlet(np.ones(5)), rng.normal(size=5), rng.uniform(0.05, 1.0, 5)
        for probability in (0.025, 0.5, 0.975):
            theirs = brentq(lambda x: weight @ norm.cdf((x - mean) / sd) - probability, -20, 20)  # noqa: B023
            ours = NormalMixture(weight, mean, sd**2).quantile(probability)
            assert ours.item() == pytest.approx(theirs, abs=2e-5)
