"""Water whose constants are worked out once gives what the whole carbonate system gives anew at each pH."""

from __future__ import annotations

import numpy as np
import pytest

from service.science.carbonate import (
    carbonate_system,
    dic_of,
    equilibria_at,
    other_alkalinity,
    ph_total_from_nbs,
)
from service.science.chamber import chamber_balance
from service.science.chamber_model import Running, least_added_co2
from service.science.chamber_uncertainty import READINGS, Z_95, Interval, chamber_balance_with_errors
from service.science.chamber_water import chamber_water
from service.science.root import falling_root
from service.science.seawater import total_calcium_riley1967

WATERS = 200


def drawn(low: float, high: float, *, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(low, high, WATERS)


SEA = {
    "salinity": drawn(28.0, 40.0, seed=1),
    "temperature_c": drawn(10.0, 32.0, seed=2),
    "boron_factor": drawn(0.5, 2.0, seed=3),
}
PH = drawn(5.2, 8.3, seed=4)
ALKALINITY = drawn(1.5e-3, 14e-3, seed=5)


def test_parts_of_a_water_are_those_of_the_whole_system() -> None:
    whole = carbonate_system(alkalinity_mol_kg=ALKALINITY, ph_total=PH, **SEA)
    constants = equilibria_at(**SEA)
    other = whole.alkalinity_mol_kg - whole.bicarbonate_mol_kg - 2.0 * whole.carbonate_mol_kg
    np.testing.assert_allclose(other_alkalinity(constants=constants, ph_total=PH), other, rtol=0, atol=1e-16)
    dic = dic_of(constants=constants, alkalinity_mol_kg=ALKALINITY, ph_total=PH)
    np.testing.assert_allclose(dic, whole.dic_mol_kg, rtol=1e-13)


def test_the_ceiling_is_where_saturation_is_one() -> None:
    water = chamber_water(inflow_alkalinity_mol_kg=0.3 * ALKALINITY, **SEA)
    top = water.ceiling_mol_kg(PH)
    calcium = total_calcium_riley1967(salinity=SEA["salinity"]) + 0.5 * (top - 0.3 * ALKALINITY)
    ph_total = ph_total_from_nbs(ph_nbs=PH, salinity=SEA["salinity"], temperature_c=SEA["temperature_c"])
    there = carbonate_system(alkalinity_mol_kg=top, ph_total=ph_total, calcium_mol_kg=calcium, **SEA)
    np.testing.assert_allclose(there.omega_aragonite, 1.0, rtol=1e-12)
    np.testing.assert_allclose(water.carbon_mol_kg(top, PH), there.dic_mol_kg, rtol=1e-13)


def halved(of, low: float, high: float, shape: tuple[int, ...]) -> np.ndarray:
    """The plain form: a bracket halved fifty times."""
    left, right = np.full(shape, low), np.full(shape, high)
    for _ in range(50):
        middle = 0.5 * (left + right)
        is_left = of(middle) > 0.0
        left, right = np.where(is_left, middle, left), np.where(is_left, right, middle)
    return 0.5 * (left + right)


@pytest.mark.parametrize("power", [1.0, 3.0, 9.0])
def test_the_root_is_that_of_halving(power: float) -> None:
    """Straight and bent, within the bracket and beyond either end of it."""
    at = np.linspace(4.5, 9.0, 40)

    def falls(x: np.ndarray) -> np.ndarray:
        return np.exp(-power * x) - np.exp(-power * at)

    found = falling_root(falls, low=5.0, high=8.5)
    np.testing.assert_allclose(found, halved(falls, 5.0, 8.5, at.shape), atol=3e-11)
    assert found.min() == 5.0
    assert found.max() == 8.5
    assert np.isnan(falling_root(lambda x: x * np.nan, low=5.0, high=8.5))


def test_few_steps_lead_to_a_root() -> None:
    asked: list[int] = []

    def surplus(ph: np.ndarray) -> np.ndarray:
        asked.append(1)
        return np.log(chamber_water(inflow_alkalinity_mol_kg=2.8e-3, **SEA).ceiling_mol_kg(ph) / ALKALINITY)

    falling_root(surplus, low=5.0, high=8.5)
    assert len(asked) <= 20


def test_the_least_gas_is_that_of_a_ph_sought_by_halving() -> None:
    gained = ALKALINITY + 2e-3
    sea = {"salinity": SEA["salinity"], "boron_factor": SEA["boron_factor"]}
    running = Running(
        drip_l_d=50.0,
        inflow_alkalinity_mol_kg=2.5e-3,
        inflow_ph_nbs=8.2,
        effluent_alkalinity_mol_kg=gained,
        effluent_ph_nbs=np.nan,
        inflow_temperature_c=25.0,
        effluent_temperature_c=SEA["temperature_c"],
        **sea,
    )
    water = chamber_water(inflow_alkalinity_mol_kg=2.5e-3, temperature_c=SEA["temperature_c"], **sea)
    ph = halved(lambda x: water.ceiling_mol_kg(x) * 1.1 - gained, 5.0, 8.5, gained.shape)
    inflow_dic = carbonate_system(
        alkalinity_mol_kg=2.5e-3,
        ph_total=ph_total_from_nbs(ph_nbs=8.2, salinity=sea["salinity"], temperature_c=25.0),
        temperature_c=25.0,
        **sea,
    ).dic_mol_kg
    expected = water.carbon_mol_kg(gained, ph) - inflow_dic - 0.5 * (gained - 2.5e-3)
    found = least_added_co2(running=running, solubility=1.1)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


def test_errors_carried_in_one_pass_are_those_of_one_reading_moved_after_another() -> None:
    reading = {
        "inflow_alkalinity_mol_kg": drawn(2e-3, 4e-3, seed=6),
        "inflow_ph_nbs": drawn(7.8, 8.4, seed=7),
        "effluent_alkalinity_mol_kg": drawn(3e-3, 14e-3, seed=8),
        "effluent_ph_nbs": drawn(6.0, 7.4, seed=9),
        "effluent_temperature_c": drawn(20.0, 28.0, seed=10),
    }
    water = {"salinity": SEA["salinity"], "inflow_temperature_c": 25.0, "boron_factor": SEA["boron_factor"]}
    sd = {
        "inflow_alkalinity_mol_kg": 0.03 * reading["inflow_alkalinity_mol_kg"],
        "inflow_ph_nbs": 0.05,
        "effluent_alkalinity_mol_kg": 0.03 * reading["effluent_alkalinity_mol_kg"],
        "effluent_ph_nbs": drawn(0.05, 0.2, seed=11),
        "effluent_temperature_c": 0.5,
    }
    found = chamber_balance_with_errors(**reading, **water, effluent_ph_sd=sd["effluent_ph_nbs"])
    as_read = chamber_balance(**reading, **water)
    for name in ("dissolved_mol_kg", "added_co2_mol_kg", "used_fraction", "excess_co2_mol_kg", "omega_aragonite"):
        up, down = (
            np.stack(
                [
                    getattr(chamber_balance(**reading | {each: reading[each] + sign * Z_95 * sd[each]}, **water), name)
                    - getattr(as_read, name)
                    for each in READINGS
                ]
            )
            for sign in (1.0, -1.0)
        )
        expected = Interval.from_moves(getattr(as_read, name), up, down)
        for ours, plain in zip(getattr(found, name), expected, strict=True):
            np.testing.assert_allclose(ours, plain, rtol=1e-12, atol=1e-18)
