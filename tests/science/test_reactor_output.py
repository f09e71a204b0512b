"""A reactor and its system: the worked drip, modes, demand that answers, conservation; media."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.media import dissolved_kg, media_forecast
from service.science.reactor_output import (
    MG_CALCIUM_PER_MEQ,
    MG_MEDIA_PER_MEQ,
    Answering,
    Flows,
    Mode,
    alkalinity_after_meq_l,
    gas_use_g_d,
    net_change_meq_l_d,
    required_drip_l_d,
    required_effluent_meq_l,
    settles_at,
    supply,
)
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}
DKH = float(convert(1.0, unit="dKH", to="meq/L"))


def omega_per_meq_l(ph_nbs: float = 8.1) -> float:
    """dOmega/dA at constant pH, from the carbonate system."""
    ph = float(ph_total_from_nbs(ph_nbs=ph_nbs, **SEAWATER))
    two = [
        carbonate_system(alkalinity_mol_kg=convert(a, unit="meq/L", to="mol/kg", **SEAWATER), ph_total=ph, **SEAWATER)
        for a in (3.0, 4.0)
    ]
    return float(two[1].omega_aragonite - two[0].omega_aragonite)


WORKED = Flows(
    volume_l=1000.0, alkalinity_meq_l=8 * DKH, demand_meq_d=500.0, drip_l_d=82.467, effluent_alkalinity_meq_l=25 * DKH
)


def answering(low: float, high: float) -> Answering:
    return Answering(np.asarray(0.5 * (low + high)), np.asarray(low), np.asarray(high), is_fitted=True)


def test_the_worked_drip(check) -> None:
    """1000 L, 500 meq/d, 25 dKH, target 8: 82.5 L/d, 57.3 mL/min, 19.8 g/d of gas, 25.0 g/d of media."""
    drip = required_drip_l_d(demand_meq_d=500.0, effluent_alkalinity_meq_l=25 * DKH, target_alkalinity_meq_l=8 * DKH)
    assert check("tank-01") == drip
    assert drip / 1.44 == pytest.approx(57.3, abs=0.05)
    gas = gas_use_g_d(drip_l_d=drip, added_co2_mol_kg=5.3192e-3, **SEAWATER)
    assert gas == pytest.approx(19.76, abs=0.01)
    brings = supply(drip_l_d=drip, effluent_alkalinity_meq_l=25 * DKH, tank_alkalinity_meq_l=8 * DKH)
    assert brings.alkalinity_meq_d == pytest.approx(500.0)
    assert brings.dissolved_g_d == pytest.approx(25.02, abs=0.01)
    assert abs(MG_CALCIUM_PER_MEQ - 20.04) < 0.005
    assert abs(MG_MEDIA_PER_MEQ - 50.04) < 0.005
    effluent = required_effluent_meq_l(demand_meq_d=500.0, drip_l_d=drip, target_alkalinity_meq_l=8 * DKH)
    assert effluent == pytest.approx(25 * DKH)


def test_an_effluent_below_the_target_meets_no_demand() -> None:
    drip = required_drip_l_d(
        demand_meq_d=500.0, effluent_alkalinity_meq_l=np.array([2.0, 8.0]), target_alkalinity_meq_l=2.9
    )
    assert np.isnan(drip).tolist() == [True, False]


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(1.0, 3000.0), st.floats(4.0, 15.0), st.floats(2.0, 3.9), st.floats(0.0, 500.0))
def test_alkalinity_in_is_alkalinity_out(demand: float, effluent: float, target: float, other: float) -> None:
    """At the required drip what comes in is what is used; calcium and media come with it one for one."""
    drip = required_drip_l_d(
        demand_meq_d=demand, effluent_alkalinity_meq_l=effluent, target_alkalinity_meq_l=target,
        other_supply_meq_d=other,
    )  # fmt: skip
    brings = supply(drip_l_d=drip, effluent_alkalinity_meq_l=effluent, tank_alkalinity_meq_l=target)
    assert brings.alkalinity_meq_d + other == pytest.approx(demand, rel=1e-9, abs=1e-9)
    calcium_mol, carbonate_mol = brings.calcium_g_d / 40.078, brings.dissolved_g_d / 100.0869
    assert calcium_mol == pytest.approx(carbonate_mol, rel=1e-6)
    flows = Flows(
        volume_l=1000.0, alkalinity_meq_l=target, demand_meq_d=demand, drip_l_d=drip,
        effluent_alkalinity_meq_l=effluent, other_supply_meq_d=other,
    )  # fmt: skip
    assert net_change_meq_l_d(flows=flows) == pytest.approx(0.0, abs=1e-9)


def test_the_worked_approach() -> None:
    """From 7 dKH at constant effluent and demand: 7.079, 7.439, 7.916 dKH after 1, 7, 30 days; 12.1 days."""
    low = Flows(
        volume_l=1000.0, alkalinity_meq_l=7 * DKH, demand_meq_d=500.0, drip_l_d=82.467,
        effluent_alkalinity_meq_l=25 * DKH,
    )  # fmt: skip
    after = alkalinity_after_meq_l(
        mode=Mode.PH_CONTROLLED, flows=low, omega_per_meq_l=1.3, b=0.0, days=np.array([1.0, 7.0, 30.0])
    )
    assert after / DKH == pytest.approx([7.079, 7.439, 7.916], abs=0.001)
    found = settles_at(mode=Mode.AT_CEILING, flows=low, omega_per_meq_l=1.3, answering=answering(0.0, 0.0))
    assert found.alkalinity_meq_l / DKH == pytest.approx(8.0, abs=1e-3)
    assert found.time_days == pytest.approx(12.1, abs=0.05)


def test_where_a_system_settles() -> None:
    """Worked: with b = 0.15 demand rises 34 meq/d per dKH, which with the drip gives 5.6 days instead of 12.1.

    +1 dKH at constant pH is +0.46 Omega. Integrated by small Euler steps of the balance itself, nothing shared.
    """
    slope = omega_per_meq_l()
    assert slope * DKH == pytest.approx(0.46, abs=0.005)
    displaced = Flows(
        volume_l=1000.0, alkalinity_meq_l=9 * DKH, demand_meq_d=500.0, drip_l_d=82.467,
        effluent_alkalinity_meq_l=25 * DKH,
    )  # fmt: skip
    b = 0.15
    found = settles_at(mode=Mode.PH_CONTROLLED, flows=displaced, omega_per_meq_l=slope, answering=answering(b, b))
    assert found.time_days == pytest.approx(5.6, abs=0.1)
    for mode in (Mode.PH_CONTROLLED, Mode.GAS_LIMITED):
        a, supply_now = 9 * DKH, 82.467 * 16 * DKH
        for _ in range(200_000):
            brings = supply_now if mode is Mode.GAS_LIMITED else 82.467 * (25 * DKH - a)
            a += 1e-3 * (brings - 500.0 * (1.0 + b * slope * (a - 9 * DKH))) / 1000.0
        found = settles_at(mode=mode, flows=displaced, omega_per_meq_l=slope, answering=answering(b, b))
        assert found.alkalinity_meq_l == pytest.approx(a, rel=1e-6), mode
        assert found.mode is mode


def test_nothing_restores_at_constant_gas_unless_demand_answers() -> None:
    rich = Flows(
        volume_l=1000.0, alkalinity_meq_l=8 * DKH, demand_meq_d=450.0, drip_l_d=82.467,
        effluent_alkalinity_meq_l=25 * DKH,
    )  # fmt: skip
    still = settles_at(mode=Mode.GAS_LIMITED, flows=rich, omega_per_meq_l=1.3, answering=answering(0.0, 0.0))
    assert np.isnan(still.alkalinity_meq_l)
    assert np.isnan(still.time_days)
    assert np.isposinf(still.high_meq_l)
    assert still.change_meq_l_d == pytest.approx(0.05, abs=1e-4)
    unknown = settles_at(mode=Mode.GAS_LIMITED, flows=rich, omega_per_meq_l=1.3)
    assert 8 * DKH < unknown.low_meq_l < unknown.alkalinity_meq_l < unknown.high_meq_l == np.inf
    assert np.isposinf(unknown.longest_days)
    falling = settles_at(
        mode=Mode.GAS_LIMITED, flows=Flows(**{f: getattr(rich, f) for f in rich.__slots__} | {"demand_meq_d": 550.0}),
        omega_per_meq_l=1.3,
    )  # fmt: skip
    assert np.isneginf(falling.low_meq_l)
    controlled = settles_at(mode=Mode.PH_CONTROLLED, flows=rich, omega_per_meq_l=1.3)
    assert np.isfinite(controlled.high_meq_l)
    assert controlled.longest_days == pytest.approx(12.1, abs=0.05)


def test_an_exchange_of_water_restores_in_every_mode() -> None:
    flows = Flows(
        volume_l=1000.0, alkalinity_meq_l=3.0, demand_meq_d=0.0, drip_l_d=0.0, effluent_alkalinity_meq_l=8.0,
        exchange_l_d=50.0, exchange_alkalinity_meq_l=2.3,
    )  # fmt: skip
    for mode in Mode:
        found = settles_at(mode=mode, flows=flows, omega_per_meq_l=1.3)
        assert found.alkalinity_meq_l == pytest.approx(2.3)
        assert found.time_days == pytest.approx(20.0)


def test_systems_of_any_shape_settle_together() -> None:
    flows = Flows(
        volume_l=np.array([[500.0], [1000.0]]), alkalinity_meq_l=2.9, demand_meq_d=np.array([300.0, 500.0, 700.0]),
        drip_l_d=80.0, effluent_alkalinity_meq_l=8.9,
    )  # fmt: skip
    found = settles_at(mode=Mode.PH_CONTROLLED, flows=flows, omega_per_meq_l=1.3)
    assert {getattr(found, name).shape for name in found.__slots__ if name != "mode"} == {(2, 3)}


def test_media_is_used_by_what_it_supplied() -> None:
    """Worked: 5 kg, 500 meq/d, purity 0.97: 25.8 g/d, half gone in 97 days, all in 194."""
    assert dissolved_kg(supplied_meq=500.0) * 1000 == pytest.approx(25.8, abs=0.01)
    exact = {"filled_sd": 0.0, "supplied_relative_sd": 0.0, "supply_sd": 0.0}
    new = media_forecast(filled_kg=5.0, supplied_meq=0.0, supply_meq_d=500.0, **exact)
    assert new.refill_days == pytest.approx(97, abs=0.5)
    gone = media_forecast(filled_kg=5.0, supplied_meq=0.0, supply_meq_d=500.0, refill_at_fraction=0.0, **exact)
    assert gone.refill_days == pytest.approx(194, abs=0.5)
    later = media_forecast(filled_kg=5.0, supplied_meq=500.0 * 40, supply_meq_d=500.0, **exact)
    assert later.refill_days == pytest.approx(new.refill_days - 40, abs=1e-6)
    assert later.left_kg == pytest.approx(5.0 - 40 * 0.0258, abs=1e-3)
    past = media_forecast(filled_kg=5.0, supplied_meq=500.0 * 120, supply_meq_d=500.0, **exact)
    assert past.refill_days == 0.0


def test_media_days_hold_what_they_say() -> None:
    """Monte Carlo of fill, supply so far and present supply."""
    rng = np.random.default_rng(10_021)
    n = 50_000
    found = media_forecast(
        filled_kg=5.0,
        filled_sd=0.25,
        supplied_meq=20_000.0,
        supplied_relative_sd=0.05,
        supply_meq_d=500.0,
        supply_sd=50.0,
    )
    rate = dissolved_kg(supplied_meq=500.0 + 50.0 * rng.standard_normal(n))
    gone = dissolved_kg(supplied_meq=20_000.0 * (1.0 + 0.05 * rng.standard_normal(n)))
    days = (0.5 * (5.0 + 0.25 * rng.standard_normal(n)) - gone) / rate
    inside = np.mean((days >= found.refill_low_days) & (days <= found.refill_high_days))
    assert inside == pytest.approx(0.95, abs=0.01)
    idle = media_forecast(
        filled_kg=5.0, filled_sd=0.2, supplied_meq=0.0, supplied_relative_sd=0.0, supply_meq_d=0.0, supply_sd=0.0
    )
    assert np.isposinf([idle.refill_days, idle.refill_low_days, idle.refill_high_days]).all()


@pytest.mark.parametrize("supplied_meq", [2_000.0, 20_000.0, 30_000.0])
def test_an_error_that_both_supplies_share_moves_the_days_once(supplied_meq: float) -> None:
    """Monte Carlo: a watch that is wrong is wrong about what dissolved so far and about what dissolves now."""
    rng = np.random.default_rng(10_022)
    found = media_forecast(
        filled_kg=5.0, filled_sd=0.1, supplied_meq=supplied_meq, supplied_relative_sd=0.0, supply_meq_d=500.0,
        supply_sd=0.0, shared_relative_sd=0.11,
    )  # fmt: skip
    off = 1.0 + 0.11 * rng.standard_normal(50_000)
    filled = 5.0 + 0.1 * rng.standard_normal(off.size)
    gone, rate = (dissolved_kg(supplied_meq=meq * off) for meq in (supplied_meq, 500.0))
    days = np.maximum(0.5 * filled - gone, 0.0) / rate
    inside = np.mean((days >= found.refill_low_days) & (days <= found.refill_high_days))
    assert inside == pytest.approx(0.95, abs=0.01)
    left = filled - gone
    assert np.mean((left >= found.left_low_kg) & (left <= found.left_high_kg)) == pytest.approx(0.95, abs=0.01)
