"""Net calcification by the alkalinity anomaly."""

import numpy as np
import pytest

from service.science.net_calcification import residence_hours, residence_of_mean_flow_hours


def test_residence_time_averages_one_over_the_flow() -> None:
    """By hand: 12 L at 4 and 12 L/h. Mean of 1/flow = (1/4 + 1/12)/2 = 1/6, so 2 h; 12 L / 8 L/h = 1.5 h."""
    flows = np.array([4.0, 12.0])
    assert residence_hours(volume_l=12.0, flow_l_h=flows) == pytest.approx(2.0, rel=1e-12)
    assert residence_of_mean_flow_hours(volume_l=12.0, flow_l_h=flows) == pytest.approx(1.5, rel=1e-12)
    steady = np.full((3, 5), 6.0)
    assert residence_hours(volume_l=12.0, flow_l_h=steady) == pytest.approx(np.full(3, 2.0), rel=1e-12)
