"""Where the estimate starts: by hand, on lines with something in the way."""

import numpy as np
import pytest

from service.science.demand_prior import DRIFT_SHARE, robust_start, settings_grid
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges
from service.science.timeline import lay_out

DAYS = np.arange(0.4, 60.0, 2.0)


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def start(value: np.ndarray, **more):
    history = SystemHistory(readings=Readings(at_days=DAYS, value=value, sd=np.full(len(DAYS), 0.05)), **more)
    return robust_start(timeline=lay_out(histories=[history], at_days=column(60.0)))


def test_what_was_added_is_added_to_the_slope() -> None:
    doses = Doses(start_days=column(0.0), end_days=column(60.0), amount=column(12.0), relative_sd=column(0.05))
    found = start(3.0 - 0.01 * DAYS, doses=doses)
    assert found.demand.item() == pytest.approx(0.21)
    assert found.demand_size.item() == pytest.approx(0.21)
    assert found.level.item() == pytest.approx(3.0 - 0.004)


def test_the_start_is_not_moved_by_one_gross_reading() -> None:
    value = 3.0 - 0.01 * DAYS
    value[0] += 1.0
    found = start(value)
    assert found.demand.item() == pytest.approx(0.01, abs=1e-9)
    assert found.level.item() == pytest.approx(3.0 - 0.004)


def test_water_changes_and_a_reactor_are_accounted_for() -> None:
    # By hand: a level that stands at 2.8 while a tenth is replaced by water of 3.8 every six days and a reactor brings
    # 0.02 x (9 - 2.8) a day: demand 0.124 from the reactor and 0.1 / 6 from the changes.
    changed = np.arange(3.0, 60.0, 6.0)
    changes = WaterChanges(
        at_days=changed,
        fraction=np.full(10, 0.1),
        fraction_sd=np.zeros(10),
        new_value=np.full(10, 3.8),
        new_value_sd=np.zeros(10),
    )
    feed = Feed(
        name="reactor",
        flow=Checks(at_days=column(0.0), value=column(0.02), relative_sd=column(0.03)),
        inflow=Checks(at_days=column(0.0), value=column(9.0), relative_sd=column(0.03)),
    )
    found = start(np.full(len(DAYS), 2.8), water_changes=changes, feeds=(feed,))
    assert found.demand_size.item() == pytest.approx(0.124 + 0.1 / 6, rel=0.05)


def test_the_settings_lie_around_four_hundredths_of_the_demand_and_the_stated_noise() -> None:
    grid = settings_grid(start=start(3.0 - 0.02 * DAYS))
    best = grid.log_prior[0].argmax()
    assert grid.drift[0, best] == pytest.approx(DRIFT_SHARE * 0.02)
    assert grid.noise_factor[0, best] == pytest.approx(1.0)
    coarse = settings_grid(start=start(3.0 - 0.02 * DAYS), coarse=True)
    assert set(coarse.drift[0]) <= set(grid.drift[0])
    assert set(coarse.noise_factor[0]) <= set(grid.noise_factor[0])
