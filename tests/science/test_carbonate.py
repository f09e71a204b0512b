"""The carbonate system: an independent program's values, round robins over every pair, conservation."""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.science import carbonate
from service.science.carbonate import PairError, carbonate_system, covered, equilibria_at, ph_total_from_nbs
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}
PAIRS = list(combinations(["alkalinity_mol_kg", "ph_total", "dic_mol_kg", "pco2_atm"], 2))
EIGHT_DKH = convert(8.0, unit="dKH", to="mol/kg", **SEAWATER)

waters = st.fixed_dictionaries({"salinity": st.floats(28.0, 40.0), "temperature_c": st.floats(10.0, 32.0)})
alkalinities = st.floats(1000e-6, 14000e-6)
phs = st.floats(6.0, 8.8)


def nbs(ph_nbs: float) -> float:
    return float(ph_total_from_nbs(ph_nbs=ph_nbs, **SEAWATER))


def test_a_titration_and_a_probe_give_the_whole_system(check) -> None:
    """Values computed with PyCO2SYS 1.8.3.4 (Humphreys et al. 2022)."""
    assert check("carb-15") == nbs(8.1)
    state = carbonate_system(alkalinity_mol_kg=2300e-6, ph_total=nbs(8.1), **SEAWATER)
    assert check("carb-14") == state.dic_mol_kg * 1e6
    assert check("carb-16") == state.omega_aragonite
    assert check("carb-19") == state.pco2_atm * 1e6


def test_limewater_dosed_at_once_lifts_ph(check) -> None:
    tank = carbonate_system(alkalinity_mol_kg=EIGHT_DKH, ph_total=nbs(8.1), **SEAWATER)
    gained = convert(5 * 2 * 20.3 / 1000, unit="meq/L", to="mol/kg", **SEAWATER)
    after = carbonate_system(alkalinity_mol_kg=EIGHT_DKH + gained, dic_mol_kg=tank.dic_mol_kg, **SEAWATER)
    assert check("lime-03") == after.ph_nbs


def test_how_much_carbon_dioxide_brings_ph_down(check) -> None:
    before, after = (carbonate_system(alkalinity_mol_kg=EIGHT_DKH, ph_total=nbs(ph), **SEAWATER) for ph in (8.1, 7.8))
    assert check("haz-01") == (after.dic_mol_kg - before.dic_mol_kg) * 1e3


def test_a_tank_full_of_gas_has_a_lowest_ph(check) -> None:
    assert check("haz-03") == carbonate_system(alkalinity_mol_kg=EIGHT_DKH, pco2_atm=1.0, **SEAWATER).ph_nbs


def test_a_reactors_chamber_balances(check) -> None:
    """The worked chamber: 8 dKH pH 8.1 in, 25 dKH pH 6.6 out; mol per kilogram throughout."""
    out_alkalinity = convert(25.0, unit="dKH", to="mol/kg", **SEAWATER)
    tank = carbonate_system(alkalinity_mol_kg=EIGHT_DKH, ph_total=nbs(8.1), **SEAWATER)
    dissolved = (out_alkalinity - EIGHT_DKH) / 2
    calcium = carbonate.seawater.total_calcium_riley1967(salinity=35.0) + dissolved
    effluent = carbonate_system(alkalinity_mol_kg=out_alkalinity, ph_total=nbs(6.6), calcium_mol_kg=calcium, **SEAWATER)
    added = effluent.dic_mol_kg - tank.dic_mol_kg - dissolved
    slope = carbonate.dic_per_alkalinity(ph_total=nbs(8.1), **SEAWATER)
    assert check("react-01") == dissolved * 1e3
    assert check("react-02") == added * 1e3
    assert check("react-03") == effluent.omega_aragonite
    assert check("react-07") == (added + dissolved - 2 * slope * dissolved) * 1e3


@settings(derandomize=True, max_examples=150, deadline=None)
@given(waters, alkalinities, phs, st.floats(0.0, 5.0))
def test_every_pair_gives_the_same_system(water: dict[str, float], alkalinity: float, ph: float, boron: float) -> None:
    first = carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=ph, boron_factor=boron, **water)
    if first.dic_mol_kg <= 0.0:  # more boron than alkalinity: no such water
        return
    for pair in PAIRS:
        known = {name: getattr(first, name) for name in pair}
        again = carbonate_system(boron_factor=boron, **known, **water)
        assert again.ph_total == pytest.approx(first.ph_total, abs=2e-9), pair
        for name in ("alkalinity_mol_kg", "dic_mol_kg", "pco2_atm", "omega_aragonite", "carbonate_mol_kg"):
            assert getattr(again, name) == pytest.approx(getattr(first, name), rel=1e-8), (pair, name)


@settings(derandomize=True, max_examples=150, deadline=None)
@given(waters, alkalinities, phs)
def test_species_add_up(water: dict[str, float], alkalinity: float, ph: float) -> None:
    state = carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=ph, **water)
    k = equilibria_at(**water)
    h = 10.0**-ph
    total = state.co2_mol_kg + state.bicarbonate_mol_kg + state.carbonate_mol_kg
    assert total == pytest.approx(state.dic_mol_kg, rel=1e-14)
    free = h / k.free_to_total
    borate = k.borate_mol_kg * k.kb / (k.kb + h)
    acids = free + k.sulphate_mol_kg * free / (free + k.ks) + k.fluoride_mol_kg * free / (free + k.kf)
    charge = state.bicarbonate_mol_kg + 2 * state.carbonate_mol_kg + borate + k.kw / h - acids
    assert charge == pytest.approx(alkalinity, rel=1e-12)
    assert state.bicarbonate_mol_kg * h / state.co2_mol_kg == pytest.approx(k.k1, rel=1e-12)
    assert state.carbonate_mol_kg * h / state.bicarbonate_mol_kg == pytest.approx(k.k2, rel=1e-12)
    assert state.omega_aragonite < state.omega_calcite


@settings(derandomize=True, max_examples=100, deadline=None)
@given(waters, alkalinities, phs)
def test_carbon_bound_at_constant_ph_is_the_slope_of_the_system(
    water: dict[str, float], alkalinity: float, ph: float
) -> None:
    more, less = (carbonate_system(alkalinity_mol_kg=alkalinity + d, ph_total=ph, **water) for d in (1e-4, -1e-4))
    slope = (more.dic_mol_kg - less.dic_mol_kg) / 2e-4
    assert carbonate.dic_per_alkalinity(ph_total=ph, **water) == pytest.approx(slope, rel=1e-9)


@settings(derandomize=True, max_examples=50, deadline=None)
@given(waters, phs)
def test_ph_scales_undo_each_other(water: dict[str, float], ph: float) -> None:
    there = carbonate.ph_nbs_from_total(ph_total=ph, **water)
    assert carbonate.ph_total_from_nbs(ph_nbs=there, **water) == pytest.approx(ph, abs=2e-15)


@pytest.mark.parametrize(("ph", "held", "in_air"), [(8.0, 1.06, 1.83), (8.1, 1.28, 2.16)])
def test_how_omega_rises_with_alkalinity(ph: float, held: float, in_air: float) -> None:
    """A meq/L more at S 35, 25 C: with pH (NBS) held, and where pH follows the air (pCO2 stays)."""
    alkalinity = np.array([2.85, 2.86]) / 1023.34
    fixed = carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=nbs(ph), **SEAWATER)
    free = carbonate_system(alkalinity_mol_kg=alkalinity, pco2_atm=fixed.pco2_atm[0], **SEAWATER)
    rises = [float(np.diff(each.omega_aragonite)[0]) * 100.0 for each in (fixed, free)]
    assert rises == pytest.approx([held, in_air], abs=0.006)


def test_more_boron_leaves_less_carbon() -> None:
    """At 8 dKH and pH 8.1: DIC 2570, 2497, 2425 umol/kg with none, once and twice the boron."""
    found = [
        carbonate_system(alkalinity_mol_kg=EIGHT_DKH, ph_total=nbs(8.1), boron_factor=factor, **SEAWATER).dic_mol_kg
        for factor in (0.0, 1.0, 2.0)
    ]
    assert np.array(found) * 1e6 == pytest.approx([2570, 2497.5, 2425], abs=1)


@pytest.mark.parametrize("names", [(), ("ph_total",), ("ph_total", "dic_mol_kg", "pco2_atm")])
def test_not_two_is_refused(names: tuple[str, ...]) -> None:
    values = {"ph_total": 8.0, "dic_mol_kg": 2e-3, "pco2_atm": 4e-4}
    with pytest.raises(PairError, match="exactly two"):
        carbonate_system(**SEAWATER, **{name: values[name] for name in names})


def test_water_that_cannot_be_is_not_a_number() -> None:
    """Carbon dioxide beyond all inorganic carbon, or an alkalinity no pH between 3 and 12 gives."""
    impossible = carbonate_system(dic_mol_kg=np.array([2e-3, 1e-6]), pco2_atm=np.array([4e-4, 4e-4]), **SEAWATER)
    assert np.isnan(impossible.ph_total).tolist() == [False, True]
    alkaline = carbonate_system(
        alkalinity_mol_kg=np.array([2e-3, 1.0]), dic_mol_kg=np.array([1.8e-3, 1e-6]), **SEAWATER
    )
    assert np.isnan(alkaline.ph_total).tolist() == [False, True]
    unknown = carbonate_system(alkalinity_mol_kg=np.array([2e-3, np.nan]), dic_mol_kg=1.8e-3, **SEAWATER)
    assert np.isnan(unknown.omega_aragonite).tolist() == [False, True]


def test_inputs_broadcast_and_every_field_has_one_shape() -> None:
    state = carbonate_system(
        alkalinity_mol_kg=np.full((3, 1), 2.3e-3), ph_total=np.linspace(7.5, 8.2, 4), salinity=35.0, temperature_c=25.0
    )
    assert {np.shape(getattr(state, field)) for field in state.__slots__} == {(3, 4)}


def test_the_covered_range_ends_where_it_says() -> None:
    inside = {"salinity": 35.0, "temperature_c": 25.0, "alkalinity_mol_kg": 2.3e-3, "ph_total": 8.0}
    assert covered(**inside)
    for name, beyond in [("salinity", 41.0), ("temperature_c", 9.0), ("alkalinity_mol_kg", 15e-3), ("ph_total", 5.9)]:
        assert not covered(**{**inside, name: beyond})


def table(reference: Path) -> dict[str, np.ndarray]:
    with (reference / "carbonate_system.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def assert_agrees(found: carbonate.CarbonateState, expected: dict[str, np.ndarray], within: float) -> None:
    compared = {
        "alkalinity_umol_kg": found.alkalinity_mol_kg * 1e6,
        "dic_umol_kg": found.dic_mol_kg * 1e6,
        "pco2_uatm": found.pco2_atm * 1e6,
        "fco2_uatm": found.fco2_atm * 1e6,
        "co2_umol_kg": found.co2_mol_kg * 1e6,
        "bicarbonate_umol_kg": found.bicarbonate_mol_kg * 1e6,
        "carbonate_umol_kg": found.carbonate_mol_kg * 1e6,
        "omega_aragonite": found.omega_aragonite,
        "omega_calcite": found.omega_calcite,
    }
    for name, value in compared.items():
        assert np.max(np.abs(value / expected[name] - 1.0)) < within, name
    assert np.max(np.abs(found.ph_total - expected["ph_total"])) < within
    assert np.max(np.abs(found.ph_nbs - expected["ph_nbs"])) < within


def from_pair(pair: tuple[str, str], expected: dict[str, np.ndarray]) -> carbonate.CarbonateState:
    inputs = {
        "alkalinity_mol_kg": expected["alkalinity_umol_kg"] * 1e-6,
        "dic_mol_kg": expected["dic_umol_kg"] * 1e-6,
        "pco2_atm": expected["pco2_uatm"] * 1e-6,
        "ph_total": expected["ph_total"],
    }
    water = {"salinity": expected["salinity"], "temperature_c": expected["temperature_c"]}
    return carbonate_system(**{name: inputs[name] for name in pair}, **water)


@pytest.mark.parametrize("pair", PAIRS)
def test_the_covered_range_agrees_with_an_independent_program(reference: Path, pair: tuple[str, str]) -> None:
    """shared/reference/carbonate_system.csv, made with PyCO2SYS 1.8.3.4; its README holds the script."""
    expected = table(reference)
    assert len(expected["salinity"]) >= 300
    assert_agrees(from_pair(pair, expected), expected, within=1e-6)


def test_ph_scales_agree_with_an_independent_program(reference: Path) -> None:
    """The Takahashi fH and both hydrogen scales, through the table's pH in NBS buffers."""
    expected = table(reference)
    water = {"salinity": expected["salinity"], "temperature_c": expected["temperature_c"]}
    found = ph_total_from_nbs(ph_nbs=expected["ph_nbs"], **water)
    assert np.max(np.abs(found - expected["ph_total"])) < 1e-8


def test_hydrogen_fluoride_agrees_with_an_independent_program(reference: Path) -> None:
    expected = table(reference)
    k = equilibria_at(salinity=expected["salinity"], temperature_c=expected["temperature_c"])
    assert np.max(np.abs(k.kf / expected["k_fluoride"] - 1)) < 1e-8


def test_the_ion_product_of_water_agrees_with_an_independent_program(reference: Path) -> None:
    """On the total scale, as the system uses it."""
    expected = table(reference)
    k = equilibria_at(salinity=expected["salinity"], temperature_c=expected["temperature_c"])
    assert np.max(np.abs(k.kw / expected["k_water"] - 1)) < 1e-8


@pytest.mark.oracles
@pytest.mark.filterwarnings("ignore")  # the reference program's own warnings are not ours to mend
def test_the_whole_covered_grid_agrees_with_the_live_program() -> None:
    """PyCO2SYS 1.8 (Humphreys et al. 2022): Lueker 2000, Uppstrom 1974, Dickson 1990, Dickson & Riley 1979."""
    pyco2 = pytest.importorskip("PyCO2SYS")
    salinity, temperature_c, alkalinity, ph = (
        axis.ravel()
        for axis in np.meshgrid(
            np.linspace(28.0, 40.0, 7),
            np.linspace(10.0, 32.0, 12),
            np.array([1000.0, 1500.0, 2000.0, 2300.0, 2800.0, 4000.0, 6000.0, 8000.0, 10_000.0, 14_000.0]),
            np.linspace(6.0, 8.8, 15),
            indexing="ij",
        )
    )
    water = {"salinity": salinity, "temperature": temperature_c}
    choices = {"opt_k_carbonic": 10, "opt_total_borate": 1, "opt_k_fluoride": 1, "opt_k_bisulfate": 1}
    result = pyco2.sys(par1=alkalinity, par2=ph, par1_type=1, par2_type=3, opt_pH_scale=1, **water, **choices)
    expected = {
        "salinity": salinity,
        "temperature_c": temperature_c,
        "alkalinity_umol_kg": alkalinity,
        "dic_umol_kg": result["dic"],
        "pco2_uatm": result["pCO2"],
        "fco2_uatm": result["fCO2"],
        "co2_umol_kg": result["CO2"],
        "bicarbonate_umol_kg": result["HCO3"],
        "carbonate_umol_kg": result["CO3"],
        "omega_aragonite": result["saturation_aragonite"],
        "omega_calcite": result["saturation_calcite"],
        "ph_total": ph,
        "ph_nbs": result["pH_nbs"],
    }
    possible = result["dic"] > 0.0
    assert np.mean(possible) > 0.99
    expected = {name: value[possible] for name, value in expected.items()}
    for pair in PAIRS:
        found = from_pair(pair, expected)
        worst = np.max(np.abs(found.dic_mol_kg * 1e6 / expected["dic_umol_kg"] - 1))
        print(f"{' + '.join(pair)}: DIC within {worst:.1e}")
        assert_agrees(found, expected, within=2e-4)
