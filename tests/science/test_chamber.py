"""A reactor's chamber: worked balance, ceilings, conservation, an integrated stirred tank, errors by Monte Carlo."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science.carbonate import carbonate_system, ph_nbs_from_total, ph_total_from_nbs
from service.science.chamber import (
    ceiling_by_pco2,
    ceiling_by_ph,
    chamber_balance,
    chambers_in_series,
    effluent_ph_for_added_co2,
)
from service.science.chamber_uncertainty import chamber_balance_with_errors, degassing
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}


def mol_kg(dkh):
    return convert(dkh, unit="dKH", to="mol/kg", **SEAWATER)


def dkh(alkalinity_mol_kg):
    return convert(np.asarray(alkalinity_mol_kg), unit="mol/kg", to="dKH", **SEAWATER)


WORKED = {
    "inflow_alkalinity_mol_kg": mol_kg(8.0),
    "inflow_ph_nbs": 8.1,
    "effluent_alkalinity_mol_kg": mol_kg(25.0),
    "effluent_ph_nbs": 6.6,
    "salinity": 35.0,
    "inflow_temperature_c": 25.0,
    "effluent_temperature_c": 25.0,
}
INFLOW = {"inflow_alkalinity_mol_kg": mol_kg(8.0), **SEAWATER}


def test_the_worked_chamber(check) -> None:
    """8 dKH pH 8.1 in, 25 dKH pH 6.6 out; DIC by PyCO2SYS 1.8.3.4 (Humphreys et al. 2022)."""
    found = chamber_balance(**WORKED)
    assert check("react-01") == found.dissolved_mol_kg * 1e3
    assert check("react-02") == found.added_co2_mol_kg * 1e3
    assert check("react-03") == found.omega_aragonite
    assert check("react-07") == found.excess_co2_mol_kg * 1e3
    assert found.used_fraction == pytest.approx(0.557, abs=5e-4)
    assert found.carbon_per_alkalinity == pytest.approx(0.9235, abs=5e-4)
    assert found.effluent_pco2_atm == pytest.approx(0.074, abs=5e-4)


def test_use_by_alkalinity_and_ph() -> None:
    """Worked table of D/C for effluents of 15-40 dKH and pH 6.2-7.0, 8 dKH pH 8.1 in."""
    table = {15: (0.261, 0.396, 0.491, 0.537, 0.623), 25: (0.347, 0.504, 0.607, 0.655, 0.740), 40: (0.390, 0.554)}
    for out, expected in table.items():
        ph = np.array([6.2, 6.5, 6.7, 6.8, 7.0])[: len(expected)]
        found = chamber_balance(**WORKED | {"effluent_alkalinity_mol_kg": mol_kg(float(out)), "effluent_ph_nbs": ph})
        assert found.used_fraction == pytest.approx(expected, abs=6e-4)


def test_ceiling_by_chamber_ph() -> None:
    """Worked: effluent at Omega aragonite 1 by pH (NBS), in dKH."""
    found = ceiling_by_ph(chamber_ph_nbs=np.array([6.0, 6.3, 6.5, 6.6, 6.7, 6.8, 7.0, 7.2]), **INFLOW)
    assert dkh(found.alkalinity_mol_kg) == pytest.approx([93.7, 60.8, 44.8, 38.3, 32.6, 27.6, 19.5, 13.6], abs=0.06)
    assert found.pco2_atm == pytest.approx([1.11, 0.361, 0.168, 0.113, 0.077, 0.051, 0.023, 0.010], rel=0.05)
    assert found.relative_error.tolist() == [0.1, 0.1, 0, 0, 0, 0, 0, 0]


def test_ceiling_by_partial_pressure(check) -> None:
    """Worked: by pCO2 in atm; at 1 atm also at 20 and 28 C."""
    found = ceiling_by_pco2(chamber_pco2_atm=np.array([0.05, 0.1, 0.2, 0.5, 1.0, 1.6]), **INFLOW)
    assert dkh(found.alkalinity_mol_kg) == pytest.approx([27.3, 36.4, 48.2, 69.1, 90.0, 107.4], abs=0.06)
    assert found.ph_nbs == pytest.approx([6.807, 6.632, 6.454, 6.214, 6.028, 5.901], abs=0.002)
    assert check("react-05") == dkh(found.alkalinity_mol_kg)[1]


def test_both_ceilings_are_one_line() -> None:
    by_pressure = ceiling_by_pco2(chamber_pco2_atm=np.array([0.03, 0.3, 1.2]), **INFLOW)
    by_ph = ceiling_by_ph(chamber_ph_nbs=by_pressure.ph_nbs, **INFLOW)
    assert by_ph.alkalinity_mol_kg == pytest.approx(by_pressure.alkalinity_mol_kg, rel=1e-9)
    assert by_ph.pco2_atm == pytest.approx(by_pressure.pco2_atm, rel=1e-9)


@settings(derandomize=True, max_examples=80, deadline=None)
@given(st.floats(6.2, 7.4), st.floats(5.0, 14.0), st.floats(30.0, 38.0), st.floats(18.0, 30.0), st.floats(0.0, 3.0))
def test_an_effluent_at_the_ceiling_is_saturated(ph: float, inflow: float, s: float, t: float, boron: float) -> None:
    """Omega aragonite of the chamber balance, with the calcium the media gave, is 1."""
    water = {"salinity": s, "boron_factor": boron, "inflow_alkalinity_mol_kg": mol_kg(inflow)}
    at = ceiling_by_ph(chamber_ph_nbs=ph, temperature_c=t, **water).alkalinity_mol_kg
    found = chamber_balance(
        **water, inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=at, effluent_ph_nbs=ph,
        inflow_temperature_c=t, effluent_temperature_c=t,
    )  # fmt: skip
    assert found.omega_aragonite == pytest.approx(1.0, rel=1e-9)


def test_a_tenth_of_ph_is_a_sixth_of_the_ceiling() -> None:
    ceilings = ceiling_by_ph(chamber_ph_nbs=np.array([6.5, 6.6]), **INFLOW).alkalinity_mol_kg
    assert ceilings[0] / ceilings[1] == pytest.approx(1.17, abs=0.01)


@settings(derandomize=True, max_examples=120, deadline=None)
@given(
    st.floats(5.0, 14.0), st.floats(7.6, 8.5), st.floats(1.0, 40.0), st.floats(6.0, 7.2), st.floats(30.0, 38.0),
    st.floats(18.0, 30.0), st.floats(18.0, 30.0), st.floats(0.0, 3.0),
)  # fmt: skip
def test_all_the_gas_added_leaves_again(
    inflow: float, tank_ph: float, gain: float, ph: float, s: float, t_in: float, t_out: float, boron: float
) -> None:
    """X + (2 r - 1) D = C: what the surface loses is the gas, once the corals have taken what was dissolved.

    The boundary is tank and chamber; gas exchange is the term that closes it.
    """
    found = chamber_balance(
        inflow_alkalinity_mol_kg=mol_kg(inflow), inflow_ph_nbs=tank_ph,
        effluent_alkalinity_mol_kg=mol_kg(inflow + gain), effluent_ph_nbs=ph,
        salinity=s, inflow_temperature_c=t_in, effluent_temperature_c=t_out, boron_factor=boron,
    )  # fmt: skip
    returned = (2.0 * found.carbon_per_alkalinity - 1.0) * found.dissolved_mol_kg
    assert found.excess_co2_mol_kg + returned == pytest.approx(found.added_co2_mol_kg, rel=1e-9, abs=1e-12)
    carbon_out = found.inflow_dic_mol_kg + found.dissolved_mol_kg + found.added_co2_mol_kg
    assert carbon_out == pytest.approx(found.effluent_dic_mol_kg, rel=1e-12)


def test_excess_is_what_must_leave_to_keep_the_tanks_ph() -> None:
    """A little effluent mixed into the tank, X of carbon taken out: pH as before (by the carbonate system alone)."""
    found = chamber_balance(**WORKED)
    tank = carbonate_system(
        alkalinity_mol_kg=mol_kg(8.0), ph_total=float(ph_total_from_nbs(ph_nbs=8.1, **SEAWATER)), **SEAWATER
    )
    share = 1e-3
    mixed = carbonate_system(
        alkalinity_mol_kg=(1 - share) * mol_kg(8.0) + share * mol_kg(25.0),
        dic_mol_kg=(1 - share) * tank.dic_mol_kg + share * (found.effluent_dic_mol_kg - found.excess_co2_mol_kg),
        **SEAWATER,
    )
    assert mixed.ph_nbs == pytest.approx(8.1, abs=1e-7)


def test_a_stirred_tank_settles_where_the_balance_says() -> None:
    """Inflow, gas and dissolving media integrated by fourth-order Runge-Kutta until nothing changes.

    The law of dissolution is made up (first order in 1 - Omega); whatever it is, the settled effluent must give back
    the gas that was let in and the carbonate that was dissolved.
    """
    tank = carbonate_system(
        alkalinity_mol_kg=mol_kg(8.0), ph_total=float(ph_total_from_nbs(ph_nbs=8.1, **SEAWATER)), **SEAWATER
    )
    gas, renewal, speed = 5.3e-3 * 4.0, 4.0, 0.03  # mol/kg/h, 1/h, mol/kg/h
    inflow = np.array([float(tank.alkalinity_mol_kg), float(tank.dic_mol_kg), 10.28457e-3])

    def dissolving(state: np.ndarray) -> float:
        ta, dic, calcium = state
        omega = carbonate_system(
            alkalinity_mol_kg=ta, dic_mol_kg=dic, calcium_mol_kg=calcium, **SEAWATER
        ).omega_aragonite
        return speed * max(0.0, 1.0 - float(omega))

    def change(state: np.ndarray) -> np.ndarray:
        rate = dissolving(state)
        return renewal * (inflow - state) + rate * np.array([2.0, 1.0, 1.0]) + np.array([0.0, gas, 0.0])

    state, dt = inflow.copy(), 0.02
    for _ in range(400):
        k1 = change(state)
        k2 = change(state + 0.5 * dt * k1)
        k3 = change(state + 0.5 * dt * k2)
        state = state + dt / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + change(state + dt * k3))
    assert np.abs(change(state)).max() < 1e-9
    ph = carbonate_system(alkalinity_mol_kg=state[0], dic_mol_kg=state[1], **SEAWATER).ph_total
    found = chamber_balance(
        **WORKED
        | {"effluent_alkalinity_mol_kg": state[0], "effluent_ph_nbs": ph_nbs_from_total(ph_total=ph, **SEAWATER)}
    )
    assert found.added_co2_mol_kg == pytest.approx(gas / renewal, rel=1e-6)
    assert found.dissolved_mol_kg == pytest.approx(dissolving(state) / renewal, rel=1e-6)
    assert 0.2 < found.omega_aragonite < 1.0


def test_chambers_in_series_add_up_to_the_whole() -> None:
    """A chamber with gas, then one without that lifts pH and lets a little gas escape."""
    alkalinity, ph = mol_kg(np.array([8.0, 24.0, 27.0])), np.array([8.1, 6.55, 6.85])
    stages = chambers_in_series(alkalinity_mol_kg=alkalinity, ph_nbs=ph, temperature_c=25.0, salinity=35.0)
    whole = chamber_balance(**WORKED | {"effluent_alkalinity_mol_kg": alkalinity[2], "effluent_ph_nbs": 6.85})
    for name in ("dissolved_mol_kg", "added_co2_mol_kg", "excess_co2_mol_kg"):
        assert getattr(stages, name).shape == (2,)
        assert getattr(stages, name).sum() == pytest.approx(getattr(whole, name), rel=1e-12), name
    assert stages.omega_aragonite[1] == pytest.approx(whole.omega_aragonite, rel=1e-12)
    assert stages.added_co2_mol_kg[1] < 0.0
    assert np.isnan(stages.used_fraction[1])
    many = chambers_in_series(
        alkalinity_mol_kg=np.tile(alkalinity, (4, 1)), ph_nbs=ph, temperature_c=25.0, salinity=np.full(4, 35.0)
    )
    assert many.dissolved_mol_kg.shape == (4, 2)


def test_a_degassed_sample_looks_like_a_leak() -> None:
    """Worked: pH read 0.1, 0.2, 0.3 high gives C 8, 15, 20 % low and Omega 0.70, 0.88, 1.10."""
    found = degassing(rise_in_ph_nbs=np.array([0.1, 0.2, 0.3]), **WORKED)
    assert found.added_co2_fraction == pytest.approx([-0.08, -0.15, -0.20], abs=0.006)
    assert 0.5556 * (1.0 + found.omega_fraction) == pytest.approx([0.70, 0.88, 1.10], abs=0.006)


def test_the_rise_that_explains_missing_gas_is_found_again() -> None:
    known = {name: value for name, value in WORKED.items() if name != "effluent_ph_nbs"}
    weighed = chamber_balance(**WORKED).added_co2_mol_kg
    read = chamber_balance(**WORKED | {"effluent_ph_nbs": 6.8})
    true_ph = effluent_ph_for_added_co2(added_co2_mol_kg=weighed, **known)
    assert true_ph == pytest.approx(6.6, abs=1e-9)
    assert read.added_co2_mol_kg < weighed


def test_ph_dominates_the_error() -> None:
    """Worked: sd 0.1 in pH and 3 % in alkalinity give sd(C)/C of 10 % and D/C 0.455 to 0.652; D knows no pH."""
    found = chamber_balance_with_errors(**WORKED, inflow_ph_sd=0.05, effluent_ph_sd=0.1, effluent_temperature_sd=0.0)
    assert found.added_co2_mol_kg.sd / found.added_co2_mol_kg.value == pytest.approx(0.10, abs=0.01)
    assert found.ph_variance_fraction > 0.8
    assert (found.used_fraction.low, found.used_fraction.high) == pytest.approx((0.455, 0.652), abs=0.02)
    sure = chamber_balance_with_errors(**WORKED, effluent_ph_sd=0.0)
    assert sure.dissolved_mol_kg.sd == pytest.approx(found.dissolved_mol_kg.sd)
    assert sure.ph_variance_fraction == 0.0
    assert sure.added_co2_mol_kg.sd < 0.5 * found.added_co2_mol_kg.sd


@pytest.mark.parametrize("ph", [6.3, 6.6, 6.9])
def test_intervals_hold_what_they_say(ph: float) -> None:
    """Monte Carlo of every reading's error: 95 % inside, split between the two sides."""
    rng = np.random.default_rng(10_000)
    n = 40_000
    worked = WORKED | {"effluent_ph_nbs": ph}
    drawn = chamber_balance(
        **worked
        | {
            "inflow_alkalinity_mol_kg": worked["inflow_alkalinity_mol_kg"] * (1 + 0.03 * rng.standard_normal(n)),
            "inflow_ph_nbs": 8.1 + 0.05 * rng.standard_normal(n),
            "effluent_alkalinity_mol_kg": worked["effluent_alkalinity_mol_kg"] * (1 + 0.03 * rng.standard_normal(n)),
            "effluent_ph_nbs": ph + 0.1 * rng.standard_normal(n),
            "effluent_temperature_c": 25.0 + 0.5 * rng.standard_normal(n),
        }
    )
    found = chamber_balance_with_errors(**worked)
    for name in ("dissolved_mol_kg", "added_co2_mol_kg", "used_fraction", "excess_co2_mol_kg", "omega_aragonite"):
        values, interval = getattr(drawn, name), getattr(found, name)
        below, above = np.mean(values < interval.low), np.mean(values > interval.high)
        assert 0.94 <= 1.0 - below - above <= 0.96, (name, below, above)
        assert max(below, above) < 0.035, (name, below, above)
        assert interval.sd == pytest.approx(np.std(values), rel=0.06), name


def test_use_without_a_lowest_gas_has_no_highest_value() -> None:
    """Where C may be nothing, D/C may be anything: the interval is open and says so."""
    barely = WORKED | {"effluent_alkalinity_mol_kg": mol_kg(9.0), "effluent_ph_nbs": 7.9}
    found = chamber_balance_with_errors(**barely, effluent_ph_sd=0.3)
    assert found.added_co2_mol_kg.value > 0.0 > found.added_co2_mol_kg.low
    assert np.isposinf(found.used_fraction.high)
    assert 0.0 < found.used_fraction.low < found.used_fraction.value
    none = chamber_balance_with_errors(**WORKED | {"effluent_alkalinity_mol_kg": mol_kg(9.0), "effluent_ph_nbs": 8.4})
    assert np.isnan(none.used_fraction.value)
