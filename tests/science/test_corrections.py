"""Salts for a wanted change: masses by the 2005 atomic weights, pH held against PyCO2SYS 1.8.3.4."""

import numpy as np
import pytest

from service.science.corrections import SALTS, days_needed, dosed_at_once, left_behind, ph_nbs_at_same_gas, salt_g
from service.science.units import convert

SEAWATER = {"salinity": 35.0, "temperature_c": 25.0}
DKH = float(convert(1.0, unit="dKH", to="mol/kg", **SEAWATER))


def test_masses_are_those_of_the_handbook() -> None:
    """84.007 and 52.994 g an equivalent (IUPAC 2005 weights); 1 dKH in 1000 L is 30.0 g of NaHCO3."""
    a_dkh = float(convert(1.0, unit="dKH", to="meq/L"))
    assert salt_g(salt="NaHCO3", change_mmol_l=a_dkh, volume_l=1000.0) == pytest.approx(29.96, abs=0.01)
    assert salt_g(salt="NaHCO3", change_mmol_l=1.0, volume_l=1000.0, purity=0.99) == pytest.approx(84.007 / 0.99, 1e-5)
    # by hand: 20 mg/L calcium in 500 L are 10 g of calcium, 36.7 g of the dihydrate
    assert salt_g(salt="CaCl2.2H2O", change_mmol_l=20 / 40.078, volume_l=500.0) == pytest.approx(36.68, abs=0.01)


def test_bicarbonate_and_carbonate_move_ph_apart() -> None:
    """7 to 8 dKH from pH 8.1: bicarbonate 8.056, carbonate 8.310, with the gas back 8.150 (PyCO2SYS 1.8.3.4)."""
    water = {"alkalinity_mol_kg": 7 * DKH, "ph_nbs": 8.1, **SEAWATER}
    bicarbonate, carbonate = (dosed_at_once(salt=salt, change_mol_kg=DKH, **water) for salt in ("NaHCO3", "Na2CO3"))
    assert (bicarbonate.ph_after_nbs, carbonate.ph_after_nbs) == (
        pytest.approx(8.05618, abs=2e-4),
        pytest.approx(8.31048, abs=2e-4),
    )
    assert (bicarbonate.omega_after, carbonate.omega_after) == (
        pytest.approx(3.2745, abs=1e-3),
        pytest.approx(5.1569, abs=1e-3),
    )
    assert bicarbonate.ph_before_nbs == pytest.approx(8.1)
    back = ph_nbs_at_same_gas(new_alkalinity_mol_kg=8 * DKH, **water)
    assert back == pytest.approx(8.14991, abs=2e-4)


def test_what_stays_behind_is_the_rest_of_the_salt() -> None:
    """Mass is conserved: sodium and carbonate alkalinity, calcium and chloride add up to the salt without its water."""
    for name, of_it in (
        ("CaCl2", 40.078),
        ("CaCl2.2H2O", 40.078 + 2 * 18.01528),
        ("MgSO4.7H2O", 24.305 + 7 * 18.01528),
    ):
        left = left_behind(salt=name, change_mmol_l=1.0)
        whole = float(left.sodium_mg_l + left.chloride_mg_l + left.sulphate_mg_l) + of_it
        assert whole == pytest.approx(float(salt_g(salt=name, change_mmol_l=1.0, volume_l=1000.0)), abs=2e-3)
    # 1 meq alkalinity and half a mmol calcium, dosed as a pair: 1 mmol of table salt, 58.44 mg
    pair = left_behind(salt="NaHCO3", change_mmol_l=1.0), left_behind(salt="CaCl2", change_mmol_l=0.5)
    assert float(pair[0].sodium_mg_l + pair[1].chloride_mg_l) == pytest.approx(58.443, abs=1e-3)
    assert pair[0].as_nacl_mg_l == pytest.approx(float(pair[1].as_nacl_mg_l))


def test_no_day_exceeds_what_is_allowed() -> None:
    changes = np.array([1e-6, 0.3, 1.0, 1.000001, 2.5, 30.0])
    days = days_needed(change_mmol_l=changes, allowed_mmol_l=1.0)
    assert days.tolist() == [1, 1, 1, 2, 3, 30]
    assert (changes / days <= 1.0 + 1e-8).all()


def test_every_salt_raises_one_quantity() -> None:
    assert {salt.raises for salt in SALTS.values()} == {"alkalinity", "calcium", "magnesium"}
