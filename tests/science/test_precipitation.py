"""Did calcium carbonate fall out, or is it a kit, or dilution?"""

from __future__ import annotations

import numpy as np
import pytest

from service.science.answer import LevelShift
from service.science.history import Readings, SystemHistory
from service.science.precipitation import Fall, fall_between, precipitated

DOWN = LevelShift(29.0, 31.0, -1.1, -1.2, -1.0)


def test_a_fall_is_told_apart_from_a_slope() -> None:
    """420 mg/L that rises by 0.3 a day and falls by 22 at once, read every third day to 3 mg/L."""
    days = np.arange(0.0, 60.0, 3.0)
    value = 420.0 + 0.3 * days - 22.0 * (days > 30.0) + 3.0 * np.random.default_rng(2).standard_normal(len(days))
    record = SystemHistory(readings=Readings(at_days=days, value=value, sd=np.full(len(days), 3.0)))
    found = fall_between(history=record, after_days=29.0, at_days=31.0)
    assert found is not None
    assert found.size == pytest.approx(22.0, abs=6.0)
    assert 1.5 < found.sd < 5.0
    nothing = fall_between(history=record, after_days=15.0, at_days=17.0)
    assert nothing is not None
    assert abs(nothing.size) < 2.5 * nothing.sd
    assert fall_between(history=record, after_days=56.0, at_days=58.0) is None  # nothing read since


def test_both_fall_together_at_twenty_milligrams_a_meq() -> None:
    found = precipitated(alkalinity=DOWN, calcium=Fall(22.0, 4.0, 8, 8))
    assert found is not None
    assert found.ratio[0] == pytest.approx(20.0)
    assert found.ratio[1] < 20.04 < found.ratio[2]
    assert found.alkalinity == (1.1, 1.0, 1.2)


@pytest.mark.parametrize(
    "calcium",
    [
        Fall(1.0, 4.0, 8, 8),  # a kit: alkalinity alone
        Fall(8.0, 4.0, 8, 8),  # too little for a ratio of 20
        Fall(20.0, 9.0, 8, 8),  # the ratio fits, but the fall is 2.2 of its sd: not significant
        Fall(162.0, 8.0, 8, 8),  # dilution: 147 mg a meq
        Fall(50.0, 4.0, 8, 8),  # calcium that falls for reasons of its own
        Fall(-22.0, 4.0, 8, 8),
    ],
)
def test_a_kit_and_dilution_are_not_precipitation(calcium: Fall) -> None:
    assert precipitated(alkalinity=DOWN, calcium=calcium) is None


def test_a_rise_is_not_precipitation() -> None:
    assert precipitated(alkalinity=LevelShift(29.0, 31.0, 1.1, 1.0, 1.2), calcium=Fall(22.0, 4.0, 8, 8)) is None
