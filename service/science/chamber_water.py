"""Water that dissolves media in a chamber, with its constants worked out once for any number of pH.

A search for the pH of a chamber asks some ten times for the ceiling and the carbon of one and the same water; only the
pH differs, and salinity and temperature are all that the constants know of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values
from service.science.carbonate import Equilibria, dic_of, equilibria_at, other_alkalinity
from service.science.seawater import total_calcium_riley1967


@dataclass(frozen=True, slots=True)
class ChamberWater:
    """The water that goes in, per kilogram, and its constants at the chamber's temperature."""

    constants: Equilibria
    inflow_alkalinity_mol_kg: Numbers
    inflow_calcium_mol_kg: Numbers

    def ph_total(self, ph_nbs: Numbers) -> Values:
        """A chamber pH on the total scale."""
        return np.asarray(ph_nbs, dtype=np.float64) - self.constants.nbs_minus_total

    def ceiling_mol_kg(self, ph_nbs: Numbers) -> Values:
        """The alkalinity at which aragonite stops dissolving at a pH, mol/kg.

        At one pH carbonate is a share s of carbonate alkalinity y = TA - o, o that of borate, water and the rest, and
        calcium rises with half of what is gained: (Ca_in + (TA - TA_in)/2) s y = Ksp, the larger root.

        Source: DERIVED, MUCCI83, LUEKER00. Check value: none, tested by test_the_ceiling_is_where_saturation_is_one.
        """
        k, ph_total = self.constants, self.ph_total(ph_nbs)
        other = other_alkalinity(constants=k, ph_total=ph_total)
        share = k.k2 / (np.power(10.0, -ph_total) + 2.0 * k.k2)
        # (y/2 + a) y share = ksp
        a = self.inflow_calcium_mol_kg + 0.5 * (other - self.inflow_alkalinity_mol_kg)
        return np.asarray(other - a + np.sqrt(a**2 + 2.0 * k.ksp_aragonite / share))

    def carbon_mol_kg(self, alkalinity_mol_kg: Numbers, ph_nbs: Numbers) -> Values:
        """Dissolved inorganic carbon at an alkalinity and a pH, mol/kg."""
        return dic_of(constants=self.constants, alkalinity_mol_kg=alkalinity_mol_kg, ph_total=self.ph_total(ph_nbs))


def chamber_water(
    *,
    inflow_alkalinity_mol_kg: Numbers,
    salinity: Numbers,
    temperature_c: Numbers,
    inflow_calcium_mol_kg: Numbers | None = None,
    boron_factor: Numbers = 1.0,
) -> ChamberWater:
    """The water of a chamber at its temperature; calcium is natural seawater's unless given.

    Source: RILEY67. Check value: none, tested by test_the_ceiling_is_where_saturation_is_one.
    """
    return ChamberWater(
        equilibria_at(salinity=salinity, temperature_c=temperature_c, boron_factor=boron_factor),
        inflow_alkalinity_mol_kg,
        total_calcium_riley1967(salinity=salinity) if inflow_calcium_mol_kg is None else inflow_calcium_mol_kg,
    )
