"""Courses with an answer in closed form."""

from dataclasses import replace

import numpy as np
import pytest

from service.simulation import Scenario, SimulatedSystem, load_scenario, simulate
from service.simulation.scenario import Air, Corals, Exchange, Keeping, Reactor, System, Water, WaterChange

STILL = System(code="S1", water=Water(volume_l=1000.0), corals=Corals(demand_meq_l_d=0.0, drift_relative=0.0))


def course(system: System, days: int) -> SimulatedSystem:
    return simulate(Scenario(title="closed form", days=days, system=(system,)), 10000).systems[0]


def test_flow_through_relaxes_exponentially() -> None:
    """dA/dt = k (A_in - A): a well-mixed vessel (any reactor-engineering text)."""
    flow = Exchange(litres_per_day=80.0, flow_error=0.0, alkalinity_error=0.0, alkalinity_meq_l=2.0)
    truth = course(replace(STILL, exchange=flow), 30).truth
    expected = 2.0 + 0.85 * np.exp(-0.08 * truth.at)
    assert np.max(np.abs(truth.alkalinity - expected)) < 1e-3


def test_drained_and_filled() -> None:
    """A <- (1 - f) A + f A_new after draining a quarter."""
    quarter = WaterChange(
        first_day=1.5, every_days=100, volume_l=250, volume_error=0, alkalinity_meq_l=3.85, alkalinity_error=0
    )
    truth = course(replace(STILL, water_change=(quarter,)), 3).truth
    assert truth.alkalinity[36] == pytest.approx(2.85)  # tested before the change
    assert truth.alkalinity[37] == pytest.approx(0.75 * 2.85 + 0.25 * 3.85, abs=1e-12)


def test_demand_takes_alkalinity_and_calcium_together() -> None:
    """20.04 mg of calcium a meq of alkalinity when the skeleton is pure CaCO3 (IUPAC masses)."""
    hungry = Corals(demand_meq_l_d=0.3, drift_relative=0.0, light_share=0.5, magnesium_share=0.0)
    truth = course(replace(STILL, corals=hungry), 3).truth
    assert truth.alkalinity[48] == pytest.approx(2.85 - 0.6, abs=1e-9)
    assert truth.calcium[0] - truth.calcium[48] == pytest.approx(0.6 * 20.039, rel=1e-4)
    assert np.allclose(truth.demand[:36], 0.3)


def test_ph_settles_where_the_room_holds_it() -> None:
    """PyCO2SYS 1.8.3.4: 8 dKH at pH_NBS 8.1, S 35, 25 degC has a pCO2 of 610 uatm."""
    still = replace(
        STILL,
        water=replace(STILL.water, alkalinity_meq_l=8 * 0.35665, ph_nbs=7.8, temperature_swing_c=0.0),
        air=Air(room_co2_ppm=610.0, photosynthesis_mmol_l_d=0.0, gas_exchange_per_hour=2.0),
    )
    assert course(still, 10).truth.ph[-1] == pytest.approx(8.1, abs=0.01)


def held_reactor(**changes: object) -> Reactor:
    return Reactor(
        **{
            "chamber_l": 20.0,
            "drip_l_d": 40.0,
            "mode": "ph_controlled",
            "gas_g_d": 500.0,
            "chamber_ph": 6.6,
            "media_kg": 1e4,
            "media_rate_per_hour": 0.4,
            "keeping": Keeping(every_days=0),
            **changes,
        }
    )


def test_chamber_balance_alkalinity_out_is_in_and_twice_what_dissolved() -> None:
    """In steady state Q (A_eff - A_in) = 2 D Q, and the media lose just that mass (100.0869 g/mol)."""
    large = replace(STILL, water=replace(STILL.water, volume_l=1e6), reactor=held_reactor())
    truth = course(large, 20).truth
    week = slice(24 * 12, 24 * 19)
    gained = np.mean(truth.drip[week] * (truth.effluent_alkalinity - truth.alkalinity)[week])  # meq/d
    lost_g_d = (truth.media[24 * 12] - truth.media[24 * 19]) * 1000.0 / 7.0
    assert lost_g_d == pytest.approx(gained / 2.0 * 0.1000869, rel=2e-3)


def test_chamber_lies_between_inflow_and_ceiling_by_its_two_rates() -> None:
    """q/V (A_in - A) + m (A* - A) = 0; the ceiling 38.3 dKH at pH 6.6 is a prototype's, checked with PyCO2SYS."""
    large = replace(STILL, water=replace(STILL.water, volume_l=1e6, temperature_swing_c=0.0), reactor=held_reactor())
    truth = course(large, 20).truth
    washed, media = 40.0 / 20.0, 24.0 * 0.4
    expected = (washed * 2.85 + media * 38.3 * 0.35665) / (washed + media)
    # the hourly step holds the dissolution over the hour, which lowers the settled value by 3 %
    assert truth.effluent_alkalinity[-1] == pytest.approx(expected, rel=0.04)
    assert truth.effluent_ph[-1] == pytest.approx(6.6, abs=2e-3)


def test_all_the_gas_leaves_through_the_water_surface() -> None:
    """Steady lagoon: CO2 fed + carbon of media = carbon of skeletons + gas exchange, so fed = outgassed when G = D."""
    scenario = replace(load_scenario("consumption/reactor"), days=60)
    system = replace(scenario.system[0], water_change=())
    flows = simulate(replace(scenario, system=(system,)), 10003).systems[0].flows
    carbon = {term: amounts[1] for term, amounts in flows.items()}
    given = carbon["gas fed"] + carbon["media"] + carbon["calcification"]
    assert -carbon["gas exchange"] == pytest.approx(given, rel=0.05)


def test_doubling_the_drip_at_constant_gas_does_not_double_the_supply() -> None:
    large = replace(STILL, water=replace(STILL.water, volume_l=1e6))
    supply = []
    for drip in (40.0, 80.0):
        reactor = held_reactor(mode="constant_gas", gas_g_d=12.0, drip_l_d=drip)
        truth = course(replace(large, reactor=reactor), 15).truth
        supply.append(drip * (truth.effluent_alkalinity - truth.alkalinity)[-1])
    assert 1.0 < supply[1] / supply[0] < 1.6
