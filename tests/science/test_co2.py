"""Carbon dioxide in cylinders: printed values, open tables, and the full reference equation."""

import csv

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science import co2, constants

BOTTLE_L = 4.5 / 0.68
"""Water capacity of the worked 4.5 kg cylinder, filled to 0.68 kg/L (49 CFR 173.304a)."""


def test_saturation_is_as_printed(check) -> None:
    """Span & Wagner 1996, through a university table of it; 20 and 25 C from its full equation by CoolProp 8.0.0."""
    assert check("co2-01") == co2.saturation_pressure_bar(temperature_c=0.0) / 10.0
    assert check("co2-03") == co2.saturated_vapour_kg_m3(temperature_c=0.0)
    assert check("co2-04") == co2.saturated_liquid_kg_m3(temperature_c=0.0)
    assert check("co2-05") == co2.saturation_pressure_bar(temperature_c=25.0)
    assert check("co2-07") == co2.saturated_vapour_kg_m3(temperature_c=20.0)
    assert check("co2-08") == co2.thin_gas_kg_m3(temperature_c=20.0)
    assert check("co2-10") == co2.liquid_gone_mass_kg(water_capacity_l=BOTTLE_L, temperature_c=20.0)
    assert check("co2-12") == constants.CO2_CRITICAL_K
    assert check("co2-13") == 100.0 * constants.HIGHEST_FILL_KG_L


def test_the_line_ends_at_the_critical_point() -> None:
    """Pressure and both densities meet the critical values; beyond there is no line."""
    near = co2.CRITICAL_TEMPERATURE_C - 1e-6
    assert co2.saturation_pressure_bar(temperature_c=near) == pytest.approx(constants.CO2_CRITICAL_BAR, rel=1e-6)
    liquid, vapour = co2.saturated_liquid_kg_m3(temperature_c=near), co2.saturated_vapour_kg_m3(temperature_c=near)
    assert liquid == pytest.approx(constants.CO2_CRITICAL_KG_M3, rel=5e-3)
    assert vapour == pytest.approx(constants.CO2_CRITICAL_KG_M3, rel=5e-3)
    for curve in (co2.saturation_pressure_bar, co2.saturated_liquid_kg_m3, co2.saturated_vapour_kg_m3):
        assert np.isnan(curve(temperature_c=np.array([31.0, 40.0, -57.0]))).all()


def rows_of(path) -> dict[str, np.ndarray]:
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def assert_on_the_line(table: dict[str, np.ndarray]) -> None:
    celsius = table["temperature_c"]
    warm = celsius <= 30.0
    for name, found in {
        "pressure_bar": co2.saturation_pressure_bar(temperature_c=celsius),
        "liquid_kg_m3": co2.saturated_liquid_kg_m3(temperature_c=celsius),
        "vapour_kg_m3": co2.saturated_vapour_kg_m3(temperature_c=celsius),
    }.items():
        error = np.abs(found / table[name] - 1.0)
        print(f"{name}: {100 * error[warm].max():.4f} % to 30 C, {100 * error.max():.3f} % to {celsius.max()} C")
        assert error[warm].max() < 3e-4, name
        assert error.max() < 1e-2, name
    gone = co2.liquid_gone_mass_kg(water_capacity_l=1000.0, temperature_c=celsius[warm])
    assert np.abs(gone / table["vapour_kg_m3"][warm] - 1.0).max() < 5e-3


def test_saturation_follows_the_full_equation(reference) -> None:
    """shared/reference/co2_saturation.csv: Span & Wagner's full equation, evaluated by CoolProp 8.0.0."""
    table = rows_of(reference / "co2_saturation.csv")
    assert len(table["temperature_c"]) > 50
    assert_on_the_line(table)


def test_gas_density_follows_the_full_equation(reference) -> None:
    """shared/reference/co2_gas.csv, 10-50 C, 1-100 bar, by CoolProp 8.0.0: within the error each density states."""
    table = rows_of(reference / "co2_gas.csv")
    found = co2.gas_density(temperature_c=table["temperature_c"], pressure_bar=table["pressure_bar"])
    error = np.abs(found.density_kg_m3 / table["density_kg_m3"] - 1.0)
    assert np.isfinite(error).all()
    assert np.all(error <= found.relative_error)
    everyday = (table["temperature_c"] <= 40.0) & (table["pressure_bar"] <= 60.0)
    print(f"gas density, 10-40 C, 1-60 bar: {100 * error[everyday].max():.2f} %; all {100 * error.max():.1f} %")
    assert error[everyday].max() < 0.03
    assert np.count_nonzero(~(found.relative_error < 0.1)) > 10, "the widened region must be in the table"


def test_thin_gas_follows_the_full_equation(reference) -> None:
    """The same table to 2 bar, 10-40 C: the virial coefficient of Weiss 1974 holds to 2 in 10,000."""
    table = rows_of(reference / "co2_gas.csv")
    thin = (table["pressure_bar"] <= 2.0) & (table["temperature_c"] <= 40.0)
    assert np.count_nonzero(thin) >= 16
    celsius, bar, density = (table[name][thin] for name in ("temperature_c", "pressure_bar", "density_kg_m3"))
    assert co2.thin_gas_kg_m3(temperature_c=celsius, pressure_bar=bar) == pytest.approx(density, rel=2e-4)


def test_the_open_table_agrees(open_data) -> None:
    """../shared/data/co2-saturation: a second table of the same equation, -20 to 30 C each degree."""
    with open_data("co2-saturation/co2_saturation_coolprop.csv").open(newline="", encoding="utf-8") as file:
        rows = [{name: float(value) for name, value in row.items()} for row in csv.DictReader(file)]
    assert len(rows) == 51
    celsius = np.array([row["t_C"] for row in rows])
    assert co2.saturation_pressure_bar(temperature_c=celsius) == pytest.approx(
        np.array([row["p_sat_Pa"] for row in rows]) / 1e5, rel=3e-4
    )
    assert co2.saturated_liquid_kg_m3(temperature_c=celsius) == pytest.approx(
        np.array([row["rho_liq_kg_m3"] for row in rows]), rel=3e-4
    )
    assert co2.saturated_vapour_kg_m3(temperature_c=celsius) == pytest.approx(
        np.array([row["rho_vap_kg_m3"] for row in rows]), rel=3e-4
    )


def test_independent_correlations_agree(open_data) -> None:
    """Coefficients of the VDI heat atlas, Perry's handbook and McGarry 1983, not fitted to Span & Wagner."""
    path = open_data("co2-saturation/chemicals_co2_correlation_rows.tsv")
    lines = path.read_text(encoding="utf-8").splitlines()
    coefficients = {
        lines[i].split("/")[-1].removesuffix(".tsv"): np.array([float(x) for x in lines[i + 2].split("\t")[2:]])
        for i in range(0, len(lines), 3)
    }
    celsius = np.linspace(-20.0, 30.0, 51)
    t = celsius + 273.15
    pressure = co2.saturation_pressure_bar(temperature_c=celsius) * 1e5
    _, tc, pc, a, b, c, d = coefficients["VDI PPDS Boiling temperatures at different pressures"]
    h = 1.0 - t / tc
    vdi = pc * np.exp((a * h + b * h**1.5 + c * h**2.5 + d * h**5) / (1.0 - h))
    assert vdi == pytest.approx(pressure, rel=5e-4)
    a, b, c, d, pc, tc, _ = coefficients["Wagner Original McGarry"]
    h = 1.0 - t / tc
    assert pc * np.exp((a * h + b * h**1.5 + c * h**3 + d * h**6) / (1.0 - h)) == pytest.approx(pressure, rel=2e-3)
    _, tc, rhoc, a, b, c, d = coefficients["VDI PPDS Density of Saturated Liquids"]
    h = 1.0 - t / tc
    liquid = rhoc + a * h**0.35 + b * h ** (2 / 3) + c * h + d * h ** (4 / 3)
    assert liquid == pytest.approx(co2.saturated_liquid_kg_m3(temperature_c=celsius), rel=3e-3)


@pytest.mark.oracles
def test_the_installed_reference_equation_agrees() -> None:
    """CoolProp live: saturation to 30 C, gas 10-40 C and 1-60 bar, thin gas to 3 bar, one-phase temperatures."""
    from CoolProp.CoolProp import PropsSI

    celsius = np.linspace(-20.0, 30.9, 200)
    t = celsius + 273.15
    assert_on_the_line(
        {
            "temperature_c": celsius,
            "pressure_bar": PropsSI("P", "T", t, "Q", 0, "CO2") / 1e5,
            "liquid_kg_m3": PropsSI("D", "T", t, "Q", 0, "CO2"),
            "vapour_kg_m3": PropsSI("D", "T", t, "Q", 1, "CO2"),
        }
    )
    worst = 0.0
    for warm in np.arange(10.0, 40.1, 2.5):
        saturation = co2.saturation_pressure_bar(temperature_c=warm)
        bars = np.linspace(1.0, min(60.0, 0.999 * saturation) if saturation > 0 else 60.0, 60)
        theirs = np.array([PropsSI("D", "T", warm + 273.15, "P", bar * 1e5, "CO2") for bar in bars])
        found = co2.gas_density(temperature_c=warm, pressure_bar=bars).density_kg_m3
        worst = max(worst, np.abs(found / theirs - 1).max())
    print(f"Peng-Robinson, 10-40 C, 1-60 bar: {100 * worst:.2f} %")
    assert worst < 0.03
    for warm, bar in [(0.0, 1.01325), (20.0, 1.01325), (40.0, 1.0), (25.0, 3.0), (10.0, 3.0)]:
        theirs = PropsSI("D", "T", warm + 273.15, "P", bar * 1e5, "CO2")
        assert co2.thin_gas_kg_m3(temperature_c=warm, pressure_bar=bar) == pytest.approx(theirs, rel=1e-3)
    for fill in (0.60, 0.68, 0.75, 0.76):
        theirs = PropsSI("T", "D", fill * 1000, "Q", 0, "CO2") - 273.15
        assert co2.one_phase_above_c(fill_kg_l=fill) == pytest.approx(theirs, abs=0.1)


def test_what_is_left_when_the_liquid_goes() -> None:
    """Worked fractions of a 0.68 fill by the full equation: 24, 29, 36, 51 % at 15, 20, 25, 30 C."""
    left = co2.liquid_gone_mass_kg(water_capacity_l=BOTTLE_L, temperature_c=np.array([15.0, 20.0, 25.0, 30.0])) / 4.5
    assert left == pytest.approx([0.236, 0.286, 0.357, 0.507], abs=0.001)
    nine = co2.liquid_gone_mass_kg(water_capacity_l=9 / 0.68, temperature_c=np.array([10.0, 22.0, 28.0]))
    assert nine == pytest.approx([1.79, 2.79, 3.83], abs=0.01)


def test_gas_left_by_pressure() -> None:
    """Worked by Peng-Robinson: 0.950, 0.444, 0.127 kg in the 4.5 kg cylinder at 50, 30, 10 bar absolute, 20 C."""
    found = co2.contents_by_pressure(
        pressure_bar=np.array([50.0, 30.0, 10.0]), pressure_error_bar=0.0, water_capacity_l=BOTTLE_L, charge_kg=4.5,
        lowest_temperature_c=20.0, highest_temperature_c=20.0,
    )  # fmt: skip
    assert found.mass_kg == pytest.approx([0.950, 0.444, 0.127], abs=0.001)
    assert not found.may_hold_liquid.any()
    # By the full equation 0.931, 0.438, 0.126: inside the stated bounds.
    assert np.all((found.low_kg < [0.931, 0.438, 0.126]) & (found.high_kg > [0.931, 0.438, 0.126]))


def test_a_warmer_room_makes_a_pressure_say_less() -> None:
    """At 52 bar a cylinder at 15 C may be full, at 20-25 C it holds gas alone; above 31 C no liquid can hide."""
    ask = {"pressure_bar": 52.0, "pressure_error_bar": 0.5, "water_capacity_l": BOTTLE_L, "charge_kg": 4.5}
    cold = co2.contents_by_pressure(**ask, lowest_temperature_c=15.0, highest_temperature_c=25.0)
    assert (cold.may_hold_liquid, cold.high_kg, np.isnan(cold.mass_kg)) == (True, 4.5, True)
    mild = co2.contents_by_pressure(**ask, lowest_temperature_c=20.0, highest_temperature_c=25.0)
    assert not mild.may_hold_liquid
    assert mild.low_kg < mild.mass_kg < mild.high_kg < 1.2
    hot = co2.contents_by_pressure(**ask, lowest_temperature_c=32.0, highest_temperature_c=35.0)
    assert not hot.may_hold_liquid
    ask["pressure_bar"] = 57.3
    settled = co2.contents_by_pressure(**ask, lowest_temperature_c=20.0, highest_temperature_c=20.0)
    assert settled.low_kg <= co2.liquid_gone_mass_kg(water_capacity_l=BOTTLE_L, temperature_c=20.0)


def test_hot_cylinders_are_one_phase() -> None:
    """A 0.68 fill above 26.8 C, 0.75 and 0.76 above 22.1 and 21.2 C; no pressure is made up there."""
    assert co2.one_phase_above_c(fill_kg_l=np.array([0.68, 0.75, 0.76])) == pytest.approx([26.8, 22.1, 21.2], abs=0.1)
    contents = co2.contents_by_mass(
        mass_kg=4.5, water_capacity_l=BOTTLE_L, temperature_c=np.array([20.0, 26.0, 28.0, 35.0])
    )
    assert contents.has_liquid.tolist() == [True, True, False, False]
    assert not contents.is_gas.any()
    assert np.isnan(contents.pressure_bar).tolist() == [False, False, True, True]
    assert np.isnan(contents.liquid_gone_mass_kg).tolist() == [False, False, False, True]


def test_above_the_critical_temperature_pressure_is_a_weak_function_of_mass() -> None:
    """The 4.5 kg cylinder at 35 C by the full equation: 70.8 bar with 1.5 kg, 58.3 with 1.0 kg."""
    found = co2.contents_by_mass(mass_kg=np.array([1.5, 1.0]), water_capacity_l=BOTTLE_L, temperature_c=35.0)
    assert found.pressure_bar == pytest.approx([70.8, 58.3], rel=0.03)
    assert found.is_gas.all()
    assert np.isnan(found.liquid_gone_mass_kg).all()


@settings(derandomize=True, max_examples=150, deadline=None)
@given(st.floats(0.02, 6.4), st.floats(0.0, 30.5))
def test_liquid_and_vapour_are_the_whole(mass: float, celsius: float) -> None:
    """Mass and volume of the two phases add up to the cylinder's."""
    found = co2.contents_by_mass(mass_kg=mass, water_capacity_l=10.0, temperature_c=celsius)
    assert found.is_gas == (mass <= found.liquid_gone_mass_kg)
    if not found.has_liquid:
        assert found.liquid_kg == 0.0
        assert found.is_gas or mass >= 0.010 * co2.saturated_liquid_kg_m3(temperature_c=celsius)
        return
    assert found.liquid_kg + found.vapour_kg == pytest.approx(mass, rel=1e-12)
    liquid = co2.saturated_liquid_kg_m3(temperature_c=celsius)
    vapour = co2.saturated_vapour_kg_m3(temperature_c=celsius)
    assert found.liquid_kg / liquid + found.vapour_kg / vapour == pytest.approx(0.010, rel=1e-9)
    assert mass > found.liquid_gone_mass_kg


@settings(derandomize=True, max_examples=150, deadline=None)
@given(st.floats(10.0, 45.0), st.floats(1.0, 70.0))
def test_pressure_and_density_undo_each_other(celsius: float, bar: float) -> None:
    density = co2.gas_density(temperature_c=celsius, pressure_bar=bar).density_kg_m3
    if np.isnan(density):
        assert bar > co2.saturation_pressure_bar(temperature_c=celsius)
    elif density <= co2.DENSEST_GAS_KG_M3:
        assert co2.gas_pressure_bar(temperature_c=celsius, density_kg_m3=density) == pytest.approx(bar, rel=1e-9)


def test_what_is_too_dense_is_refused() -> None:
    refused = co2.gas_density(temperature_c=np.array([20.0, 40.0, 60.0]), pressure_bar=np.array([60.0, 120.0, 20.0]))
    assert np.isnan(refused.density_kg_m3).all()
    assert np.isnan(refused.relative_error).all()


def test_a_range_of_temperature_widens_the_mass_at_which_liquid_goes() -> None:
    one = co2.liquid_gone_in_range(water_capacity_l=BOTTLE_L, lowest_temperature_c=18.0, highest_temperature_c=26.0)
    ends = co2.liquid_gone_mass_kg(water_capacity_l=BOTTLE_L, temperature_c=np.array([18.0, 26.0]))
    assert one.mass_kg == pytest.approx(ends.mean())
    assert one.sd_kg == pytest.approx(np.ptp(ends) / np.sqrt(12))
    hot = co2.liquid_gone_in_range(water_capacity_l=BOTTLE_L, lowest_temperature_c=18.0, highest_temperature_c=33.0)
    assert np.isnan(hot.mass_kg)
