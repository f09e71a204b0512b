"""Seawater against the international check values and TEOS-10."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science import seawater

IPTS68 = 1.00024
"""t68 = 1.00024 t90 (UNESCO 44 is on IPTS-68)."""
CONDUCTIVITY_OF_STANDARD_SEAWATER = 42.9140
"""C(35, 15 C, 0) in mS/cm, the denominator of the conductivity ratio in common use."""


@pytest.mark.parametrize(("row", "salinity", "t68"), [("sw-01", 35.0, 25.0), ("sw-03", 0.0, 5.0), ("sw-04", 0.0, 25.0)])
def test_density_is_the_international_one(check, row: str, salinity: float, t68: float) -> None:
    """Fofonoff & Millard 1983, UNESCO Technical Papers in Marine Science 44, page 19."""
    water = {"salinity": salinity, "temperature_c": t68 / IPTS68}
    assert check(row) == seawater.density(**water)
    assert check(row) == seawater.density_eos80(**water)
    assert seawater.density_eos80(**water) == pytest.approx(check(row).expected, abs=1.1e-5)


def test_density_is_teos10(check) -> None:
    assert check("sw-10") == seawater.density(salinity=35.0, temperature_c=25.0)


@pytest.mark.parametrize(
    ("row", "ratio", "t68", "pressure_dbar"), [("sw-05", 1.0, 15.0, 0.0), ("sw-06", 1.2, 20.0, 2000.0)]
)
def test_salinity_is_the_practical_scales(check, row: str, ratio: float, t68: float, pressure_dbar: float) -> None:
    """Fofonoff & Millard 1983, page 9."""
    found = seawater.salinity_from_conductivity_pss78(
        conductivity_ms_cm=ratio * CONDUCTIVITY_OF_STANDARD_SEAWATER,
        temperature_c=t68 / IPTS68,
        pressure_dbar=pressure_dbar,
    )
    assert check(row) == found


def test_salinity_from_conductivity_is_that_of_teos10(check) -> None:
    found = seawater.salinity_from_conductivity_pss78(
        conductivity_ms_cm=34.5487, temperature_c=28.7856, pressure_dbar=10.0
    )
    assert check("sw-08") == found


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(2.0, 42.0), st.floats(0.0, 35.0))
def test_conductivity_and_salinity_undo_each_other(salinity: float, temperature_c: float) -> None:
    conductivity = seawater.conductivity_pss78(salinity=salinity, temperature_c=temperature_c)
    found = seawater.salinity_from_conductivity_pss78(conductivity_ms_cm=conductivity, temperature_c=temperature_c)
    assert found == pytest.approx(salinity, abs=1e-9)


def test_a_glass_hydrometer_reads_what_density_ratios_say() -> None:
    """S 35 at 25 C reads 1.0264 on a 25/25 scale, 1.0234 on a 25/4 one (ratios of the international densities)."""
    water = {"salinity": 35.0, "temperature_c": 25.0}
    same = seawater.hydrometer_reading(**water, reference_temperature_c=25.0)
    four = seawater.hydrometer_reading(**water, reference_temperature_c=4.0, calibration_temperature_c=25.0)
    assert same == pytest.approx(1.0264, abs=5e-5)
    assert four == pytest.approx(1.0234, abs=5e-5)
    assert seawater.hydrometer_reading(**water, reference_temperature_c=4.0) == four, "no glass is calibrated at 4 C"
    assert same == pytest.approx(1023.34306 / 997.04796, abs=3e-6)  # UNESCO 44, page 19
    # Ten kelvin of glass make 0.00026 of a reading of 1.026 (25e-6 per kelvin).
    warm = seawater.hydrometer_reading(**water, reference_temperature_c=25.0, calibration_temperature_c=15.0)
    assert warm - same == pytest.approx(0.00026, abs=5e-6)


def test_a_hydrometer_gives_salinity(check) -> None:
    found = seawater.salinity_from_hydrometer(specific_gravity=1.0250, temperature_c=25.0, reference_temperature_c=25.0)
    assert check("sw-12") == found


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.floats(0.0, 60.0), st.floats(10.0, 32.0), st.sampled_from([4.0, 15.0, 15.556, 20.0, 25.0]))
def test_the_hydrometer_inversion_undoes_the_reading(salinity: float, temperature_c: float, reference: float) -> None:
    scale = {"temperature_c": temperature_c, "reference_temperature_c": reference, "calibration_temperature_c": 25.0}
    reading = seawater.hydrometer_reading(salinity=salinity, **scale)
    assert seawater.salinity_from_hydrometer(specific_gravity=reading, **scale) == pytest.approx(salinity, abs=1e-9)


def test_a_reading_no_salinity_gives_is_not_a_number() -> None:
    readings = np.array([0.95, 1.0264, 1.5])
    found = seawater.salinity_from_hydrometer(
        specific_gravity=readings, temperature_c=25.0, reference_temperature_c=25.0
    )
    assert np.isnan(found).tolist() == [True, False, True]


def test_totals_are_those_of_their_papers(check) -> None:
    assert check("carb-11") == 1e6 * seawater.total_borate_uppstrom1974(salinity=35.0)
    assert check("carb-12") == 1e6 * seawater.total_calcium_riley1967(salinity=35.0)
    assert seawater.total_borate_uppstrom1974(salinity=35.0, boron_factor=2.0) == pytest.approx(831.4e-6)
    assert seawater.total_sulphate_morris1966(salinity=35.0) == pytest.approx(0.02824, abs=5e-6)  # DICKSON07, table 2
    assert seawater.total_fluoride_riley1965(salinity=35.0) == pytest.approx(0.00007, abs=5e-6)  # DICKSON07, table 2


@pytest.mark.oracles
def test_seawater_agrees_with_the_live_toolbox() -> None:
    """TEOS-10 toolbox on a grid: absolute salinity by its own function far from any anomaly, conductivity back."""
    gsw = pytest.importorskip("gsw")
    salinity, temperature_c = np.meshgrid(np.linspace(0.0, 42.0, 43), np.linspace(0.0, 35.0, 36))
    absolute = gsw.SR_from_SP(salinity)
    expected = gsw.rho_t_exact(absolute, temperature_c, 0.0)
    assert np.max(np.abs(seawater.density(salinity=salinity, temperature_c=temperature_c) - expected)) < 1e-9
    difference = seawater.density_eos80(salinity=salinity, temperature_c=temperature_c) - expected
    print(f"EOS-80 less TEOS-10: {difference.min():.4f} to {difference.max():.4f} kg/m3")
    assert np.max(np.abs(difference)) < 0.01
