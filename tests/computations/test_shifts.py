"""Which jumps are named: enough readings speak for them, and no flow that changed looks like them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from service.computations.consumption.shifts import flow_changes, named_shifts
from service.science.answer import ConsumptionEstimate, LevelShift, SetAside
from service.science.consumption import estimate_consumption
from service.science.history import Checks, Feed, Readings, SystemHistory

DAYS = np.arange(0.5, 60.0, 2.0)
"""Thirty tests, the last at 58.5."""


def history(flows: tuple[float, ...] = (), groups: np.ndarray | None = None, **of_flow: np.ndarray) -> SystemHistory:
    """A record with a drip checked weekly at these values, the last of them at day 50."""
    at = 50.0 - 7.0 * np.arange(len(flows))[::-1]
    sd = np.full(len(flows), 0.03)
    flow = Checks(at_days=at, value=np.array(flows), relative_sd=sd, **of_flow)
    inflow = Checks(at_days=at, value=np.full(len(flows), 10.0), relative_sd=sd)
    readings = Readings(
        at_days=DAYS, value=np.full(len(DAYS), 2.8), sd=np.full(len(DAYS), 0.05), replicate_group=groups
    )
    return SystemHistory(readings=readings, feeds=(Feed(name="drip", flow=flow, inflow=inflow),) if flows else ())


def estimate(size: float, at_days: float, *aside: int) -> ConsumptionEstimate:
    """An estimate that found one jump and set readings of these numbers aside."""
    (found,) = estimate_consumption(histories=[history()], at_days=[59.0])
    shift = LevelShift(at_days - 2.0, at_days, size, size - 0.1, size + 0.1)
    return replace(found, level_shifts=(shift,), set_aside=tuple(SetAside(index, 5.0, "") for index in aside))


@pytest.mark.parametrize(
    ("size", "at", "aside", "named"),
    [
        (0.5, 56.5, (), True),  # two tests
        (0.5, 58.5, (), False),
        (0.5, 54.5, (29,), False),  # two against one: two mistakes in a row do as much
        (0.5, 52.5, (29,), True),
        (0.5, 54.5, (3,), True),  # a mistake long before says nothing of it
        (-0.5, 56.5, (), False),
        (-0.5, 54.5, (), True),
    ],
)
def test_a_jump_needs_tests_that_speak_for_it(size: float, at: float, aside: tuple[int, ...], named: bool) -> None:
    assert bool(named_shifts(history(), estimate(size, at, *aside))) == named


def test_replicates_are_one_test() -> None:
    groups = np.full(len(DAYS), -1)
    groups[-2:] = 7
    assert not named_shifts(history(groups=groups), estimate(0.5, 56.5))
    assert named_shifts(history(groups=groups), estimate(0.5, 54.5))


@pytest.mark.parametrize(
    ("flow", "size", "named"),
    [
        (0.7, 0.5, False),
        (0.95, 0.5, True),
        (1.35, 0.5, True),
        (0.7, -0.5, True),
        (1.05, -0.5, True),
        (1.35, -0.5, False),
    ],
)
def test_a_rise_after_a_flow_that_reads_less_is_the_flows(flow: float, size: float, named: bool) -> None:
    """The course foretold falls away where less is said to run in, and a fall after one that reads more likewise."""
    assert bool(named_shifts(history((*(0.04,) * 6, 0.04 * flow)), estimate(size, 54.5))) == named


def test_a_flow_that_changed_long_ago_or_afterwards_explains_nothing() -> None:
    changed = history((0.04, 0.04, 0.04, 0.028, 0.028, 0.028, 0.028))  # at day 29
    assert named_shifts(changed, estimate(0.5, 44.5))
    assert not named_shifts(changed, estimate(0.5, 42.5))
    assert named_shifts(changed, estimate(0.5, 28.5))


def test_a_flow_that_was_set_lower_did_not_change_of_itself() -> None:
    flows = (0.04,) * 6 + (0.028,)
    (found,) = flow_changes(history(flows).feeds[0].flow)
    assert found == pytest.approx((50.0, np.log(0.7)))
    settings = {"set_at_days": np.array([0.0, 45.0]), "set_value": np.array([0.04, 0.028])}
    assert not flow_changes(history(flows, **settings).feeds[0].flow)
