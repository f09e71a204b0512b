"""Run-away gas: worked times, both bounds, exchange integrated independently, floors, cut-offs."""

import numpy as np
import pytest

from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.hazards import (
    Tank,
    drip_carry_over_g_h,
    flow_carried_for_ever_g_h,
    gas_to_reach_g,
    hours_to_reach,
    kla_from_balance_per_hour,
    kla_from_relaxation_per_hour,
    largest_flow_g_h,
    run_away,
    suggested_cut_off,
    whole_cylinder,
)
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}
EIGHT_DKH = float(convert(8.0, unit="dKH", to="mol/kg", **SEAWATER))
KG_PER_TONNE_OF_LITRES = 1023.3436
"""1000 L at S 35, 25 C (TEOS-10)."""


def tank(ph_nbs: float = 8.1, volume_l: float = 1000.0) -> Tank:
    return Tank(volume_l=volume_l, alkalinity_mol_kg=EIGHT_DKH, ph_nbs=ph_nbs, **SEAWATER)


def test_the_worked_run_away(check) -> None:
    """8 dKH: 7.1 g/m3 from 8.1 to 7.8, 4.1 from 7.9 to 7.7; 1000 L at 100 g/h: 4.3 min to 7.8, 7.6 min to 7.5.

    Through a drip of 82.5 L/d at 1 atm: 4.8 g/h and 1.5 h; the rest goes to the room.
    """
    gas = gas_to_reach_g(tank=tank(), to_ph_nbs=np.array([7.8, 7.5, 7.0, 6.5]))
    assert gas == pytest.approx([7.1, 12.7, 23.7, 50.7], abs=0.06)
    assert check("haz-01") == gas[0] / 44.0095 / KG_PER_TONNE_OF_LITRES * 1e3
    assert gas_to_reach_g(tank=tank(7.9), to_ph_nbs=7.7) == pytest.approx(4.1, abs=0.06)
    found = run_away(tank=tank(), to_ph_nbs=np.array([7.8, 7.5]), flow_g_h=100.0, drip_l_d=82.5)
    assert found.hours * 60 == pytest.approx([4.3, 7.6], abs=0.05)
    assert check("haz-10") == found.drip_g_h[0]
    assert found.hours_through_drip[0] == pytest.approx(1.5, abs=0.05)
    assert found.drip_g_h + found.to_room_g_h == pytest.approx(100.0)
    slow = run_away(tank=tank(), to_ph_nbs=7.8, flow_g_h=1.0, drip_l_d=82.5)
    assert (slow.drip_g_h, slow.to_room_g_h) == (1.0, 0.0)


def test_only_what_the_drip_carries() -> None:
    """Worked: 4.8, 6.1, 7.9 g/h at 1.0, 1.3, 1.7 atm with media; 28.6 mmol/kg without."""
    found = drip_carry_over_g_h(tank=tank(), drip_l_d=82.5, chamber_pco2_atm=np.array([1.0, 1.3, 1.7]))
    assert found == pytest.approx([4.8, 6.1, 7.9], abs=0.06)
    empty = drip_carry_over_g_h(tank=tank(), drip_l_d=82.5, dissolves_media=False)
    per_kg = empty * 24.0 / 44.0095 / (82.5 * KG_PER_TONNE_OF_LITRES / 1000.0) * 1e3
    assert per_kg == pytest.approx(28.6, abs=0.1)


def test_a_ph_already_passed_takes_no_time() -> None:
    assert gas_to_reach_g(tank=tank(7.7), to_ph_nbs=7.8) == 0.0
    assert hours_to_reach(tank=tank(7.7), to_ph_nbs=7.8, flow_g_h=10.0) == 0.0


def dissolving_tank(flow_g_h: float, kla: float, hours: float, ph: float = 8.1) -> float:
    """pH (NBS) after some hours: the balance of carbon by fourth-order Runge-Kutta, the pH by TA and DIC."""

    def co2(dic: float) -> float:
        return float(carbonate_system(alkalinity_mol_kg=EIGHT_DKH, dic_mol_kg=dic, **SEAWATER).co2_mol_kg)

    start = carbonate_system(
        alkalinity_mol_kg=EIGHT_DKH, ph_total=float(ph_total_from_nbs(ph_nbs=ph, **SEAWATER)), **SEAWATER
    )
    steady = carbonate_system(
        alkalinity_mol_kg=EIGHT_DKH, ph_total=float(ph_total_from_nbs(ph_nbs=8.1, **SEAWATER)), **SEAWATER
    )
    inflow = flow_g_h / 44.0095 / KG_PER_TONNE_OF_LITRES
    dic, base, steps = float(start.dic_mol_kg), float(steady.co2_mol_kg), 200
    dt = hours / steps

    def change(x: float) -> float:
        return inflow - kla * (co2(x) - base)

    for _ in range(steps):
        k1 = change(dic)
        k2 = change(dic + 0.5 * dt * k1)
        k3 = change(dic + 0.5 * dt * k2)
        dic += dt / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + change(dic + dt * k3))
    return float(carbonate_system(alkalinity_mol_kg=EIGHT_DKH, dic_mol_kg=dic, **SEAWATER).ph_nbs)


@pytest.mark.parametrize(("flow", "kla", "hours"), [(100.0, 0.0, 0.2), (100.0, 1.0, 0.2), (2.0, 0.5, 3.0)])
def test_gas_exchange_is_integrated_right(flow: float, kla: float, hours: float) -> None:
    ph = dissolving_tank(flow, kla, hours)
    assert ph < 8.05
    found = hours_to_reach(tank=tank(), to_ph_nbs=ph, flow_g_h=flow, kla_per_hour=kla)
    assert found == pytest.approx(hours, rel=2e-3)


def test_a_flow_the_surface_carries() -> None:
    """Worked: 0.094, 0.469, 0.94, 1.88 g/h per m3 hold 7.8 at kLa 0.1, 0.5, 1, 2 per hour; beyond it 7.8 is reached."""
    kla = np.array([0.1, 0.5, 1.0, 2.0])
    carried = flow_carried_for_ever_g_h(tank=tank(), lowest_ph_nbs=7.8, kla_per_hour=kla)
    assert carried == pytest.approx([0.094, 0.469, 0.94, 1.88], rel=0.01)
    less = hours_to_reach(tank=tank(), to_ph_nbs=7.8, flow_g_h=0.98 * carried, kla_per_hour=kla)
    more = hours_to_reach(tank=tank(), to_ph_nbs=7.8, flow_g_h=1.05 * carried, kla_per_hour=kla)
    assert np.isposinf(less).all()
    assert np.isfinite(more).all()


def test_a_whole_cylinder_has_a_floor(check) -> None:
    """Worked: 0.5 kg brings 300 L to the floor of 1 atm (0.39 kg dissolved), 1000 L to 5.40, 5000 L to 6.14."""
    tanks = Tank(volume_l=np.array([300.0, 1000.0, 5000.0]), alkalinity_mol_kg=EIGHT_DKH, ph_nbs=8.1, **SEAWATER)
    half = whole_cylinder(tank=tanks, gas_kg=0.5)
    assert half.ph_nbs == pytest.approx([4.98, 5.40, 6.14], abs=0.006)
    assert half.dissolved_kg == pytest.approx([0.39, 0.5, 0.5], abs=0.005)
    assert half.dissolved_kg + half.to_room_kg == pytest.approx(0.5)
    full = whole_cylinder(tank=tanks, gas_kg=4.5)
    assert check("haz-03") == full.ph_nbs[0]
    assert full.dissolved_kg[1] == pytest.approx(1.29, abs=0.006)
    assert full.ph_nbs[2] == pytest.approx(5.14, abs=0.006)


@pytest.mark.parametrize("kla", [0.0, 1.0])
def test_the_largest_flow_just_reaches_the_lowest_ph(kla: float) -> None:
    """Cut-off at 7.7, five minutes until the gas has stopped: at the flow found pH comes to 7.5 in just that time."""
    ask = {"cut_off_ph_nbs": 7.7, "lowest_ph_nbs": 7.5, "delay_hours": 5.0 / 60.0, "kla_per_hour": kla}
    flow = float(largest_flow_g_h(tank=tank(), **ask))
    assert dissolving_tank(flow, kla, 5.0 / 60.0, ph=7.7) == pytest.approx(7.5, abs=2e-4)
    with_held_gas = float(largest_flow_g_h(tank=tank(), held_gas_g=1.0, **ask))
    assert with_held_gas < flow
    if kla == 0.0:
        assert (flow - with_held_gas) * 5.0 / 60.0 == pytest.approx(1.0, rel=1e-3)
    assert largest_flow_g_h(tank=tank(), held_gas_g=50.0, **ask) == 0.0


def test_exchange_is_found_from_a_relaxation() -> None:
    """A tank pushed to 7.7 comes back as integrated and gives the coefficient; a course the other way gives none."""
    back = dissolving_tank(0.0, 1.4, 0.8, ph=7.7)
    found = kla_from_relaxation_per_hour(tank=tank(), early_ph_nbs=7.7, late_ph_nbs=back, hours=0.8)
    assert found == pytest.approx(1.4, rel=2e-3)
    away = kla_from_relaxation_per_hour(tank=tank(), early_ph_nbs=7.9, late_ph_nbs=7.7, hours=0.8)
    assert np.isnan(away)


def test_exchange_is_found_from_the_balance() -> None:
    """Worked: 3.4 per hour at 420 ppm in the room; at 800 ppm the room holds more than the tank and nothing is told."""
    found = kla_from_balance_per_hour(
        tank=tank(), added_co2_mol_kg=5.3192e-3, drip_l_d=82.467, room_co2_ppm=np.array([420.0, 800.0])
    )
    assert found[0] == pytest.approx(3.4, abs=0.05)
    assert np.isnan(found[1])


def test_a_cut_off_lies_below_the_nights() -> None:
    """Common practice, no source: 0.15-0.2 below the lowest of thirty nights."""
    found = suggested_cut_off(daily_lowest_ph_nbs=np.array([[7.95, 7.92, np.nan, 7.98], [np.nan] * 4]))
    assert found.low_ph_nbs[0] == pytest.approx(7.72)
    assert found.high_ph_nbs[0] == pytest.approx(7.77)
    assert np.isnan(found.high_ph_nbs[1])


def test_tanks_of_any_shape_run_away_together() -> None:
    tanks = Tank(
        volume_l=np.array([[300.0], [1000.0]]),
        alkalinity_mol_kg=EIGHT_DKH,
        ph_nbs=np.array([7.9, 8.1, 8.3]),
        **SEAWATER,
    )
    found = run_away(tank=tanks, to_ph_nbs=7.5, flow_g_h=50.0, drip_l_d=40.0, kla_per_hour=0.3)
    assert {getattr(found, name).shape for name in found.__slots__} == {(2, 3)}
    alone = run_away(tank=tank(8.1), to_ph_nbs=7.5, flow_g_h=50.0, drip_l_d=40.0, kla_per_hour=0.3)
    assert found.hours[1, 1] == pytest.approx(alone.hours, rel=1e-12)
