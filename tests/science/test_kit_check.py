"""Is a reagent lot off by more than lots usually are, and was it the lot or the water?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from service.science.kit_check import MOVED, LotBias, Spreads, StandardRead, Step, lot_bias

SPREADS = Spreads(usual=0.02, off=0.1, standard=0.014, moved=0.5)
TRUE = [StandardRead(lot=1, off=0.0, sd=0.035)] * 4


def standards(*off: float, lot: int = 2) -> list[StandardRead]:
    return [StandardRead(lot=lot, off=each, sd=0.035) for each in off]


def bias(*off: float, step: float | None = None) -> LotBias:
    """Of lot 2, by its standards and the step in one system's water when it was opened; lot 1 read true."""
    steps = [] if step is None else [Step(old_lot=1, new_lot=2, size=step, sd=0.067)]
    return lot_bias(lot=2, standards=[*TRUE, *standards(*off)], steps=steps, spreads=SPREADS)


def test_by_hand_one_standard_and_one_step() -> None:
    """Alone, a standard gives off +- hypot(noise, standard): 0.10, sqrt(0.035^2 + 0.014^2) = 0.0377."""
    found = lot_bias(lot=2, standards=standards(0.10), steps=[], spreads=SPREADS)
    assert found.value == pytest.approx(0.10)
    assert found.sd == pytest.approx(np.hypot(0.035, 0.014))
    # a normal density of 0.10 with the sd of an off lot beside that, over one with the sd of a usual lot
    off, usual = 0.1**2 + 0.035**2 + 0.014**2, 0.02**2 + 0.035**2 + 0.014**2
    assert found.log_factor == pytest.approx(0.5 * np.log(usual / off) + 0.5 * 0.10**2 * (1 / usual - 1 / off))
    # alone, a step gives size +- hypot(its sd, what the old lot may be off): 0.09, sqrt(0.06^2 + 0.02^2)
    step = Step(old_lot=1, new_lot=2, size=0.09, sd=0.06)
    by_step = lot_bias(lot=2, standards=[], steps=[step], spreads=SPREADS)
    assert by_step.value == pytest.approx(0.09)
    assert by_step.sd == pytest.approx(np.hypot(0.06, 0.02))
    # together by inverse variance: nothing is shared between the two
    both = lot_bias(lot=2, standards=standards(0.10), steps=[step], spreads=SPREADS)
    weights = np.array([1 / (0.035**2 + 0.014**2), 1 / (0.06**2 + 0.02**2)])
    assert both.value == pytest.approx(float(weights @ [0.10, 0.09] / weights.sum()))
    assert both.sd == pytest.approx(float(weights.sum() ** -0.5))


def test_the_factor_is_a_ratio_of_the_densities_of_all_explanations() -> None:
    """Two standards and the steps of two waters: scipy's densities, each explanation written out."""
    read = np.array([0.07, 0.11, 0.12, 0.45])  # standards with lot 1 and lot 2, steps from 1 to 2
    design = np.array([[1, 1, 0], [1, 0, 1], [0, -1, 1], [0, -1, 1]], dtype=float)  # standard, lot 1, lot 2
    noise = np.array([0.035, 0.035, 0.067, 0.06]) ** 2

    def density(lot_sd: float, moved: int | None) -> float:
        own = noise.copy()
        if moved is not None:
            own[moved] += 0.5**2
        covariance = design @ np.diag(np.square([0.014, 0.02, lot_sd])) @ design.T + np.diag(own)
        return float(multivariate_normal.pdf(read, np.zeros(4), covariance)) * (1.0 if moved is None else MOVED)

    off, usual = (sum(density(sd, moved) for moved in (None, 2, 3)) for sd in (0.1, 0.02))
    steps = [Step(old_lot=1, new_lot=2, size=size, sd=sd) for size, sd in ((0.12, 0.067), (0.45, 0.06))]
    found = lot_bias(lot=2, standards=[*standards(0.07, lot=1), *standards(0.11)], steps=steps, spreads=SPREADS)
    assert found.log_factor == pytest.approx(np.log(off / usual), abs=1e-9)


def test_an_addition_at_a_new_lot_is_the_waters() -> None:
    """Half a meq/L up and standards that lean a little the same way: a lot is not off by that much."""
    for off in ((0.05,), (0.05, 0.05), (0.0,)):
        assert bias(*off, step=0.5).log_factor < bias(*off).log_factor + 0.5
        assert bias(*off, step=0.5).value == pytest.approx(bias(*off).value, abs=0.01)
    assert bias(0.10, step=0.10).log_factor > bias(0.10).log_factor + 0.3  # a step that says the same speaks for it


def test_what_the_water_did_alone_names_no_lot() -> None:
    assert max(bias(step=float(size)).log_factor for size in np.linspace(-1.0, 1.0, 81)) < np.log(20.0)
    steps = [Step(old_lot=1, new_lot=2, size=0.2, sd=0.067)] * 3  # of three systems
    assert lot_bias(lot=2, standards=TRUE, steps=steps, spreads=SPREADS).log_factor > np.log(20.0)


def test_a_standard_that_is_off_itself_is_seen_by_the_lot_before() -> None:
    wide = Spreads(usual=0.02, off=0.1, standard=0.05, moved=0.5)
    before, now = [StandardRead(lot=1, off=0.05, sd=0.02)] * 6, [StandardRead(lot=2, off=0.05, sd=0.02)]
    alone = lot_bias(lot=2, standards=now, steps=[], spreads=wide)
    beside = lot_bias(lot=2, standards=[*before, *now], steps=[], spreads=wide)
    assert abs(beside.value) < 0.3 * abs(alone.value)
    assert beside.log_factor < alone.log_factor


def test_nothing_read_says_nothing() -> None:
    assert np.isnan(lot_bias(lot=3, standards=[], steps=[], spreads=SPREADS).log_factor)
    assert np.isnan(lot_bias(lot=3, standards=TRUE, steps=[], spreads=SPREADS).log_factor)


def test_the_factor_is_as_often_wrong_as_it_says() -> None:
    """Of usual lots at most one in K is K times as probable as an off one (Ville): what a factor means."""
    rng = np.random.default_rng(20201)
    factors = []
    for _ in range(3000):
        standard, lots = 0.014 * rng.standard_normal(), 0.02 * rng.standard_normal(2)
        reads = [
            StandardRead(lot=lot, off=standard + lots[lot] + 0.035 * rng.standard_normal(), sd=0.035)
            for lot in (0, 0, 0, 0, 1, 1)
        ]
        step = Step(old_lot=0, new_lot=1, size=lots[1] - lots[0] + 0.075 * rng.standard_normal(), sd=0.075)
        factors.append(lot_bias(lot=1, standards=reads, steps=[step], spreads=SPREADS).log_factor)
    for times in (4.0, 6.5, 20.0):
        assert np.mean(np.array(factors) > np.log(times)) < 1.0 / times
    assert np.mean(np.exp(factors)) == pytest.approx(1.0, abs=0.25)  # the mean of a ratio of densities is one
