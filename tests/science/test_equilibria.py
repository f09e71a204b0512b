"""Equilibrium constants against the values printed with them."""

import numpy as np
import pytest

from service.science import equilibria, seawater
from service.science.carbonate import carbonate_system, dic_per_alkalinity, equilibria_at

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}


def test_constants_are_those_of_the_handbook(check) -> None:
    """Check values printed with the equations: Dickson, Sabine & Christian 2007, chapter 5."""
    assert check("carb-01") == np.log(equilibria.k0_weiss1974(**SEAWATER))
    assert check("carb-02") == np.log10(equilibria.k1_lueker2000(**SEAWATER))
    assert check("carb-04") == np.log(equilibria.kb_dickson1990(**SEAWATER))
    assert check("carb-05") == np.log(equilibria.kw_dickson2007(**SEAWATER))
    assert check("carb-07") == np.log(equilibria.kf_perez_fraga1987(**SEAWATER))
    assert check("carb-08") == equilibria.k0_weiss1974(**SEAWATER)
    assert check("carb-10") == -np.log10(equilibria.ksp_aragonite_mucci1983(**SEAWATER))


def test_the_second_constant_is_the_handbooks() -> None:
    """log10 K2 = -8.9660 at S 35, 25 C (Dickson, Sabine & Christian 2007, chapter 5)."""
    assert np.log10(equilibria.k2_lueker2000(**SEAWATER)) == pytest.approx(-8.9660, abs=1e-4)


def test_hydrogen_sulphate_is_the_handbooks() -> None:
    """ln KS = -2.30 at S 35, 25 C (Dickson, Sabine & Christian 2007, chapter 5)."""
    assert np.log(equilibria.ks_dickson1990(**SEAWATER)) == pytest.approx(-2.30, abs=0.005)


def test_solubility_products_are_those_of_the_monograph() -> None:
    """ln K* = -14.2491 (aragonite), -14.6659 (calcite) at S 35, 25 C, from Zeebe & Wolf-Gladrow 2001."""
    assert np.log(equilibria.ksp_aragonite_mucci1983(**SEAWATER)) == pytest.approx(-14.2491, abs=1e-4)
    assert np.log(equilibria.ksp_calcite_mucci1983(**SEAWATER)) == pytest.approx(-14.6659, abs=1e-4)


def test_aragonite_dissolves_better_than_calcite() -> None:
    for temperature_c in (10.0, 20.0, 30.0):
        water = {"salinity": 35.0, "temperature_c": temperature_c}
        assert equilibria.ksp_aragonite_mucci1983(**water) > equilibria.ksp_calcite_mucci1983(**water)


@pytest.mark.parametrize("temperature_c", [10.0, 20.0, 25.0, 32.0])
def test_the_two_forms_of_the_ion_product_of_water_stay_within_a_percent(temperature_c: float) -> None:
    """The paper's seawater scale, converted, against the handbook's fixed 0.015: a known disagreement."""
    water = {"salinity": 35.0, "temperature_c": temperature_c}
    difference = np.log(equilibria_at(**water).kw / equilibria.kw_dickson2007(**water))
    assert -0.0101 < difference < -0.003


def test_what_the_choice_of_hydrogen_fluoride_moves() -> None:
    """pH(NBS) - pH(total) falls by 0.003 with Perez & Fraga 1987 on the total scale, by 0.0004 if taken for the free.

    The handbook prints it on the total scale; PyCO2SYS (opt_k_fluoride=2) takes it for the free one: 0.136542 there.
    """
    sulphate = seawater.total_sulphate_morris1966(salinity=35.0) / equilibria.ks_dickson1990(**SEAWATER)
    fluoride = seawater.total_fluoride_riley1965(salinity=35.0)
    printed = equilibria.kf_perez_fraga1987(**SEAWATER)

    def total_over_seawater(kf: float) -> float:
        return float(np.log10((1.0 + sulphate) / (1.0 + sulphate + fluoride / kf)))

    ours = total_over_seawater(float(equilibria.kf_dickson_riley1979(**SEAWATER)))
    assert ours - total_over_seawater(float(printed / (1.0 + sulphate))) == pytest.approx(0.0032, abs=1e-4)
    assert ours - total_over_seawater(float(printed)) == pytest.approx(0.136984 - 0.136542, abs=2e-6)


@pytest.mark.parametrize(("temperature_c", "most"), [(20.0, 3e-4), (32.0, 1.25e-3)])
def test_what_the_form_of_the_ion_product_of_water_moves(temperature_c: float, most: float) -> None:
    """DIC at 1000 umol/kg and pH 8.8, S 28-40: 1.2e-3 at most, at 32 C; in a tank of S 36, 28 C, pH 8.3 below 1e-4."""
    water = {"salinity": np.array([28.0, 35.0, 40.0]), "temperature_c": temperature_c}

    def moved(alkalinity: float, ph: float, **water: float | np.ndarray) -> np.ndarray:
        hydroxide = (equilibria.kw_dickson2007(**water) - equilibria_at(**water).kw) * 10.0**ph
        dic = carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=ph, **water).dic_mol_kg
        return hydroxide * dic_per_alkalinity(ph_total=ph, **water) / dic

    assert 0.0 < moved(1e-3, 8.8, **water).max() < most
    assert moved(2e-3, 8.3, salinity=36.0, temperature_c=28.0) < 1e-4
