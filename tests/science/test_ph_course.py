"""pH of the days to come: against another program, by hand, and against DIC integrated in fine steps."""

from collections.abc import Callable

import numpy as np
import pytest

from service.science.carbonate import carbonate_system
from service.science.hazards import Tank
from service.science.ph_course import (
    carried_mol_d,
    co2_share_at,
    ph_course_nbs,
    ph_nbs_at_share,
    share_at_rest,
)

WORKED = Tank(volume_l=1000.0, alkalinity_mol_kg=2.78812e-3, ph_nbs=8.1, salinity=35.0, temperature_c=25.0)
"""8 dKH (unit-05 of shared/reference/checks.csv) at pH 8.1."""


def test_ph_at_twice_the_gas_agrees_with_another_program() -> None:
    """HUMPHREYS22 (version 1.8.3.4, computed): 2300 umol/kg, pCO2 from carb-19's 500.316 to 1000.632: pH_T 7.702332."""
    tank = Tank(volume_l=1000.0, alkalinity_mol_kg=2.3e-3, ph_nbs=8.1, salinity=35.0, temperature_c=25.0)
    found = ph_nbs_at_share(tank=tank, alkalinity_mol_kg=np.array([2.3e-3, 2.3e-3]), co2_share=np.array([1.0, 2.0]))
    assert found == pytest.approx([8.1, 7.702332 + 0.136984], abs=1e-4)
    assert float(co2_share_at(tank=tank, ph_nbs=7.702332 + 0.136984)) == pytest.approx(2.0, rel=5e-4)


def test_the_air_takes_what_was_added() -> None:
    """By hand: 0.1 mol/d into 1023.3 kg at 1 per hour lifts CO2 by 0.1/(24 x 1023.3) = 4.072e-6 mol/kg."""
    free = float(WORKED.state_at(8.1).co2_mol_kg)
    share = float(share_at_rest(tank=WORKED, added_mol_d=0.1, kla_per_hour=1.0))
    assert (share - 1.0) * free == pytest.approx(4.072e-6, rel=1e-3)
    assert float(carried_mol_d(tank=WORKED, co2_share=share, kla_per_hour=1.0)) == pytest.approx(0.1)
    # more bound than air without any CO2 would have to give: no rest
    assert np.isnan(share_at_rest(tank=WORKED, added_mol_d=-2.0 * 24 * 1023.3 * free, kla_per_hour=1.0))


@pytest.mark.parametrize(
    ("added", "kla", "level", "off"),
    [
        (9e-5, 0.3, lambda day: 2.78812e-3 + 0.0 * day, 0.012),
        (9e-5, 3.0, lambda day: 2.78812e-3 + 4e-4 * (1.0 - np.exp(-day / 4.0)), 0.012),
        (-9e-5, 0.5, lambda day: 2.78812e-3 + 0.0 * day, 0.012),
        (-2e-4, 0.5, lambda day: 2.78812e-3 + 0.0 * day, 0.05),  # lime far beyond use: pH 8.8
        (0.0, 1.0, lambda day: 2.78812e-3 - 3e-5 * day, 0.012),
    ],
)
def test_ph_follows_what_is_integrated_finely(
    added: float, kla: float, level: Callable[[np.ndarray], np.ndarray], off: float
) -> None:
    """DIC by Euler steps of a hundredth of a day through the whole carbonate system: no slope, no logarithm."""
    days, parts = 12, 100
    whole = np.arange(days + 1.0)
    found = ph_course_nbs(
        tank=WORKED,
        alkalinity_mol_kg=level(whole),
        added_mol_kg_d=np.full(days, added),
        moved_mol_kg_d=np.diff(level(whole)),
        kla_per_hour=kla,
    )
    water = {"salinity": 35.0, "temperature_c": 25.0}
    start = WORKED.state_at(8.1)
    dic, seen = float(start.dic_mol_kg), [8.1]
    for step in range(days * parts):
        now, after = (level(np.asarray((step + each) / parts)) for each in (0, 1))
        free = float(carbonate_system(alkalinity_mol_kg=now, dic_mol_kg=dic, **water).co2_mol_kg)
        # half of what the level gained beyond the inflow's half comes from calcification that did not take it
        dic += (added - kla * 24.0 * (free - float(start.co2_mol_kg))) / parts + 0.5 * float(after - now)
        if (step + 1) % parts == 0:
            seen.append(float(carbonate_system(alkalinity_mol_kg=after, dic_mol_kg=dic, **water).ph_nbs))
    assert abs(seen[-1] - 8.1) > 0.004
    np.testing.assert_allclose(found, seen, atol=off)


def test_lime_beyond_what_the_air_gives_lifts_ph_day_by_day() -> None:
    days = 10
    found = ph_course_nbs(
        tank=WORKED,
        alkalinity_mol_kg=np.full(days + 1, 2.78812e-3),
        added_mol_kg_d=np.full(days, -2e-4),
        moved_mol_kg_d=np.zeros(days),
        kla_per_hour=0.1,
    )
    assert np.all(np.diff(found) > 0.02)
    assert np.all(np.isfinite(found))


def test_a_course_is_taken_for_many_tanks_at_once() -> None:
    """Rows of pH and exchange together give what each gives alone."""
    ph, kla = np.array([7.9, 8.1, 8.3])[:, None], np.array([0.2, 2.0])
    tank = Tank(volume_l=1000.0, alkalinity_mol_kg=2.78812e-3, ph_nbs=ph, salinity=35.0, temperature_c=25.0)
    course = {
        "alkalinity_mol_kg": np.linspace(2.78812e-3, 3e-3, 6),
        "added_mol_kg_d": np.full(5, 5e-5),
        "moved_mol_kg_d": np.full(5, 2e-5),
    }
    together = ph_course_nbs(tank=tank, kla_per_hour=kla, **course)
    assert together.shape == (3, 2, 6)
    alone = Tank(volume_l=1000.0, alkalinity_mol_kg=2.78812e-3, ph_nbs=8.3, salinity=35.0, temperature_c=25.0)
    np.testing.assert_allclose(together[2, 1], ph_course_nbs(tank=alone, kla_per_hour=2.0, **course), rtol=1e-12)
