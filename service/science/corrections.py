"""Salts that raise alkalinity, calcium or magnesium: how much for a wanted change, in how many days, what stays behind.

Caution: salts of alkalinity and of calcium precipitate when they meet undiluted. Sodium carbonate is caustic, calcium
chloride heats the water it dissolves in. Nothing here lowers anything: that takes a change of water.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import CarbonateState, carbonate_system, ph_total_from_nbs
from service.science.constants import MOLAR_MASS_G_MOL


@dataclass(frozen=True, slots=True)
class Salt:
    """What one mole of a salt brings, in moles (alkalinity in equivalents): the quantity it is dosed for, and ions."""

    formula: str
    raises: str
    raised: float
    carbon: float = 0.0
    sodium: float = 0.0
    chloride: float = 0.0
    sulphate: float = 0.0

    @property
    def g_per_mol_raised(self) -> float:
        """Grams of the pure salt for one mole (equivalent) of what it raises."""
        return MOLAR_MASS_G_MOL[self.formula] / self.raised


SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        salt.formula: salt
        for salt in (
            Salt("NaHCO3", "alkalinity", 1.0, carbon=1.0, sodium=1.0),
            Salt("Na2CO3", "alkalinity", 2.0, carbon=1.0, sodium=2.0),
            Salt("CaCl2", "calcium", 1.0, chloride=2.0),
            Salt("CaCl2.2H2O", "calcium", 1.0, chloride=2.0),
            Salt("CaCl2.6H2O", "calcium", 1.0, chloride=2.0),
            Salt("MgCl2.6H2O", "magnesium", 1.0, chloride=2.0),
            Salt("MgSO4.7H2O", "magnesium", 1.0, sulphate=1.0),
        )
    }
)
"""Source: IUPAC05 (molar masses)."""


@dataclass(frozen=True, slots=True)
class LeftBehind:
    """Ions a salt leaves beside what it is dosed for, mg/L; all fields one shape.

    as_nacl_mg_l: the sodium or chloride as table salt, once the other ion has come with the other salt.
    """

    sodium_mg_l: Values
    chloride_mg_l: Values
    sulphate_mg_l: Values
    as_nacl_mg_l: Values


@dataclass(frozen=True, slots=True)
class Dosed:
    """A water before and after a salt of alkalinity; all fields one shape. No gas is exchanged meanwhile."""

    ph_before_nbs: Values
    ph_after_nbs: Values
    omega_after: Values


def salt_g(*, salt: str, change_mmol_l: Numbers, volume_l: Numbers, purity: Numbers = 1.0) -> Values:
    """Mass of a salt that raises a volume by so much, g: change V M/n. Alkalinity counts in meq.

    Source: DERIVED, IUPAC05.
    Check value: 84.007 at salt="NaHCO3", change_mmol_l=1, volume_l=1000 (+-5e-4).
    Check value: 52.994 at salt="Na2CO3", change_mmol_l=1, volume_l=1000 (+-5e-4).
    Check value: 147.014 at salt="CaCl2.2H2O", change_mmol_l=1, volume_l=1000 (+-5e-3).
    Check value: 203.303 at salt="MgCl2.6H2O", change_mmol_l=1, volume_l=1000 (+-5e-3).
    Check value: 246.475 at salt="MgSO4.7H2O", change_mmol_l=1, volume_l=1000 (+-5e-3).
    """
    grams = SALTS[salt].g_per_mol_raised / 1000.0
    return np.asarray(np.asarray(change_mmol_l, dtype=np.float64) * volume_l * grams / purity)


def left_behind(*, salt: str, change_mmol_l: Numbers) -> LeftBehind:
    """Sodium, chloride and sulphate that come with a change, mg/L, and the table salt they amount to.

    1 meq alkalinity leaves 1 mmol sodium, 1 mmol calcium 2 mmol chloride: 58.443 mg NaCl a meq or half a mmol.

    Source: DERIVED, IUPAC05.
    Check value: as_nacl_mg_l = 58.443 at salt="NaHCO3", change_mmol_l=1 (+-5e-4).
    Check value: chloride_mg_l = 70.906 at salt="CaCl2.2H2O", change_mmol_l=1 (+-1e-3).
    """
    known = SALTS[salt]
    moles = np.asarray(change_mmol_l, dtype=np.float64) / known.raised
    mass = MOLAR_MASS_G_MOL
    return LeftBehind(
        np.asarray(moles * known.sodium * mass["Na"]),
        np.asarray(moles * known.chloride * mass["Cl"]),
        np.asarray(moles * known.sulphate * mass["SO4"]),
        np.asarray(moles * max(known.sodium, known.chloride) * mass["NaCl"]),
    )


def days_needed(*, change_mmol_l: Numbers, allowed_mmol_l: Numbers) -> Values:
    """Days, in equal steps, so that no day's change exceeds what is allowed a day; at least one.

    Source: PRACTICE.
    Check value: 3 at change_mmol_l=1.0, allowed_mmol_l=0.35665 (+-0).
    Check value: 2 at change_mmol_l=0.7133, allowed_mmol_l=0.35665 (+-0).
    """
    ratio = np.asarray(change_mmol_l, dtype=np.float64) / allowed_mmol_l
    return np.asarray(np.maximum(np.ceil(ratio * (1.0 - 1e-9)), 1.0))


def dosed_at_once(
    *,
    salt: str,
    change_mol_kg: Numbers,
    alkalinity_mol_kg: Numbers,
    ph_nbs: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
) -> Dosed:
    """pH (NBS) and aragonite saturation after a salt of alkalinity is stirred in and before any gas is exchanged.

    Bicarbonate brings one carbon an equivalent, carbonate half of one: the one lowers pH a little, the other raises it.

    Source: DERIVED, LUEKER00, TAKAHASHI82, MUCCI83.
    Check value: none, tested by test_bicarbonate_and_carbonate_move_ph_apart.
    """
    known = SALTS[salt]
    water = {"salinity": salinity, "temperature_c": temperature_c, "boron_factor": boron_factor}
    before = _at_ph(alkalinity_mol_kg, ph_nbs, water)
    after = carbonate_system(
        alkalinity_mol_kg=alkalinity_mol_kg + np.asarray(change_mol_kg),
        dic_mol_kg=before.dic_mol_kg + np.asarray(change_mol_kg) * (known.carbon / known.raised),
        **water,
    )
    return Dosed(*np.broadcast_arrays(before.ph_nbs, after.ph_nbs, after.omega_aragonite))


def ph_nbs_at_same_gas(
    *,
    alkalinity_mol_kg: Numbers,
    ph_nbs: Numbers,
    new_alkalinity_mol_kg: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
) -> Values:
    """pH (NBS) that a water comes to at another alkalinity once gas exchange has brought its pCO2 back.

    Source: DERIVED, LUEKER00, TAKAHASHI82, WEISS74.
    Check value: none, tested by test_bicarbonate_and_carbonate_move_ph_apart.
    """
    water = {"salinity": salinity, "temperature_c": temperature_c, "boron_factor": boron_factor}
    before = _at_ph(alkalinity_mol_kg, ph_nbs, water)
    return carbonate_system(alkalinity_mol_kg=new_alkalinity_mol_kg, pco2_atm=before.pco2_atm, **water).ph_nbs


def _at_ph(alkalinity: Numbers, ph_nbs: Numbers, water: Mapping[str, Numbers]) -> CarbonateState:
    total = ph_total_from_nbs(ph_nbs=ph_nbs, salinity=water["salinity"], temperature_c=water["temperature_c"])
    return carbonate_system(alkalinity_mol_kg=alkalinity, ph_total=total, **water)
