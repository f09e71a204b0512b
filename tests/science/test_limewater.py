"""Limewater: solubility, worked doses, and the split with a reactor held to its balances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science.carbonate import carbonate_system, dic_per_alkalinity, ph_total_from_nbs
from service.science.chamber import chamber_balance
from service.science.limewater import (
    limewater_supply,
    ph_nbs_after_dose,
    saturated_mol_l,
    split_binding_all_gas,
    split_for_constant_ph,
    split_for_wanted_ph,
)
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}
STRENGTH = 0.0203


def mol_kg(dkh: float) -> float:
    return float(convert(dkh, unit="dKH", to="mol/kg", **SEAWATER))


CHAMBER = chamber_balance(
    inflow_alkalinity_mol_kg=mol_kg(8.0), inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=mol_kg(25.0),
    effluent_ph_nbs=6.6, salinity=35.0, inflow_temperature_c=25.0, effluent_temperature_c=25.0,
)  # fmt: skip
R = float(CHAMBER.carbon_per_alkalinity)
DEMAND = {"demand_meq_d": 500.0, "strength_mol_l": STRENGTH, **SEAWATER}


def test_saturation_by_temperature(check) -> None:
    """Bates, Bower & Smith 1956 at 25 C; the slope of a handbook series (seen unattributed), within 5 %."""
    assert check("lime-01") == saturated_mol_l(temperature_c=25.0)
    celsius = np.array([0.0, 10.0, 20.0, 25.0, 30.0, 40.0])
    series = np.array([0.185, 0.176, 0.165, 0.159, 0.153, 0.141]) / 0.159
    assert saturated_mol_l(temperature_c=celsius) / 0.0203 == pytest.approx(series, rel=0.05)


def test_what_twenty_litres_bring() -> None:
    """Worked: 0.812 meq/L a day in 1000 L (2.28 dKH), calcium 16.3 mg/L, 33.0 g of CO2 bound at pH 8.1."""
    found = limewater_supply(volume_l_d=20.0, strength_mol_l=STRENGTH, carbon_per_alkalinity_fraction=R)
    assert found.alkalinity_meq_d / 1000 == pytest.approx(0.812)
    assert convert(float(found.alkalinity_meq_d / 1000), unit="meq/L", to="dKH") == pytest.approx(2.28, abs=0.005)
    assert found.calcium_g_d == pytest.approx(16.3, abs=0.05)
    assert found.co2_bound_g_d == pytest.approx(33.0, abs=0.05)


def test_ph_after_one_dose(check) -> None:
    """Worked with the carbonate system: 1, 2, 5, 10, 20 L into 1000 L; 5 L by PyCO2SYS 1.8.3.4."""
    found = ph_nbs_after_dose(
        dose_l=np.array([1.0, 2.0, 5.0, 10.0, 20.0]), strength_mol_l=STRENGTH, tank_volume_l=1000.0,
        alkalinity_mol_kg=mol_kg(8.0), ph_nbs=8.1, **SEAWATER,
    )  # fmt: skip
    assert check("lime-03") == found[2]
    assert found == pytest.approx([8.156, 8.208, 8.343, 8.524, 8.80], abs=0.005)


def test_the_worked_splits(check) -> None:
    """170 meq/d = 4.2 L/d with the drip at 54.5 L/d, or 321 = 7.9 L/d with 29.5: never on top of the whole drip."""
    carry = split_for_constant_ph(
        dissolved_mol_kg=CHAMBER.dissolved_mol_kg, excess_co2_mol_kg=CHAMBER.excess_co2_mol_kg,
        carbon_per_alkalinity_fraction=R, **DEMAND,
    )  # fmt: skip
    assert check("lime-10") == carry.limewater_l_d
    assert (carry.limewater_meq_d, carry.drip_l_d) == pytest.approx((170.0, 54.5), abs=0.5)
    everything = split_binding_all_gas(
        dissolved_mol_kg=CHAMBER.dissolved_mol_kg, added_co2_mol_kg=CHAMBER.added_co2_mol_kg, **DEMAND
    )
    assert check("lime-11") == everything.limewater_l_d
    assert (everything.limewater_meq_d, everything.drip_l_d) == pytest.approx((321.0, 29.5), abs=0.5)


def test_the_split_leaves_the_tanks_ph() -> None:
    """A day's effluent and limewater mixed into a large tank at once: 8.1 again."""
    split = split_for_constant_ph(
        dissolved_mol_kg=CHAMBER.dissolved_mol_kg, excess_co2_mol_kg=CHAMBER.excess_co2_mol_kg,
        carbon_per_alkalinity_fraction=R, **DEMAND,
    )  # fmt: skip
    ph = float(ph_total_from_nbs(ph_nbs=8.1, **SEAWATER))
    tank = carbonate_system(alkalinity_mol_kg=mol_kg(8.0), ph_total=ph, **SEAWATER)
    tonnes = 1e5  # kg: a day's additions are small in it
    alkalinity = float(split.limewater_meq_d + split.reactor_meq_d) * 1e-3 / tonnes
    drip_kg = float(split.reactor_meq_d) * 1e-3 / (2 * float(CHAMBER.dissolved_mol_kg))
    carbon = drip_kg * float(CHAMBER.effluent_dic_mol_kg - CHAMBER.inflow_dic_mol_kg) / tonnes
    after = carbonate_system(
        alkalinity_mol_kg=mol_kg(8.0) + alkalinity, dic_mol_kg=tank.dic_mol_kg + carbon, **SEAWATER
    )
    assert after.ph_nbs == pytest.approx(8.1, abs=1e-6)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(50.0, 5000.0), st.floats(12.0, 40.0), st.floats(6.2, 6.9), st.floats(7.8, 8.4), st.floats(0.5, 12.0))
def test_the_two_meet_the_demand_and_balance_carbon(
    demand: float, effluent: float, ph: float, tank_ph: float, most: float
) -> None:
    """R + Y = U always; x R = r Y and c R = Y/2 unless evaporation is the limit, and then no more than evaporates."""
    chamber = chamber_balance(
        inflow_alkalinity_mol_kg=mol_kg(8.0), inflow_ph_nbs=tank_ph, effluent_alkalinity_mol_kg=mol_kg(effluent),
        effluent_ph_nbs=ph, salinity=35.0, inflow_temperature_c=25.0, effluent_temperature_c=25.0,
    )  # fmt: skip
    asked = DEMAND | {"demand_meq_d": demand, "dissolved_mol_kg": chamber.dissolved_mol_kg, "evaporation_l_d": most}
    r = float(dic_per_alkalinity(ph_total=float(ph_total_from_nbs(ph_nbs=tank_ph, **SEAWATER)), **SEAWATER))
    carry = split_for_constant_ph(
        excess_co2_mol_kg=chamber.excess_co2_mol_kg, carbon_per_alkalinity_fraction=r, **asked
    )
    everything = split_binding_all_gas(added_co2_mol_kg=chamber.added_co2_mol_kg, **asked)
    for split, carbon, bound in (
        (carry, chamber.excess_co2_mol_kg, r),
        (everything, chamber.added_co2_mol_kg, 0.5),
    ):
        assert split.limewater_meq_d + split.reactor_meq_d == pytest.approx(demand, rel=1e-12)
        assert split.limewater_l_d <= most
        gas = float(carbon) / (2 * float(chamber.dissolved_mol_kg)) * split.reactor_meq_d
        if split.is_limited:
            assert split.limewater_l_d == most
            assert gas > bound * split.limewater_meq_d
        else:
            assert gas == pytest.approx(bound * split.limewater_meq_d, rel=1e-9)


C = float(CHAMBER.added_co2_mol_kg / (2 * CHAMBER.dissolved_mol_kg))
X = float(CHAMBER.excess_co2_mol_kg / (2 * CHAMBER.dissolved_mol_kg))
WANTED = {
    **DEMAND, "reactor_meq_d": 500.0, "dissolved_mol_kg": CHAMBER.dissolved_mol_kg,
    "added_co2_mol_kg": CHAMBER.added_co2_mol_kg,
}  # fmt: skip


def test_the_wanted_ph_meets_the_two_worked_splits() -> None:
    """All the gas bound is N = -c R_0, the carry-over alone N = -x R_0: 7.9 L/d with 29.5, 4.2 L/d with 54.5."""
    for carried, lime, litres, drip in ((-C * 0.5, 321.0, 7.9, 29.5), (-X * 0.5, 170.0, 4.2, 54.5)):
        found = split_for_wanted_ph(carried_mol_d=carried, **WANTED)
        assert (found.limewater_meq_d, found.drip_l_d) == pytest.approx((lime, drip), abs=0.5)
        assert found.limewater_l_d == pytest.approx(litres, abs=0.05)
    carry = split_for_constant_ph(
        dissolved_mol_kg=CHAMBER.dissolved_mol_kg, excess_co2_mol_kg=CHAMBER.excess_co2_mol_kg,
        carbon_per_alkalinity_fraction=R, **DEMAND,
    )  # fmt: skip
    assert found.limewater_meq_d == pytest.approx(float(carry.limewater_meq_d), rel=1e-9)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(50.0, 5000.0), st.floats(50.0, 5000.0), st.floats(-3.0, 3.0), st.floats(0.5, 200.0))
def test_a_wanted_ph_balances_carbon_or_says_what_stops_it(
    demand: float, reactor: float, carried: float, most: float
) -> None:
    """R + Y = U always; c (R - R_0) - Y/2 = N wherever neither evaporation nor an end of 0..U stops it."""
    asked = {**WANTED, "demand_meq_d": demand, "reactor_meq_d": reactor}
    split = split_for_wanted_ph(carried_mol_d=carried, evaporation_l_d=most, **asked)
    lime, left = float(split.limewater_meq_d), float(split.reactor_meq_d)
    assert lime + left == pytest.approx(demand, rel=1e-12)
    taken = C * (left - reactor) - lime / 2
    if split.is_limited:
        assert split.limewater_l_d == most
        assert taken > 1000 * carried
    elif lime == 0.0:
        assert taken <= 1000 * carried + 1e-6
    elif left < 1e-9 * demand:
        assert taken >= 1000 * carried - 1e-6
    else:
        assert taken == pytest.approx(1000 * carried, abs=1e-6)
