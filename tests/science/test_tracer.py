"""Net water volume from a tracer: balances made by hand, and how often the interval holds the truth."""

import numpy as np
import pytest

from service.science.tracer import volume_by_salt, volume_by_tracer


def test_a_balance_of_salt_made_by_hand_is_undone() -> None:
    """1000 kg of water at S 34 (34.1603 g/kg) and 5 kg of salt make 1005 kg; density 1022.59 kg/m3 (EOS-80)."""
    per = 35.16504 / 35
    mixed = (1000e3 * 34 * per / 1e3 + 5e3) / 1005e3 * 1e3 / per
    found = volume_by_salt(added_g=5000.0, before_salinity=34.0, after_salinity=mixed, temperature_c=25.0)
    assert found.value == pytest.approx(1000e3 / 1022.59, rel=1e-5)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    random = np.random.default_rng(11)
    truth, added = 800.0, 4000.0
    before = 10.0 + 0.5 * random.standard_normal(20_000)
    after = 10.0 + added / truth + 0.5 * random.standard_normal(20_000)
    found = volume_by_tracer(added_mg=added, before_mg_l=before, after_mg_l=after, before_sd=0.5, after_sd=0.5)
    assert found.is_bounded.mean() > 0.99
    held = (found.low <= truth) & (truth <= found.high)
    assert held[found.is_bounded].mean() == pytest.approx(0.95, abs=0.006)


def test_a_rise_that_is_not_sure_has_no_upper_end() -> None:
    found = volume_by_tracer(added_mg=500.0, before_mg_l=10.0, after_mg_l=10.5, before_sd=0.5, after_sd=0.5)
    assert not found.is_bounded
