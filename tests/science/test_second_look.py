"""Mistakes and jumps seen from both sides: their scores by definition, and which of the two is believed."""

from dataclasses import replace

import numpy as np
import pytest

from service.science.demand_prior import Grid, Start, robust_start
from service.science.filtering import ALKALINITY, run_filter
from service.science.history import Doses, Readings, SystemHistory
from service.science.second_look import SecondLook, _scores, second_look
from service.science.timeline import Timeline, lay_out

DAYS = np.arange(0.4, 60.0, 2.0)
GRID = Grid(np.full((1, 1), 0.01), np.ones((1, 1)), np.zeros((1, 1)))


def record(bump: np.ndarray, *, seed: int = 20_010) -> tuple[Timeline, Start]:
    """A pump that meets the demand, readings with the noise stated, and something added to them."""
    noise = 0.04 * np.random.default_rng(seed).standard_normal(len(DAYS))
    history = SystemHistory(
        readings=Readings(at_days=DAYS, value=2.8 + noise + bump, sd=np.full(len(DAYS), 0.05)),
        doses=Doses(
            start_days=np.zeros(1), end_days=np.full(1, 60.0), amount=np.full(1, 18.0), relative_sd=np.full(1, 0.05)
        ),
    )
    timeline = lay_out(histories=[history], at_days=np.full(1, 59.0))
    return timeline, robust_start(timeline=timeline)


def look(bump: np.ndarray, **more: int) -> SecondLook:
    timeline, start = record(bump, **more)
    return second_look(timeline=timeline, start=start, grid=GRID, scale=ALKALINITY)


def at(*days: int, size: float) -> np.ndarray:
    bump = np.zeros(len(DAYS))
    bump[list(days)] = size
    return bump


def log_likelihood(timeline: Timeline, start: Start) -> float:
    forward = run_filter(timeline=timeline, start=start, grid=GRID, rule=None, scale=ALKALINITY, keep=False)
    return forward.log_likelihood.item()


@pytest.mark.parametrize("node", [5, 17, 28])
def test_scores_are_the_gain_in_likelihood_of_one_more_unknown(node: int) -> None:
    # Generalised least squares: an unknown shift of one reading (a mistake) or of all from one on (a jump) raises the
    # log-likelihood by half its squared score; the log-likelihood is a parabola in the size of the shift, so three
    # points give its top.
    timeline, start = record(at(17, size=0.1))
    mistake, jump, size, size_sd = _scores(timeline, start, GRID, ALKALINITY)
    nodes = np.arange(len(timeline.reading))[:, None]
    for affected, score in ((nodes == node, mistake), (nodes >= node, jump)):
        heights = []
        for shift in (-0.5, 0.0, 0.5):
            reading = timeline.reading - shift * affected
            heights.append(log_likelihood(replace(timeline, reading=reading), start))
        curve = np.polyfit([-0.5, 0.0, 0.5], heights, 2)
        top = -curve[1] / (2 * curve[0])
        gain = np.polyval(curve, top) - heights[1]
        assert 0.5 * score[node, 0] ** 2 == pytest.approx(gain, rel=1e-6)
        assert np.sign(score[node, 0]) == np.sign(top)
    assert size[node, 0] == pytest.approx(top, rel=1e-6)
    assert size_sd[node, 0] == pytest.approx(1 / np.sqrt(-2 * curve[0]), rel=1e-6)


def test_a_record_without_either_is_left_alone() -> None:
    found = look(np.zeros(len(DAYS)))
    assert not found.mistake.any()
    assert not found.jump.any()
    assert found.timeline.has_reading.sum() == len(DAYS)


def test_one_reading_off_is_a_mistake() -> None:
    found = look(at(12, size=-0.5))
    assert np.flatnonzero(found.mistake[:, 0]).tolist() == [12]
    assert not found.timeline.has_reading[12, 0]
    assert not found.jump.any()


def test_two_readings_off_in_a_row_are_two_mistakes() -> None:
    found = look(at(12, 13, size=0.6))
    assert np.flatnonzero(found.mistake[:, 0]).tolist() == [12, 13]
    assert not found.jump.any()


def test_all_readings_off_from_one_on_are_a_jump() -> None:
    found = look(at(*range(12, len(DAYS)), size=0.6))
    assert np.flatnonzero(found.jump[:, 0]).tolist() == [12]
    assert not found.mistake.any()
    assert found.size[12, 0] == pytest.approx(0.6, abs=3 * found.size_sd[12, 0])
    assert found.timeline.jump_variance[12, 0] > 100


def test_the_last_reading_is_a_mistake_until_a_second_confirms_it() -> None:
    last = len(DAYS) - 1
    assert np.flatnonzero(look(at(last, size=0.6)).mistake[:, 0]).tolist() == [last]
    confirmed = look(at(last - 1, last, size=0.6))
    assert np.flatnonzero(confirmed.jump[:, 0]).tolist() == [last - 1]
    assert not confirmed.mistake.any()


def test_a_jump_and_a_mistake_are_told_apart_in_one_record() -> None:
    found = look(at(*range(18, len(DAYS)), size=0.6) + at(7, size=-0.7))
    assert np.flatnonzero(found.jump[:, 0]).tolist() == [18]
    assert np.flatnonzero(found.mistake[:, 0]).tolist() == [7]
