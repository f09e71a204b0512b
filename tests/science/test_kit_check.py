"""Is a reagent lot off by more than lots usually are?"""

import numpy as np
import pytest

from service.science.kit_check import StandardRead, Step, lot_bias

USUAL = {"usual_sd": 0.02, "standard_sd": 0.014}


def test_by_hand_one_standard_and_one_step() -> None:
    """Alone, a standard gives off +- hypot(noise, standard): 0.10, sqrt(0.035^2 + 0.014^2) = 0.0377."""
    found = lot_bias(lot=2, standards=[StandardRead(lot=2, off=0.10, sd=0.035)], steps=[], **USUAL)
    assert found.value == pytest.approx(0.10)
    assert found.sd == pytest.approx(np.hypot(0.035, 0.014))
    assert found.score == pytest.approx(0.10 / np.sqrt(0.035**2 + 0.014**2 + 0.02**2))
    # alone, a step gives size +- hypot(its sd, what the old lot may be off): 0.09, sqrt(0.06^2 + 0.02^2)
    step = Step(old_lot=1, new_lot=2, size=0.09, sd=0.06)
    by_step = lot_bias(lot=2, standards=[], steps=[step], **USUAL)
    assert by_step.value == pytest.approx(0.09)
    assert by_step.sd == pytest.approx(np.hypot(0.06, 0.02))
    # together by inverse variance: nothing is shared between the two
    both = lot_bias(lot=2, standards=[StandardRead(lot=2, off=0.10, sd=0.035)], steps=[step], **USUAL)
    weights = np.array([1 / (0.035**2 + 0.014**2), 1 / (0.06**2 + 0.02**2)])
    assert both.value == pytest.approx(float(weights @ [0.10, 0.09] / weights.sum()))
    assert both.sd == pytest.approx(float(weights.sum() ** -0.5))


def test_a_standard_that_is_off_itself_is_seen_by_the_lot_before() -> None:
    before = [StandardRead(lot=1, off=0.05, sd=0.02)] * 6
    now = [StandardRead(lot=2, off=0.05, sd=0.02)]
    alone = lot_bias(lot=2, standards=now, steps=[], usual_sd=0.02, standard_sd=0.05)
    beside = lot_bias(lot=2, standards=[*before, *now], steps=[], usual_sd=0.02, standard_sd=0.05)
    assert abs(beside.value) < 0.3 * abs(alone.value)


def test_nothing_read_says_nothing() -> None:
    assert np.isnan(lot_bias(lot=3, standards=[], steps=[], **USUAL).score)


def test_scores_of_usual_lots_are_standard_normal() -> None:
    rng = np.random.default_rng(20201)
    scores = []
    for _ in range(3000):
        standard, lots = 0.014 * rng.standard_normal(), 0.02 * rng.standard_normal(2)
        reads = [
            StandardRead(lot=lot, off=standard + lots[lot] + 0.035 * rng.standard_normal(), sd=0.035)
            for lot in (0, 0, 0, 0, 1, 1)
        ]
        step = Step(old_lot=0, new_lot=1, size=lots[1] - lots[0] + 0.075 * rng.standard_normal(), sd=0.075)
        scores.append(lot_bias(lot=1, standards=reads, steps=[step], **USUAL).score)
    assert np.std(scores) == pytest.approx(1.0, abs=0.04)
    assert np.mean(np.abs(scores) > 1.96) == pytest.approx(0.05, abs=0.012)
