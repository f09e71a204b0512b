"""A chamber read once and asked for another setting: it must agree with itself, and with the simulator.

The simulator (service.simulation) has its own chemistry and integrates the chamber hour by hour; it shares no code with
the model. Both dissolve media in proportion to the distance from the ceiling: that law itself is not tested by it.
"""

from dataclasses import replace

import numpy as np
import pytest

from service.science.chamber_model import (
    Running,
    at_gas_and_drip,
    at_ph_and_drip,
    dissolving_l_d,
    for_supply_at_drip,
    for_supply_at_ph,
    least_added_co2,
)
from service.science.seawater import density
from service.simulation import chemistry
from service.simulation.basin import Ledger, column
from service.simulation.reactor import Chamber
from service.simulation.scenario import Reactor

WORKED = Running(
    drip_l_d=82.467,
    inflow_alkalinity_mol_kg=2.788120e-3,
    inflow_ph_nbs=8.1,
    effluent_alkalinity_mol_kg=8.712875e-3,
    effluent_ph_nbs=6.6,
)


def test_a_chamber_asked_for_what_it_does_answers_what_was_read() -> None:
    for found in (
        at_gas_and_drip(running=WORKED, gas_fraction=1.0, drip_l_d=82.467),
        at_ph_and_drip(running=WORKED, chamber_ph_nbs=6.6, drip_l_d=82.467),
        for_supply_at_drip(running=WORKED, supply_fraction=1.0),
        for_supply_at_ph(running=WORKED, supply_fraction=1.0),
    ):
        assert float(found.ph_nbs) == pytest.approx(6.6, abs=1e-6)
        assert float(found.alkalinity_mol_kg) == pytest.approx(8.712875e-3, rel=1e-6)
        assert float(found.added_co2_mol_kg) == pytest.approx(5.3192e-3, abs=2e-6)
        assert float(found.gas_fraction) == pytest.approx(1.0, abs=1e-5)
        assert float(found.supply_fraction) == pytest.approx(1.0, abs=1e-5)


def test_kappa_by_hand() -> None:
    """82.467 x (8.7129 - 2.7881)/(13.35 - 8.7129) with the ceiling 13.35 mmol/kg at pH 6.6 (see test_chamber)."""
    assert float(dissolving_l_d(running=WORKED)) == pytest.approx(82.467 * 5.92476 / (13.35 - 8.712875), rel=0.003)


def test_the_ways_to_more_supply_lead_back_to_it() -> None:
    wanted = np.array([0.8, 1.0, 1.2, 1.4])
    by_gas = for_supply_at_drip(running=WORKED, supply_fraction=wanted)
    back = at_gas_and_drip(running=WORKED, gas_fraction=by_gas.gas_fraction, drip_l_d=82.467)
    np.testing.assert_allclose(back.supply_fraction, wanted, rtol=1e-6)
    by_drip = for_supply_at_ph(running=WORKED, supply_fraction=wanted)
    np.testing.assert_allclose(by_drip.supply_fraction, wanted, rtol=1e-9)
    np.testing.assert_allclose(by_drip.ph_nbs, 6.6)
    assert np.all(np.diff(by_gas.ph_nbs) < 0)  # more supply at one drip takes a lower pH
    assert np.all(by_gas.gas_fraction[2:] > wanted[2:])  # and more gas than in proportion


def test_the_least_gas_by_hand() -> None:
    """13.3456 mmol/kg is the ceiling at pH 6.60, where C is 8.736 mmol/kg (PyCO2SYS 1.8.3.4, bisection)."""
    at_ceiling = replace(WORKED, effluent_alkalinity_mol_kg=13.3456e-3, effluent_ph_nbs=np.nan)
    assert float(least_added_co2(running=at_ceiling)) == pytest.approx(8.736e-3, abs=5e-6)
    assert 2.962e-3 < float(least_added_co2(running=WORKED)) < 5.319e-3  # more than D, less than what was added
    easier = float(least_added_co2(running=WORKED, solubility=1.1))
    assert easier < float(least_added_co2(running=WORKED))
    assert np.isnan(least_added_co2(running=replace(WORKED, effluent_alkalinity_mol_kg=2.5e-3)))


def test_a_faster_drip_at_constant_gas_brings_little_more() -> None:
    """Design figure: doubling the drip at constant gas does not double the supply."""
    doubled = at_gas_and_drip(running=WORKED, gas_fraction=1.0, drip_l_d=2 * 82.467)
    assert 0.9 < float(doubled.supply_fraction) < 1.2
    assert float(doubled.alkalinity_mol_kg) < 8.712875e-3


def test_no_chamber_is_fixed_by_an_effluent_at_its_ceiling_or_below_the_tank() -> None:
    above = Running(
        drip_l_d=82.0, inflow_alkalinity_mol_kg=2.788e-3, inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=14e-3,
        effluent_ph_nbs=6.6,
    )  # fmt: skip
    below = Running(
        drip_l_d=82.0, inflow_alkalinity_mol_kg=2.788e-3, inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=2.5e-3,
        effluent_ph_nbs=6.6,
    )  # fmt: skip
    for running in (above, below):
        assert np.isnan(dissolving_l_d(running=running))
        assert np.isnan(at_gas_and_drip(running=running, gas_fraction=1.2, drip_l_d=82.0).supply_fraction)
    assert np.isnan(for_supply_at_ph(running=WORKED, supply_fraction=100.0).drip_l_d)


@pytest.mark.parametrize(("gas", "drip"), [(1.25, 1.0), (0.8, 1.0), (1.0, 1.5), (1.3, 1.4)])
def test_a_simulated_reactor_goes_where_the_model_says(gas: float, drip: float) -> None:
    """Read a simulated chamber at rest, ask the model for another setting, run the simulator there."""
    constants = chemistry.constants_at(np.array([35.0]), np.array([25.0]))
    water = column(2.85, 2.45, 10.28, 53.0, 35.0)
    water[1] = chemistry.carbon_at(water[0], chemistry.hydrogen_at(np.array([8.1]), constants), constants)
    spec = Reactor(
        chamber_l=20, drip_l_d=60, gas_g_d=16.5, media_kg=18, media_rate_per_hour=0.35, effluent_alkalinity_meq_l=10.4
    )
    chamber = Chamber.started(spec, water, constants, np.ones(1))

    def rested(days: int) -> tuple[float, float]:
        for _ in range(24 * days):
            chamber.hour(water, chamber.drip_l_d, constants, Ledger(1))
        chamber.media_kg[:] = 18.0  # as full as when it was read
        return float(chamber.concentration[0, 0]), float(chemistry.ph_nbs(chamber.hydrogen, constants)[0])

    alkalinity, ph = rested(6)
    litre = float(density(salinity=35.0, temperature_c=25.0))
    read = Running(
        drip_l_d=60.0,
        inflow_alkalinity_mol_kg=2.85 / litre,
        inflow_ph_nbs=8.1,
        effluent_alkalinity_mol_kg=alkalinity / litre,
        effluent_ph_nbs=ph,
    )
    told = at_gas_and_drip(running=read, gas_fraction=gas, drip_l_d=60.0 * drip)
    chamber.gas_mmol_d = chamber.gas_mmol_d * gas
    chamber.drip_l_d = chamber.drip_l_d * drip
    then, then_ph = rested(6)
    assert float(told.alkalinity_mol_kg) * litre == pytest.approx(then, rel=0.01)
    assert float(told.ph_nbs) == pytest.approx(then_ph, abs=0.01)
    assert abs(then / alkalinity - 1) > 0.05  # or nothing was asked of the model
