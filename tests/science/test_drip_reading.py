"""Whether the water followed a drip's reading: by hand, and on drawn records of both kinds."""

import numpy as np
import pytest

from service.science.chamber_limits import limits
from service.science.chamber_model import Running, RunningWater
from service.science.drip_reading import LEAST_POWER, reading_alone
from service.science.level_change import LevelChange, level_change


def change(ratio: float, sd: float) -> LevelChange:
    """A change of level known to a relative sd."""
    low, high = ratio * np.exp(-1.959964 * sd), ratio * np.exp(1.959964 * sd)
    return LevelChange(ratio, low, high, score=9.0, after_days=0.0, at_days=1.0, before=8, after=2)


@pytest.mark.parametrize("order", [1.0, 2.0])
def test_the_drips_share_is_what_the_power_rests_on(order: float) -> None:
    """Tank 8 dKH, pH 8.1 (S 35, 25 C), every effluent of 20 to 45 dKH below its ceiling: -0.1 to 0.3."""
    dkh, ph = np.meshgrid(np.arange(20.0, 45.1), np.arange(6.2, 7.01, 0.05))
    running = Running(
        drip_l_d=80.0, inflow_alkalinity_mol_kg=2.788e-3, inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=0.34852e-3 * dkh, effluent_ph_nbs=ph,
    )  # fmt: skip
    below = running.effluent_alkalinity_mol_kg <= RunningWater.of(running).effluent.ceiling_mol_kg(ph)
    share = limits(running=running, order=order).drip[below]
    assert share.size > 100
    assert -0.105 < share.min() < share.max() < 1.0 - LEAST_POWER


def test_a_reading_alone_by_hand() -> None:
    """A quarter less read: a true one lets a litre gain 0.75^-0.7 = 1.223; it gained 1.02 +- 0.04.

    (ln 1.223 - ln 1.02)/hypot(0.04, 0.7 x 0.03) = (0.2014 - 0.0198)/0.0452 = 4.02.
    """
    found = reading_alone(flow=change(0.75, 0.03), gained=change(1.02, 0.04))
    assert found.expected_ratio == pytest.approx(1.2231, abs=1e-4)
    assert found.score == pytest.approx(4.02, abs=0.01)
    assert found.unmoved
    followed = reading_alone(flow=change(0.75, 0.03), gained=change(1.30, 0.04))
    assert followed.score < 0
    assert not followed.unmoved
    faster = reading_alone(flow=change(1.35, 0.03), gained=change(1.0, 0.04))
    assert faster.score == pytest.approx(0.7 * np.log(1.35) / np.hypot(0.04, 0.021), abs=0.01)
    assert reading_alone(flow=change(1.35, 0.03), gained=change(1.35**-0.8, 0.04)).score < 0


def test_true_changes_and_readings_alone_are_told_apart_on_drawn_records() -> None:
    generator = np.random.default_rng(11)
    days = np.arange(0.0, 84.0, 7.0)
    late = days >= 60
    named = {True: 0, False: 0}
    for _ in range(200):
        for real in named:
            flow = np.where(late, 0.75, 1.0) * np.exp(0.03 * generator.standard_normal(12))
            gained = np.where(late & real, 0.75**-0.85, 1.0) * np.exp(0.04 * generator.standard_normal(12))
            sd = np.full(12, 0.03)
            read = level_change(at_days=days, value=flow, relative_sd=sd)
            assert read is not None
            did = level_change(at_days=days, value=gained, relative_sd=sd, begun_days=read.at_days)
            assert did is not None
            assert (did.after_days, did.at_days) == (read.after_days, read.at_days)
            found = reading_alone(flow=read, gained=did)
            named[real] += found.unmoved and found.score > 2.7
    assert named[True] <= 4
    assert named[False] >= 150


def test_an_instant_before_the_record_leaves_nothing_to_compare() -> None:
    days, level = np.arange(8.0), np.ones(8)
    assert level_change(at_days=days, value=level, relative_sd=0.03 * level, begun_days=-1.0) is None
    assert level_change(at_days=days, value=level, relative_sd=0.03 * level, begun_days=7.0) is None
