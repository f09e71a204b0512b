"""The same seed gives the same records to the last bit, alone or beside others; other seeds give others."""

from dataclasses import replace

import numpy as np
import pytest

from service.simulation import Scenario, SimulatedSite, load_scenario, simulate, simulate_many


def shortened(name: str, days: int) -> Scenario:
    return replace(load_scenario(name), days=days)


def same(one: SimulatedSite, other: SimulatedSite) -> bool:
    return all(
        a.recorded.readings == b.recorded.readings
        and a.recorded.additions == b.recorded.additions
        and a.recorded.set_points == b.recorded.set_points
        and a.labels == b.labels
        and all(np.array_equal(getattr(a.truth, name), getattr(b.truth, name)) for name in a.truth.__slots__)
        for a, b in zip(one.systems, other.systems, strict=True)
    )


@pytest.mark.parametrize("name", ["consumption/clogging", "consumption/limewater", "consumption/day_night"])
def test_one_seed_one_record(name: str) -> None:
    scenario = shortened(name, 40)
    alone = simulate(scenario, 10007)
    assert same(alone, simulate(scenario, 10007))
    beside = simulate_many(scenario, [10001, 10002, 10007, 10003, 10004])
    assert same(alone, beside[2])
    assert not same(alone, beside[1])


def test_a_new_test_leaves_the_other_draws_alone() -> None:
    scenario = shortened("consumption/steady", 30)
    system = scenario.system[0]
    more = replace(system, test=(*system.test, replace(system.test[0], quantity="calcium", sd=10.0)))
    plain, richer = simulate(scenario, 10000), simulate(replace(scenario, system=(more,)), 10000)
    assert plain.systems[0].recorded.of("alkalinity") == richer.systems[0].recorded.of("alkalinity")
    assert len(richer.systems[0].recorded.of("calcium")) > 5
