"""Records laid out as steps: pieces composed exactly, nodes in order, inputs where they belong."""

import numpy as np
import pytest

from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges
from service.science.nodes import Samples
from service.science.timeline import Timeline, lay_out
from service.science.transition import transition


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def readings(*days: float) -> Readings:
    return Readings(at_days=column(*days), value=np.full(len(days), 2.8), sd=np.full(len(days), 0.05))


def steady(value: float, **more: float) -> Checks:
    return Checks(at_days=column(0.0), value=column(value), relative_sd=column(0.0), **more)


def laid(history: SystemHistory, at: float = 0.0) -> Timeline:
    return lay_out(histories=[history], at_days=column(at))


def test_pieces_of_a_step_compose_exactly() -> None:
    # A drip of 0.05 a day that runs from day 1.3 to day 2.1 only: three pieces, put together by hand as F3 F2 F1 and
    # F Q F' + Q.
    feed = Feed(name="reactor", flow=steady(0.05), inflow=steady(9.0), from_days=1.3, to_days=2.1)
    found = laid(SystemHistory(readings=readings(0.0, 3.0), feeds=(feed,)))
    whole, covariance, push = np.eye(2), np.zeros((2, 2)), np.zeros(2)
    for k, dt in ((0.0, 1.3), (0.05, 0.8), (0.0, 0.9)):
        step = transition(exchange_per_day=np.asarray(k), dt_days=np.asarray(dt))
        f = np.array([[step.decay, -step.response_days], [0.0, 1.0]])
        q = np.array([[step.demand_11_days3, step.demand_12_days2], [step.demand_12_days2, dt]])
        whole, covariance = f @ whole, f @ covariance @ f.T + q
        push = f @ push + np.array([k * 9.0 * step.response_days, 0.0])
    np.testing.assert_allclose([found.decay[1, 0], -found.response[1, 0]], whole[0], rtol=1e-12)
    ours = [found.demand_11[1, 0], found.demand_12[1, 0], found.demand_22[1, 0]]
    np.testing.assert_allclose(ours, [covariance[0, 0], covariance[0, 1], covariance[1, 1]], rtol=1e-11)
    assert found.push[1, 0] == pytest.approx(push[0], rel=1e-12)


def test_cutting_a_step_for_nothing_changes_nothing() -> None:
    feed = Feed(name="reactor", flow=steady(0.3), inflow=steady(9.0))
    idle = Doses(
        start_days=column(0.7, 1.1), end_days=column(1.9, 2.6), amount=column(0.0, 0.0), relative_sd=column(0, 0)
    )
    plain = laid(SystemHistory(readings=readings(0.0, 3.0), feeds=(feed,)))
    cut = laid(SystemHistory(readings=readings(0.0, 3.0), feeds=(feed,), doses=idle))
    for name in ("decay", "response", "push", "lasting_push", "demand_11", "demand_12", "demand_22", "level_11"):
        np.testing.assert_allclose(getattr(cut, name), getattr(plain, name), rtol=1e-12, err_msg=name)


def test_doses_arrive_in_the_steps_they_overlap() -> None:
    # 0.6 over days 1 to 4 and 0.5 at once on day 5; readings on days 0, 2, 6: 0.2, then 0.4 + 0.5.
    doses = Doses(
        start_days=column(1.0, 5.0), end_days=column(4.0, 5.0), amount=column(0.6, 0.5), relative_sd=column(0.05, 0.1)
    )
    found = laid(SystemHistory(readings=readings(0.0, 2.0, 6.0), doses=doses, volume_relative_sd=0.0))
    np.testing.assert_allclose(found.push[:, 0], [0.0, 0.2, 0.9], atol=1e-12)
    np.testing.assert_allclose(found.lasting_push[:, 0], [0.0, 0.2 * 0.05, 0.4 * 0.05 + 0.5 * 0.1], atol=1e-12)


def test_an_error_of_the_volume_acts_on_everything_that_is_brought() -> None:
    doses = Doses(start_days=column(0.0), end_days=column(10.0), amount=column(3.0), relative_sd=column(0.0))
    found = laid(SystemHistory(readings=readings(0.0, 10.0), doses=doses, volume_relative_sd=0.05))
    assert found.lasting_push[1, 0] == pytest.approx(3.0 * 0.05)


def test_the_wandering_error_of_a_drip_is_its_supply_times_its_relative_error() -> None:
    # First form: sd(d) = k (A_in - A) sd_Q and k A_in sd_A, here 0.05 x 6.2 x 0.1 and 0.05 x 9 x 0.03.
    flow = Checks(at_days=column(0.0), value=column(0.05), relative_sd=column(0.1))
    inflow = Checks(at_days=column(0.0), value=column(9.0), relative_sd=column(0.03))
    feed = Feed(name="reactor", flow=flow, inflow=inflow)
    found = laid(SystemHistory(readings=readings(0.0, 2.0), feeds=(feed,)))
    assert found.wander_start[0] == pytest.approx((0.05 * 6.2 * 0.1) ** 2 + (0.05 * 9.0 * 0.03) ** 2, rel=5e-3)
    np.testing.assert_allclose(found.wander_keep[:, 0], 1.0)


def test_a_reading_and_a_water_change_at_one_instant_keep_their_order() -> None:
    change = WaterChanges(
        at_days=column(2.0),
        fraction=column(0.1),
        fraction_sd=column(0.0),
        new_value=column(3.4),
        new_value_sd=column(0.1),
    )
    found = laid(SystemHistory(readings=readings(0.0, 2.0, 3.0), water_changes=change))
    assert found.at_days[:, 0].tolist() == [0.0, 2.0, 2.0, 3.0]
    assert found.has_reading[:, 0].tolist() == [True, True, False, True]
    assert found.fraction[:, 0].tolist() == [0.0, 0.0, 0.1, 0.0]


def test_water_changes_before_the_first_reading_or_after_the_instant_do_not_count() -> None:
    change = WaterChanges(
        at_days=column(-1.0, 9.0), fraction=column(0.1, 0.2), fraction_sd=column(0, 0), new_value=column(3, 3),
        new_value_sd=column(0, 0),
    )  # fmt: skip
    found = laid(SystemHistory(readings=readings(0.0, 2.0), water_changes=change), at=5.0)
    assert found.at_days[:, 0].tolist() == [0.0, 2.0, 5.0]
    assert not found.fraction.any()


def test_replicates_are_averaged_and_late_entries_sorted() -> None:
    history = SystemHistory(
        readings=Readings(
            at_days=column(4.0, 1.0, 1.0, 2.0), value=column(2.7, 2.8, 3.0, 2.6), sd=column(0.05, 0.05, 0.05, 0.1),
            replicate_group=np.array([-1, 7, 7, -1]),
        )
    )  # fmt: skip
    tests = Samples.of([history])
    assert tests.at_days.tolist() == [1.0, 2.0, 4.0]
    np.testing.assert_allclose(tests.value, [2.9, 2.6, 2.7])
    np.testing.assert_allclose(tests.variance, [0.05**2 / 2, 0.1**2, 0.05**2])
    assert tests.source.tolist() == [1, 3, 0]


@pytest.mark.parametrize(
    ("broken", "named"),
    [
        (
            lambda: SystemHistory(readings=Readings(at_days=column(0.0), value=column(2.8), sd=column(0.0))),
            "readings.sd",
        ),
        (
            lambda: SystemHistory(readings=Readings(at_days=column(0.0), value=column(np.nan), sd=column(0.1))),
            "readings.value",
        ),
        (
            lambda: SystemHistory(readings=Readings(at_days=column(0.0, 1.0), value=column(2.8), sd=column(0.1))),
            "readings.value",
        ),
        (
            lambda: SystemHistory(
                readings=readings(0.0),
                doses=Doses(start_days=column(2.0), end_days=column(1.0), amount=column(1.0), relative_sd=column(0.0)),
            ),
            "doses.end_days",
        ),
        (lambda: SystemHistory(readings=readings(0.0), volume_relative_sd=1.5), "volume_relative_sd"),
    ],
)
def test_a_history_that_cannot_be_is_refused_by_name(broken, named: str) -> None:
    with pytest.raises(ValueError, match=named):
        broken()
