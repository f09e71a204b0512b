"""Net water volume from what a known addition does to the water: volume = amount added / rise of concentration.

The rise is a small difference of two readings, so the interval is Fieller's and may have no upper end: the readings
then do not tell a rise from none. Well mixed, nothing of it taken up or added meanwhile.
"""

import numpy as np

from service.science import Numbers, Values
from service.science.constants import REFERENCE_SALINITY_G_KG
from service.science.fieller import RatioInterval, ratio_interval
from service.science.seawater import density


def volume_by_tracer(
    *,
    added_mg: Numbers,
    before_mg_l: Numbers,
    after_mg_l: Numbers,
    added_sd: Numbers = 0.0,
    before_sd: Numbers = 0.0,
    after_sd: Numbers = 0.0,
    score: Numbers = 1.959964,
) -> RatioInterval:
    """Litres, from the mass of something that was added and its concentration before and after.

    m/(c1 - c0), by Fieller. Milliequivalents and meq/L do as well as milligrams and mg/L.

    Source: DERIVED, FIELLER54.
    Check value: value = 1000 at added_mg=5000, before_mg_l=8, after_mg_l=13 (+-1e-9).
    Check value: low = 800 at added_mg=5000, before_mg_l=8, after_mg_l=13, after_sd=0.625, score=2 (+-1e-9).
    """
    return ratio_interval(
        numerator_mean=added_mg,
        numerator_variance=np.asarray(added_sd, dtype=np.float64) ** 2,
        denominator_mean=np.asarray(after_mg_l, dtype=np.float64) - before_mg_l,
        denominator_variance=np.asarray(before_sd, dtype=np.float64) ** 2 + np.asarray(after_sd) ** 2,
        covariance=0.0,
        score=score,
    )


def volume_by_salt(
    *,
    added_g: Numbers,
    before_salinity: Numbers,
    after_salinity: Numbers,
    temperature_c: Numbers,
    added_sd: Numbers = 0.0,
    before_sd: Numbers = 0.0,
    after_sd: Numbers = 0.0,
    score: Numbers = 1.959964,
) -> RatioInterval:
    """Litres before the addition, from the mass of dry sea salt and practical salinity before and after.

    Salt is conserved: M = m (1000 - S1)/(S1 - S0), S in g/kg, and V = M/rho(S0, T).

    Source: DERIVED, IOC10, FIELLER54.
    Check value: value = 977.91 at added_g=1041.334, before_salinity=34, after_salinity=35, temperature_c=25 (+-0.02).
    """
    absolute = REFERENCE_SALINITY_G_KG / 35.0
    before, after = (np.asarray(each, dtype=np.float64) * absolute for each in (before_salinity, after_salinity))
    per_gram = (1000.0 - after) / density(salinity=before_salinity, temperature_c=temperature_c)
    return ratio_interval(
        numerator_mean=added_g * per_gram,
        numerator_variance=(np.asarray(added_sd, dtype=np.float64) * per_gram) ** 2,
        denominator_mean=after - before,
        denominator_variance=(np.asarray(before_sd, dtype=np.float64) ** 2 + np.asarray(after_sd) ** 2) * absolute**2,
        covariance=0.0,
        score=score,
    )


def salinity_gained(*, added_g: Numbers, volume_l: Numbers, before_salinity: Numbers, temperature_c: Numbers) -> Values:
    """Practical salinity that a mass of dry sea salt adds to a volume of water: the inverse of `volume_by_salt`.

    m (1000 - S0)/(M + m), S in g/kg, M = V rho(S0, T): the salt makes the water heavier, too.

    Source: DERIVED, IOC10.
    Check value: 1.0 at added_g=1041.334, volume_l=977.91, before_salinity=34, temperature_c=25 (+-2e-5).
    """
    absolute = REFERENCE_SALINITY_G_KG / 35.0
    water_g = np.asarray(volume_l, dtype=np.float64) * density(salinity=before_salinity, temperature_c=temperature_c)
    salt = np.asarray(added_g, dtype=np.float64)
    return np.asarray(salt * (1000.0 - absolute * np.asarray(before_salinity)) / (water_g + salt) / absolute)
