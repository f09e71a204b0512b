"""Many at once against one after another, in one run on one machine: figures are printed, loose ratios asserted.

`pytest -m benchmark -s tests/benchmarks`
"""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from time import perf_counter

import numpy as np
import pytest
from support.reactors import reactors

from service.computations.output_balance.answer import answered, answered_all
from service.science.carbonate import carbonate_system
from service.science.consumption import estimate_consumption
from service.science.history import Checks, Doses, Feed, Readings, SystemHistory

pytestmark = pytest.mark.benchmark

DAYS, EVERY, SYSTEMS, REACTORS, ROUNDS = 180.0, 2.5, 500, 200, 5


def seconds(action: Callable[[], object]) -> float:
    """The median time of an action over some rounds, after one to warm up."""
    action()
    times = []
    for _ in range(ROUNDS):
        began = perf_counter()
        action()
        times.append(perf_counter() - began)
    return median(times)


def history(seed: int, *, has_reactor: bool) -> SystemHistory:
    """Half a year of a system: 72 readings, a dosing pump or a reactor checked every week."""
    random = np.random.default_rng(seed)
    at = np.arange(EVERY, DAYS + EVERY / 2, EVERY)
    readings = Readings(at_days=at, value=3.0 + 0.05 * random.standard_normal(len(at)), sd=np.full(len(at), 0.05))
    weeks = np.arange(0.0, DAYS, 7.0)
    flow = Checks(
        at_days=weeks, value=np.full(len(weeks), 0.05), relative_sd=np.full(len(weeks), 0.03), systematic_sd=0.1
    )
    inflow = Checks(
        at_days=weeks, value=np.full(len(weeks), 9.0), relative_sd=np.full(len(weeks), 0.02), systematic_sd=0.03
    )
    doses = Doses(
        start_days=np.array([0.0]),
        end_days=np.array([DAYS]),
        amount=np.array([0.3 * DAYS]),
        relative_sd=np.array([0.05]),
    )
    if has_reactor:
        return SystemHistory(readings=readings, feeds=(Feed(name="reactor", flow=flow, inflow=inflow),))
    return SystemHistory(readings=readings, doses=doses)


@pytest.mark.parametrize("has_reactor", [False, True], ids=["dosed", "reactor"])
def test_five_hundred_systems_cost_far_less_than_five_hundred_calls(has_reactor: bool) -> None:
    histories = [history(seed, has_reactor=has_reactor) for seed in range(SYSTEMS)]
    one = seconds(lambda: estimate_consumption(histories=histories[:1], at_days=[DAYS]))
    course = [np.arange(96.0, DAYS)]
    with_course = seconds(lambda: estimate_consumption(histories=histories[:1], at_days=[DAYS], course_at_days=course))
    all_of_them = seconds(lambda: estimate_consumption(histories=histories, at_days=[DAYS] * SYSTEMS))
    ratio = SYSTEMS * one / all_of_them
    print(
        f"\none system {1000 * one:.1f} ms, with a course {1000 * with_course:.1f} ms (goal 30); "
        f"{SYSTEMS} in one call {1000 * all_of_them:.0f} ms (goal 150): {ratio:.0f} x faster than one by one"
    )
    assert ratio > 5


def test_five_hundred_waters_cost_far_less_than_five_hundred_calls() -> None:
    water = {"salinity": np.full(SYSTEMS, 35.0), "temperature_c": np.full(SYSTEMS, 25.0)}
    alkalinity, dic = np.linspace(2000e-6, 4000e-6, SYSTEMS), np.linspace(1800e-6, 3500e-6, SYSTEMS)
    one = seconds(
        lambda: carbonate_system(salinity=35.0, temperature_c=25.0, alkalinity_mol_kg=2300e-6, dic_mol_kg=2050e-6)
    )
    all_of_them = seconds(lambda: carbonate_system(**water, alkalinity_mol_kg=alkalinity, dic_mol_kg=dic))
    ratio = SYSTEMS * one / all_of_them
    print(f"\none water {1000 * one:.2f} ms, {SYSTEMS} in one call {1000 * all_of_them:.2f} ms (goal 5): {ratio:.0f} x")
    assert ratio > 20


def test_two_hundred_reactors_cost_far_less_than_two_hundred_calls() -> None:
    situations = reactors(REACTORS)
    one_by_one = seconds(lambda: [answered(each) for each in situations])
    all_of_them = seconds(lambda: answered_all(situations))
    ratio = one_by_one / all_of_them
    print(
        f"\n{REACTORS} reactors in one call {1000 * all_of_them:.0f} ms, one after another {1000 * one_by_one:.0f} ms "
        f"({1000 * one_by_one / REACTORS:.1f} ms each): {ratio:.0f} x"
    )
    assert ratio > 5
