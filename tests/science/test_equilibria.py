"""Equilibrium constants against the values printed with them."""

import numpy as np
import pytest

from service.science import equilibria
from service.science.carbonate import equilibria_at

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
