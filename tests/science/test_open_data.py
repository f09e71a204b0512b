"""The core against open data that may lie beside the checkout; each test says how close, and skips without the data."""

import csv
import gzip
import json
from itertools import combinations

import numpy as np
import pytest

from service.science import equilibria
from service.science.carbonate import CarbonateState, carbonate_system, equilibria_at

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}


def column(rows: list[dict[str, str]], name: str) -> np.ndarray:
    """A column as numbers; blank and the release's -999 become NaN."""
    values = np.array([float(row[name]) if row[name] else np.nan for row in rows])
    return np.where(values == -999.0, np.nan, values)


def test_constants_are_the_published_check_values(open_data) -> None:
    """PalaeoCarb/Kgen check_values/check_Ks.json: ln K at S 35, 25 C after Dickson et al. 2007 and Zeebe 2001."""
    printed = json.loads(open_data("kgen-check-values/check_Ks.json").read_text(encoding="utf-8"))["check_values"]
    ours = {
        "K0": equilibria.k0_weiss1974,
        "K1": equilibria.k1_lueker2000,
        "K2": equilibria.k2_lueker2000,
        "KB": equilibria.kb_dickson1990,
        "KspA": equilibria.ksp_aragonite_mucci1983,
        "KspC": equilibria.ksp_calcite_mucci1983,
    }
    for name, function in ours.items():
        assert np.log(function(**SEAWATER)) == pytest.approx(printed[name], abs=1e-4), name
    assert np.log(equilibria.ks_dickson1990(**SEAWATER)) == pytest.approx(printed["KS"], abs=0.005)
    assert np.log(equilibria.kf_perez_fraga1987(**SEAWATER)) == pytest.approx(printed["KF"], abs=0.005)
    assert np.log(equilibria.kw_dickson2007(**SEAWATER)) == pytest.approx(printed["KW"], abs=0.001)
    # The system's own KW is the paper's seawater-scale form converted: known to differ by 0.007 here.
    assert np.log(equilibria_at(**SEAWATER).kw) == pytest.approx(printed["KW"], abs=0.01)


def test_solubility_is_the_printed_table(open_data) -> None:
    """Weiss 1974, table III: K0 in 1e-2 mol/(kg atm), every entry to its last digit."""
    lines = open_data("pyco2sys-reference-tables/weiss1974_tableIII.csv").read_text(encoding="utf-8").splitlines()
    salinities = [float(cell) for cell in lines[0].split(",")[1:]]
    compared = 0
    for line in lines[1:]:
        celsius, *cells = line.split(",")
        for salinity, cell in zip(salinities, cells, strict=True):
            if cell:
                found = 100 * equilibria.k0_weiss1974(salinity=salinity, temperature_c=float(celsius))
                assert found == pytest.approx(float(cell), abs=0.00051), (salinity, celsius)
                compared += 1
    assert compared > 200


def test_every_input_pair_of_another_packages_test_state_agrees(open_data) -> None:
    """seacarb's test state (S 35, 20 C). Its constants are not stated: 0.5 % in concentrations, 2 % in pCO2."""
    with gzip.open(open_data("seacarb-test-data/seacarb_test_P0.txt.gz"), "rt", encoding="utf-8") as file:
        names, *rows = [line.split() for line in file if line.strip()]
    flags = {int(row[0]): dict(zip(names[1:], map(float, row[1:]), strict=True)) for row in rows}
    water = {"salinity": 35.0, "temperature_c": 20.0}
    pairs = {
        8: ("ph_total", "alkalinity_mol_kg"),
        9: ("ph_total", "dic_mol_kg"),
        15: ("alkalinity_mol_kg", "dic_mol_kg"),
        21: ("pco2_atm", "ph_total"),
        24: ("pco2_atm", "alkalinity_mol_kg"),
        25: ("pco2_atm", "dic_mol_kg"),
    }
    for flag, (first, second) in pairs.items():
        scale = 1e-6 if first == "pco2_atm" else 1.0
        state = carbonate_system(**{first: flags[flag]["var1"] * scale, second: flags[flag]["var2"]}, **water)
        assert state.ph_total == pytest.approx(8.255611, abs=0.008), flag
        assert state.alkalinity_mol_kg == pytest.approx(2400e-6, rel=0.005), flag
        assert state.dic_mol_kg == pytest.approx(2000e-6, rel=0.005), flag
        assert state.pco2_atm == pytest.approx(229.5277e-6, rel=0.02), flag


def test_certified_reference_materials_go_round(open_data) -> None:
    """Certified alkalinity, carbon and salinity of 200 batches of reference seawater: credible pH, and back again."""
    with open_data("dickson-crm/dickson_crm_batches.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    salinity, carbon, alkalinity = (column(rows, name) for name in ("salinity", "dic", "alkalinity"))
    whole = np.isfinite(salinity) & np.isfinite(carbon) & np.isfinite(alkalinity)
    assert np.count_nonzero(whole) >= 190
    water = {"salinity": salinity[whole], "temperature_c": 25.0}
    state = carbonate_system(alkalinity_mol_kg=alkalinity[whole] * 1e-6, dic_mol_kg=carbon[whole] * 1e-6, **water)
    assert np.all((state.ph_total > 7.4) & (state.ph_total < 8.3))  # one early batch was bottled at 7.50
    assert np.median(state.ph_total) == pytest.approx(7.85, abs=0.05)
    names = ["alkalinity_mol_kg", "ph_total", "dic_mol_kg", "pco2_atm"]
    for pair in combinations(names, 2):
        again: CarbonateState = carbonate_system(**{name: getattr(state, name) for name in pair}, **water)
        for name in names:
            assert np.max(np.abs(getattr(again, name) / getattr(state, name) - 1)) < 1e-9, (pair, name)


def test_measured_ph_follows_from_measured_alkalinity_and_carbon(open_data) -> None:
    """902 warm surface samples with all three measured (AOML short cruises 2017-2020).

    With each row's phosphate and silicate a reference program finds a mean difference of +0.0002 and an sd of 0.026;
    leaving those nutrients out, as here, moves the mean by a few thousandths. A wrong pH scale would move it by 0.01
    (seawater), 0.11 (free) or 0.13 (NBS buffers).
    """
    path = open_data("aoml-shortcruises-2017-2020/AOML-ShortCruises_DiscreteData_2017-2020.csv")
    with path.open(newline="", encoding="utf-8-sig") as file:
        every = list(csv.DictReader(file))
    good = {"2"}
    rows = [r for r in every if r["DIC_Flag"] in good and r["TA_Flag"] in good and r["pH_Flag"] in good]
    salinities = [column(rows, name) for name in ("Salinity_PSS78", "CTDSAL_PSS78", "TSGSAL_PSS78")]
    salinity = np.where(np.isfinite(salinities[0]), salinities[0], salinities[1])
    salinity = np.where(np.isfinite(salinity), salinity, salinities[2])
    alkalinity, carbon = column(rows, "TA_umol/kg") * 1e-6, column(rows, "DIC_umol/kg") * 1e-6
    measured, cold = column(rows, "pH_TS_25C"), column(rows, "pH_TS_20C")
    whole = np.isfinite(salinity + alkalinity + carbon + measured)
    assert np.count_nonzero(whole) >= 850
    state = carbonate_system(
        alkalinity_mol_kg=alkalinity[whole], dic_mol_kg=carbon[whole], salinity=salinity[whole], temperature_c=25.0
    )
    difference = state.ph_total - measured[whole]
    print(
        f"pH computed - measured: mean {difference.mean():+.4f}, median {np.median(difference):+.4f}, "
        f"sd {difference.std():.4f}, n {difference.size}"
    )
    assert abs(np.median(difference)) < 0.005
    assert abs(difference.mean()) < 0.005
    assert difference.std() < 0.03
    assert np.mean(np.abs(difference) < 0.02) > 0.75
    # The same water colder: pH at 20 C from pH at 25 C at constant alkalinity and carbon.
    warm = carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=measured, salinity=salinity, temperature_c=25.0)
    colder = carbonate_system(
        alkalinity_mol_kg=alkalinity, dic_mol_kg=warm.dic_mol_kg, salinity=salinity, temperature_c=20.0
    )
    gap = np.abs(colder.ph_total - cold)[whole & np.isfinite(cold)]
    print(f"25 C to 20 C: median {np.median(gap):.5f}, largest {gap.max():.5f}")
    assert np.median(gap) < 0.0003
    assert gap.max() < 0.001
