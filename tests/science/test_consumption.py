"""The consumption estimate as a whole: what it finds, what it refuses, what it names."""

from dataclasses import replace

import numpy as np
import pytest

from service.science.consumption import estimate_consumption
from service.science.filtering import ALKALINITY, Scale
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory, WaterChanges

DAYS = np.arange(0.4, 60.0, 2.0)


def column(*values: float) -> np.ndarray:
    return np.array(values, dtype=np.float64)


def dosed(demand: float, supply: float, *, noise: float = 0.0, seed: int = 20_004, sd: float = 0.05) -> SystemHistory:
    """A system whose demand and pump are constant: readings lie on a straight line, with noise if asked."""
    value = 2.8 + (supply - demand) * DAYS + noise * np.random.default_rng(seed).standard_normal(len(DAYS))
    return SystemHistory(
        readings=Readings(at_days=DAYS, value=value, sd=np.full(len(DAYS), sd)),
        doses=Doses(
            start_days=column(0.0), end_days=column(90.0), amount=column(90.0 * supply), relative_sd=column(0.05)
        ),
    )


def one(history: SystemHistory, at: float = 59.0, **more):
    (found,) = estimate_consumption(histories=[history], at_days=[at], **more)
    return found


def with_values(history: SystemHistory, value: np.ndarray) -> SystemHistory:
    return replace(history, readings=replace(history.readings, value=value))


@pytest.mark.parametrize("demand", [0.3, 0.02, -0.15])
def test_a_constant_demand_is_found(demand: float) -> None:
    # By hand: readings on a line of slope supply - demand. Negative demand is possible (media in the tank dissolve).
    found = one(dosed(demand, 0.28))
    assert found.best == pytest.approx(demand, abs=0.003)
    assert found.best_low < demand < found.best_high


def test_uncertain_inputs_widen_the_interval_by_their_share() -> None:
    # First form: a constant relative error s of the supply U adds (s U)^2 to the variance of the demand.
    sure, unsure = dosed(0.3, 0.28, noise=0.05), dosed(0.3, 0.28, noise=0.05)
    sure = replace(sure, volume_relative_sd=0.0, doses=replace(sure.doses, relative_sd=column(0.0)))
    unsure = replace(unsure, volume_relative_sd=0.05, doses=replace(unsure.doses, relative_sd=column(0.12)))
    half = [0.5 * (found.best_high - found.best_low) / 1.96 for found in (one(sure), one(unsure))]
    assert half[1] ** 2 - half[0] ** 2 == pytest.approx(0.28**2 * (0.05**2 + 0.12**2), rel=0.1)


def test_a_gross_mistake_is_set_aside() -> None:
    history = dosed(0.3, 0.28, noise=0.03)
    value = history.readings.value.copy()
    value[17] += 0.8
    order = np.random.default_rng(20_005).permutation(len(DAYS))
    shuffled = replace(history, readings=Readings(at_days=DAYS[order], value=value[order], sd=np.full(len(DAYS), 0.05)))
    found = one(shuffled)
    assert [each.index for each in found.set_aside] == [int(np.flatnonzero(order == 17)[0])]
    assert found.set_aside[0].score > 4
    assert found.used.readings == len(DAYS) - 1
    assert found.level_shifts == ()
    assert found.best == pytest.approx(one(history).best, abs=0.01)


def test_the_first_reading_may_be_the_wrong_one() -> None:
    history = dosed(0.3, 0.28, noise=0.03)
    value = history.readings.value.copy()
    value[0] += 1.0
    found = one(with_values(history, value))
    assert [each.index for each in found.set_aside] == [0]
    assert found.best == pytest.approx(one(history).best, abs=0.01)


def test_an_addition_nobody_recorded_is_named_with_time_and_size() -> None:
    history = dosed(0.3, 0.28, noise=0.03)
    found = one(with_values(history, history.readings.value + np.where(DAYS > 31.0, 0.6, 0.0)))
    (shift,) = found.level_shifts
    assert (shift.after_days, shift.at_days) == pytest.approx((30.4, 32.4))
    assert shift.low < 0.6 < shift.high
    assert found.set_aside == ()
    assert found.best == pytest.approx(one(history).best, abs=0.02)


def test_the_same_addition_recorded_is_no_jump() -> None:
    history = dosed(0.3, 0.28, noise=0.03)
    recorded = Doses(
        start_days=column(0.0, 31.0),
        end_days=column(90.0, 31.0),
        amount=column(90.0 * 0.28, 0.6),
        relative_sd=column(0.05, 0.02),
    )
    found = one(replace(with_values(history, history.readings.value + np.where(DAYS > 31.0, 0.6, 0.0)), doses=recorded))
    assert found.level_shifts == ()
    assert found.set_aside == ()


def test_a_new_reagent_lot_may_read_differently() -> None:
    history = dosed(0.3, 0.28, noise=0.02, sd=0.02)
    value = history.readings.value + np.where(DAYS > 31.0, 0.12, 0.0)
    lot = (DAYS > 31.0).astype(np.int64)
    silent = one(with_values(history, value))
    told = one(replace(history, readings=replace(history.readings, value=value, lot=lot)))
    assert abs(told.best - 0.3) < abs(silent.best - 0.3) or silent.level_shifts
    assert told.best == pytest.approx(0.3, abs=0.01)
    assert told.level_shifts == ()


def test_a_water_change_is_not_mistaken_for_demand() -> None:
    # By hand: a quarter of 2.8 replaced by water of 4.0 lifts the level by 0.3.
    change = WaterChanges(
        at_days=column(31.0),
        fraction=column(0.25),
        fraction_sd=column(0.0125),
        new_value=column(4.0),
        new_value_sd=column(0.05),
    )
    history = dosed(0.28, 0.28)
    value = history.readings.value + np.where(DAYS > 31.0, 0.3, 0.0)
    found = one(replace(with_values(history, value), water_changes=change))
    assert found.best == pytest.approx(0.28, abs=0.005)
    assert found.level_shifts == ()


def test_a_reactors_supply_is_the_demand_of_a_level_that_stands_still() -> None:
    # By hand: k (A_in - A) = 0.05 x (9 - 2.8) = 0.31.
    feed = Feed(
        name="reactor",
        flow=Checks(
            at_days=column(0.0, 30.0), value=column(0.05, 0.05), relative_sd=column(0.03, 0.03), systematic_sd=0.1
        ),
        inflow=Checks(
            at_days=column(0.0, 30.0), value=column(9.0, 9.0), relative_sd=column(0.02, 0.02), systematic_sd=0.03
        ),
    )
    history = replace(dosed(0.0, 0.0), doses=Doses(), feeds=(feed,), volume_relative_sd=0.0)
    found = one(history)
    assert found.best == pytest.approx(0.31, abs=0.003)
    # Systematic errors alone: (0.05 x 6.2 x 0.1)^2 + (0.05 x 9 x 0.03)^2.
    assert 0.5 * (found.best_high - found.best_low) > 1.96 * np.hypot(0.031, 0.0135)


def test_many_systems_at_once_are_each_of_them() -> None:
    feed = Feed(
        name="reactor",
        flow=Checks(at_days=column(0.0), value=column(0.05), relative_sd=column(0.1), drift=0.02),
        inflow=Checks(at_days=column(0.0), value=column(9.0), relative_sd=column(0.03)),
    )
    histories = [dosed(0.3, 0.28, noise=0.05, seed=30_000 + n) for n in range(5)]
    histories[2] = replace(histories[2], feeds=(feed,))
    short = histories[3].readings
    histories[3] = replace(
        histories[3], readings=Readings(at_days=short.at_days[:9], value=short.value[:9], sd=short.sd[:9])
    )
    together = estimate_consumption(histories=histories, at_days=[59.0, 59.0, 64.0, 22.0, 70.0])
    for index, at in enumerate([59.0, 59.0, 64.0, 22.0, 70.0]):
        alone = one(histories[index], at)
        ours = (together[index].best, together[index].best_low, together[index].best_high)
        assert ours == pytest.approx((alone.best, alone.best_low, alone.best_high), abs=2e-6)


def test_the_unit_does_not_matter() -> None:
    history = dosed(0.3, 0.28, noise=0.05)
    factor = 20.04
    calcium = SystemHistory(
        readings=Readings(at_days=DAYS, value=factor * history.readings.value, sd=factor * history.readings.sd),
        doses=replace(history.doses, amount=factor * history.doses.amount),
    )
    names = ("level_noise", "lot_step_sd", "narrow_enough")
    scale = Scale(**{name: factor * getattr(ALKALINITY, name) for name in names})
    ours, theirs = one(history), one(calcium, scale=scale)
    assert theirs.best == pytest.approx(factor * ours.best, rel=1e-6)
    assert theirs.best_high == pytest.approx(factor * ours.best_high, rel=1e-4)


def test_the_course_between_nodes_is_that_of_a_node_put_there() -> None:
    # A reading so uncertain that it says nothing, put into the record at the instant, makes it a node.
    feed = Feed(
        name="reactor",
        flow=Checks(at_days=column(0.0, 30.0), value=column(0.05, 0.05), relative_sd=column(0.03, 0.03)),
        inflow=Checks(at_days=column(0.0, 30.0), value=column(9.0, 9.0), relative_sd=column(0.02, 0.02)),
    )
    for history in (dosed(0.3, 0.28, noise=0.05), replace(dosed(0.0, 0.0, noise=0.05), feeds=(feed,))):
        at = column(31.7, 32.4)
        between = one(history, course_at_days=[at]).course
        r = history.readings
        noded = Readings(
            at_days=np.append(r.at_days, 31.7), value=np.append(r.value, np.median(r.value)), sd=np.append(r.sd, 1e4)
        )
        node = one(replace(history, readings=noded), course_at_days=[at]).course
        np.testing.assert_allclose(between.value, node.value, atol=2e-4)
        np.testing.assert_allclose(between.high - between.low, node.high - node.low, rtol=1e-2)


def test_the_course_ends_in_the_estimate_and_an_instant_in_the_past_is_on_it() -> None:
    history = dosed(0.3, 0.28, noise=0.05)
    found = one(history, DAYS[-1], course_at_days=[column(20.0, 40.0, DAYS[-1])])
    assert found.course.value[-1] == pytest.approx(found.best)
    assert found.course.high[-1] == pytest.approx(found.best_high, abs=1e-6)
    past = one(history, 40.0)
    assert past.best == pytest.approx(found.course.value[1])
    assert past.best_low == pytest.approx(found.course.low[1], abs=1e-6)


def test_the_next_reading_is_foretold() -> None:
    # By hand: the line goes on; the sd of a new reading is that of the level and of the kit.
    expected = one(dosed(0.3, 0.28), 62.0).expected
    assert expected.value == pytest.approx(2.8 - 0.02 * 62.0, abs=0.01)
    assert expected.score(value=expected.value + 2 * np.hypot(expected.sd, 0.05), reading_sd=0.05) == pytest.approx(2.0)
    low, high = expected.band(reading_sd=0.05)
    assert high - low == pytest.approx(2 * 1.959964 * np.hypot(expected.sd, 0.05))
    assert one(dosed(0.3, 0.28), 72.0).expected.sd > expected.sd


def test_nothing_to_go_by_is_no_estimate_and_says_what_is_missing() -> None:
    single = SystemHistory(readings=Readings(at_days=column(1.0), value=column(2.8), sd=column(0.05)))
    found = one(single)
    assert (found.value, found.best) == (None, None)
    assert [each.what for each in found.missing] == ["readings"]
    empty = one(SystemHistory(readings=Readings()))
    assert empty.used.from_days is None
    unmeasured = Feed(
        name="intake", flow=Checks(at_days=column(0.0), value=column(4.3), relative_sd=column(0.05)), inflow=Checks()
    )
    lacking = one(replace(dosed(0.3, 0.28), feeds=(unmeasured,)))
    assert lacking.value is None
    assert [(each.what, each.subject) for each in lacking.missing] == [("inflow", "intake")]


def test_two_readings_a_day_apart_are_too_wide_to_be_called_an_estimate() -> None:
    # By hand: sd of the slope is 0.05 sqrt(2) = 0.07 a day, half-width 0.14 > 0.1 and > half of 0.2.
    history = SystemHistory(readings=Readings(at_days=column(0.0, 1.0), value=column(2.8, 2.6), sd=column(0.05, 0.05)))
    found = one(history, 1.0)
    assert found.value is None
    assert found.best == pytest.approx(0.2, abs=0.05)
    assert [each.what for each in found.missing] == ["readings"]


def test_a_fast_exchange_with_a_guessed_inflow_asks_for_the_inflow() -> None:
    # By hand: a flow-through of 4.3 volumes a day whose inflow is 2 % uncertain leaves 4.3 x 2.3 x 0.02 = 0.2 meq/L/d.
    flow = Checks(at_days=column(0.0), value=column(4.3), relative_sd=column(0.01))
    inflow = Checks(at_days=column(0.0), value=column(2.3), relative_sd=column(0.02))
    history = replace(dosed(0.0, 0.0), doses=Doses(), feeds=(Feed(name="intake", flow=flow, inflow=inflow),))
    found = one(with_values(history, np.full(len(DAYS), 2.25)))
    assert found.value is None
    assert ("inflow", "intake") in [(each.what, each.subject) for each in found.missing]
    assert found.best == pytest.approx(4.3 * 0.05, abs=0.05)


def test_lists_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="one entry for each system"):
        estimate_consumption(histories=[dosed(0.3, 0.28)], at_days=[1.0, 2.0])
