"""The gate: what it does with one wrong reading, two, and a level that has jumped."""

import numpy as np
import pytest

from service.science.robust import NOISIER_BEYOND_SD, SET_ASIDE_BEYOND_SD, Gate

ONE = np.ones((1, 1))
YES = np.full((1, 1), True)


def judge(gate: Gate, node: int, residual: float, predicted: float = 0.6**2, reading: float = 0.8**2):
    """The verdict with a total sd of 1."""
    return gate.judge(node, residual * ONE, predicted * ONE, reading * ONE, YES)


def test_a_reading_near_what_was_expected_counts_in_full() -> None:
    verdict = judge(Gate(1, (1, 1)), 0, 2.4)
    assert verdict.variance.item() == pytest.approx(0.64)
    assert verdict.is_used.item()
    assert verdict.loss.item() == pytest.approx(0.5 * 2.4**2)


@pytest.mark.parametrize("score", [2.6, 3.0, 3.9])
def test_beyond_two_and_a_half_sd_the_pull_grows_no_further(score: float) -> None:
    # Huber (1964): the influence of a residual is constant beyond the bound, so gain x residual is what it is at 2.5.
    verdict = judge(Gate(1, (1, 1)), 0, score)
    pull = 0.36 / (0.36 + verdict.variance.item()) * score
    assert pull == pytest.approx(0.36 * NOISIER_BEYOND_SD)
    assert verdict.is_used.item()


def test_beyond_four_sd_a_reading_is_set_aside() -> None:
    gate = Gate(2, (1, 1))
    assert not judge(gate, 0, 4.1).is_used.item()
    assert gate.is_aside[0].item()
    assert gate.score[0].item() == pytest.approx(4.1)
    assert judge(gate, 1, 0.3).is_used.item()
    assert gate.is_aside[0].item(), "a normal reading after it confirms that it was wrong"


def test_two_in_a_row_that_agree_are_a_jump_and_neither_was_wrong() -> None:
    gate = Gate(2, (1, 1))
    judge(gate, 0, 6.0)
    verdict = judge(gate, 1, 5.6)
    assert verdict.is_used.item()
    assert verdict.jump_variance is not None
    assert verdict.jump_variance.item() > 5.6**2
    assert not gate.is_aside.any()
    assert gate.jump[0].item() == pytest.approx(5.8)
    assert gate.jump_variance[0].item() == pytest.approx(0.36 + 0.64 / 2)


@pytest.mark.parametrize(("residuals", "is_noted"), [((0.3, 3.9), False), ((4.1, 0.3), True), ((6.0, 5.6), True)])
def test_a_lane_with_a_note_says_so(residuals: tuple[float, float], is_noted: bool) -> None:
    gate = Gate(2, (1, 1))
    for node, residual in enumerate(residuals):
        judge(gate, node, residual)
    assert gate.has_notes.item() is is_noted
    assert bool(gate.is_aside.any() or gate.jump_variance.any()) is is_noted


@pytest.mark.parametrize("second", [-5.6, 12.0])
def test_two_in_a_row_that_disagree_are_two_mistakes(second: float) -> None:
    gate = Gate(2, (1, 1))
    judge(gate, 0, 6.0)
    assert not judge(gate, 1, second).is_used.item()
    assert gate.is_aside.all()
    assert not gate.jump.any()


def test_a_lane_without_a_reading_keeps_waiting() -> None:
    gate = Gate(3, (2, 1))
    total = np.ones((2, 1))
    gate.judge(0, 6.0 * total, 0.36 * total, 0.64 * total, np.array([[True], [True]]))
    gate.judge(1, 0.0 * total, 0.36 * total, 0.64 * total, np.array([[False], [True]]))
    gate.judge(2, 6.0 * total, 0.36 * total, 0.64 * total, np.array([[True], [True]]))
    assert gate.jump[0].ravel().tolist() == [6.0, 0.0]
    assert gate.is_aside[:, :, 0].T.tolist() == [[False, False, False], [True, False, True]]


def test_the_price_of_a_gross_reading_is_bounded() -> None:
    far, farther = (judge(Gate(1, (1, 1)), 0, score).loss.item() for score in (5.0, 50.0))
    assert far == pytest.approx(farther)
    assert far == pytest.approx(2.5 * (SET_ASIDE_BEYOND_SD - 1.25))
