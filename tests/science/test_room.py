"""Gas let into a room: published limits, worked concentrations, the ventilated room integrated."""

import numpy as np
import pytest

from service.science.room import closed_room, gas_volume_m3, hours_to_fall_to, mg_m3_from_ppm, ventilated_room


def test_published_concentrations(check) -> None:
    """NIOSH: 5,000 ppm is 9,000 mg/m3 at 25 C; 40,000 ppm is immediately dangerous while oxygen still reads 20.1 %."""
    assert check("room-01") == mg_m3_from_ppm(concentration_ppm=5000.0, temperature_c=25.0)
    dangerous = check("room-04").expected * 1e-6
    gas = float(gas_volume_m3(gas_kg=1.0, temperature_c=20.0))
    kilograms = (dangerous - 420e-6) * 30.0 / gas
    assert kilograms == pytest.approx(2.17, abs=0.01)  # worked: 2.17 kg bring 30 m3 there
    found = closed_room(gas_kg=kilograms, free_volume_m3=30.0, lower_half_metre_m3=6.0, temperature_c=20.0)
    assert found.screening_fraction == pytest.approx(dangerous, abs=1e-9)
    assert found.oxygen_fraction == pytest.approx(0.201, abs=5e-4)


def test_a_cylinder_into_a_closed_room(check) -> None:
    """Worked, per cent: simple 8.24, displaced 7.91 for 4.5 kg in 30 m3; the larger is taken."""
    ask = {"free_volume_m3": 30.0, "lower_half_metre_m3": 6.0, "temperature_c": 20.0}
    found = closed_room(gas_kg=4.5, **ask)
    assert check("room-02") == 100.0 * found.simple_fraction
    assert 100.0 * found.displaced_fraction == pytest.approx(7.91, abs=0.01)
    assert found.screening_fraction == found.simple_fraction
    assert found.pooled_fraction == pytest.approx(0.00042 + 4.5 * 0.5466 / 6.0, rel=1e-3)
    small = closed_room(gas_kg=np.array([4.5, 9.0, 20.0]), **ask | {"free_volume_m3": 15.0})
    assert 100.0 * small.simple_fraction == pytest.approx([16.4, 32.8, 72.9], abs=0.1)
    assert 100.0 * small.displaced_fraction == pytest.approx([15.2, 28.0, 51.8], abs=0.1)
    stuffy = closed_room(gas_kg=0.0, supply_air_ppm=1500.0, **ask)
    assert stuffy.screening_fraction == pytest.approx(0.0015)
    drowned = closed_room(gas_kg=200.0, **ask)
    assert (drowned.simple_fraction, drowned.pooled_fraction) == (1.0, 1.0)


def test_a_leak_into_a_ventilated_room() -> None:
    """Worked: 30 m3, half an air change: 0.1 kg/h gives 1,854 ppm after 1 h and 4,064; 1 kg/h 14,758 and 36,859.

    And the balance dC/dt = G/V - n (C - C0) by small Euler steps.
    """
    ask = {"free_volume_m3": 30.0, "air_changes_per_hour": 0.5, "temperature_c": 20.0}
    found = ventilated_room(release_g_h=np.array([100.0, 1000.0]), elapsed_hours=1.0, **ask)
    assert found.after_ppm == pytest.approx([1854, 14758], abs=3)
    assert found.steady_ppm == pytest.approx([4064, 36859], abs=5)
    concentration, dt = 420e-6, 1e-4
    inflow = 0.1 * 8.314462618 * 293.15 / 101325.0 / 0.0440095 / 30.0  # ideal gas, m3/h per m3
    for _ in range(int(3.0 / dt)):
        concentration += dt * (inflow - 0.5 * (concentration - 420e-6))
    later = ventilated_room(release_g_h=100.0, elapsed_hours=3.0, **ask)
    assert later.after_ppm == pytest.approx(1e6 * concentration, rel=1e-3)


def test_without_ventilation_there_is_no_end() -> None:
    still = {"free_volume_m3": 30.0, "air_changes_per_hour": 0.0, "temperature_c": 20.0, "elapsed_hours": 2.0}
    found = ventilated_room(release_g_h=100.0, **still)
    closed = closed_room(gas_kg=0.2, free_volume_m3=30.0, lower_half_metre_m3=6.0, temperature_c=20.0)
    assert found.after_ppm == pytest.approx(1e6 * closed.simple_fraction, rel=1e-9)
    assert np.isposinf(found.steady_ppm)
    assert ventilated_room(release_g_h=0.0, **still).steady_ppm == 420.0


def test_air_clears_as_it_filled() -> None:
    """e-folding by one air change; never down to the supply air, at once where already below."""
    fall = {"air_changes_per_hour": 0.5, "supply_air_ppm": 420.0}
    assert hours_to_fall_to(peak_ppm=420.0 + np.e * 1000.0, wanted_ppm=1420.0, **fall) == pytest.approx(2.0)
    assert np.isposinf(hours_to_fall_to(peak_ppm=5000.0, wanted_ppm=420.0, **fall))
    assert hours_to_fall_to(peak_ppm=1000.0, wanted_ppm=5000.0, **fall) == 0.0
    assert np.isposinf(hours_to_fall_to(peak_ppm=5000.0, wanted_ppm=1000.0, air_changes_per_hour=0.0))
