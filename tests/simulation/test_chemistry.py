"""The simulator's own chemistry against published constants and an independent library's results."""

import numpy as np
import pytest

from service.simulation import chemistry

UMOL_PER_KG = 1.023343e-3  # mmol/L a umol/kg at S 35, 25 degC


def at(salinity: float = 35.0, temperature_c: float = 25.0) -> chemistry.Constants:
    return chemistry.constants_at(np.array(salinity), np.array(temperature_c))


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        # Dickson, Sabine & Christian (eds.) 2007, Guide to best practices for ocean CO2 measurements, chapter 5: the
        # check values printed with each equation at S 35, 25 degC (mol/kg, total scale)
        ("k1", 10.0**-5.8472),
        ("k2", 10.0**-8.9660),
        ("kb", np.exp(-19.7964)),
    ],
)
def test_constants_of_the_guide(name: str, expected: float) -> None:
    constants = at()
    assert getattr(constants, name) / (1000.0 * constants.density) == pytest.approx(expected, rel=3e-4)


def test_water_and_aragonite() -> None:
    constants = at()
    litre = 1000.0 * constants.density
    # the Guide, as above: ln KW = -30.434
    assert np.log(constants.kw / litre**2) == pytest.approx(-30.434, abs=1e-3)
    # Mucci 1983, Am. J. Sci. 283, 780: pK*sp of aragonite 6.19 at S 35, 25 degC (equation value 6.1883)
    assert -np.log10(constants.aragonite / litre**2) == pytest.approx(6.1883, abs=5e-4)
    # Uppstrom 1974 in the form 0.0004157 S/35 mol/kg
    assert constants.boron / litre == pytest.approx(415.7e-6, abs=5e-8)


@pytest.mark.parametrize(
    ("salinity", "temperature_c", "expected"),
    # EOS-80 (UNESCO Technical Papers in Marine Science 44), kg/m3; S 35, 25 degC is its printed check value
    [(35, 25, 1023.343), (35, 20, 1024.763), (30, 25, 1019.574), (38, 28, 1024.63)],
)
def test_density(salinity: float, temperature_c: float, expected: float) -> None:
    found = 1000.0 * float(chemistry.density(np.array(salinity), np.array(temperature_c)))
    assert found == pytest.approx(expected, abs=0.15)


def test_alkalinity_and_ph_to_carbon_and_back() -> None:
    """PyCO2SYS 1.8.3.4 (Lueker, Uppstrom, Dickson & Riley): TA 2300, pH_NBS 8.1, S 35, 25 degC."""
    constants, alkalinity = at(), np.array(2300 * UMOL_PER_KG)
    hydrogen = chemistry.hydrogen_at(np.array(8.1), constants)
    carbon = chemistry.carbon_at(alkalinity, hydrogen, constants)
    assert carbon / UMOL_PER_KG == pytest.approx(2046.708, rel=1e-3)
    co2, carbonate = chemistry.co2_and_carbonate(carbon, hydrogen, constants)
    assert 1e6 * co2 / constants.co2_per_atm == pytest.approx(500.3, rel=2e-3)
    calcium = np.array(10284.57 * UMOL_PER_KG)
    assert calcium * carbonate / constants.aragonite == pytest.approx(2.914, rel=2e-3)
    assert chemistry.ph_nbs(chemistry.find_hydrogen(alkalinity, carbon, constants), constants) == pytest.approx(8.1)


def test_the_warm_start_finds_what_bisection_finds() -> None:
    constants = at()
    generator = np.random.default_rng(5)
    alkalinity = generator.uniform(1.5, 14.0, 400)
    ph = generator.uniform(6.2, 8.6, 400)
    carbon = chemistry.carbon_at(alkalinity, chemistry.hydrogen_at(ph, constants), constants)
    exact = chemistry.find_hydrogen(alkalinity, carbon, constants)
    near = exact * np.exp(generator.uniform(-0.1, 0.1, 400))  # a large change for one hour: 0.04 pH
    found = chemistry.follow_hydrogen(near, alkalinity, carbon, constants)
    assert np.max(np.abs(np.log10(found / exact))) < 1e-5


@pytest.mark.parametrize(
    ("ph", "expected_dkh"),
    # the ceiling table of a prototype checked with PyCO2SYS (Omega 1.00000002 at its 1 atm point); inflow 8 dKH, Ca of
    # S 35, 25 degC; not a published number
    [(6.4, 52.3), (6.5, 44.8), (6.6, 38.3), (6.8, 27.6), (7.0, 19.5)],
)
def test_ceiling(ph: float, expected_dkh: float) -> None:
    constants = at()
    alkalinity, calcium = np.array(8 * 0.35665), np.array(10284.57 * UMOL_PER_KG)
    ceiling = chemistry.ceiling_alkalinity(
        alkalinity, calcium, chemistry.hydrogen_at(np.array(ph), constants), constants
    )
    assert ceiling / 0.35665 == pytest.approx(expected_dkh, rel=0.01)


@pytest.mark.parametrize("alkalinity", [1.5, 2.85, 9.0, 16.0])
def test_water_at_its_ceiling_is_just_saturated(alkalinity: float) -> None:
    """The definition: aragonite saturation 1 with the calcium that the gained alkalinity brings, from either side."""
    constants, start, calcium = at(), np.array(alkalinity), np.array(10.5)
    hydrogen = chemistry.hydrogen_at(np.array(6.7), constants)
    ceiling = chemistry.ceiling_alkalinity(start, calcium, hydrogen, constants)
    carbon = chemistry.carbon_at(ceiling, hydrogen, constants)
    _, carbonate = chemistry.co2_and_carbonate(carbon, hydrogen, constants)
    assert (calcium + 0.5 * (ceiling - start)) * carbonate / constants.aragonite == pytest.approx(1.0, rel=1e-9)
