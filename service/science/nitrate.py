"""Alkalinity that goes with nitrate.

Food is broken down to ammonium, which gives one meq a mmol, and that is nitrified, which takes two: one net for each
mmol of nitrate formed. Nitrate taken up by algae or reduced to nitrogen gives that one back. So the net course of
nitrate, water changes apart, says how much of the demand no skeleton got.
"""

from __future__ import annotations

import numpy as np

from service.science import Numbers, Values
from service.science.constants import MOLAR_MASS_G_MOL

MEQ_PER_MMOL = 1.0


def alkalinity_of_nitrate_meq_l_d(*, nitrate_mg_l_d: Numbers) -> Values:
    """Alkalinity taken a day (negative: given back) by nitrate that rises by so many mg/L of NO3 a day.

    one meq a mmol, 62.005 mg a mmol

    Source: WOLFGLADROW07, IUPAC05. Check value: 0.016128 at nitrate_mg_l_d=1.0 (+-1e-6).
    """
    return np.asarray(nitrate_mg_l_d, dtype=np.float64) * (MEQ_PER_MMOL / MOLAR_MASS_G_MOL["NO3"])
