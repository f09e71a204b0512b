"""The pure computations: numbers in, numbers out.

No input or output, no clock, no randomness, no web, no database. Every function is keyword-only, takes numbers
or arrays of any shape (shape () included) that broadcast against each other, and gives arrays of that shape
(numpy scalars for shape ()). Results with several parts are frozen dataclasses with named fields.

Nomenclature. A parameter's name ends in its unit (`UNIT_SUFFIXES`), stands in `DIMENSIONLESS`, or is a statistic
(`STATISTICS`) in the unit of what it describes; a test walks every module and refuses any other name. `temperature_c`
is on ITS-90; `_mol_kg` is per kilogram of solution; `salinity` is practical salinity (PSS-78); `ph_total` and `ph_nbs`
say their scale; pressures are absolute unless the name says gauge.

Docstrings of formulas are read by a test too:

    Source: KEY[, KEY].          keys of `sources.SOURCES`
    Check value: 6.19 at salinity=35, temperature_c=25 (+-0.005).        run as printed
    Check value: ph_nbs = 8.343 at ... (+-0.003).                         a field of the result
    Check value: none, definition.                                       only for a definition: needs no source either
    Check value: none, tested by test_name.                              the named test must exist
    Shapes: the last axis is time.                                       why a function is not elementwise
"""

from types import MappingProxyType
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = NDArray[np.float64]
"""What a computation gives: an array of any shape."""

Numbers: TypeAlias = NDArray[np.float64] | float
"""What a computation takes: an array of any shape, or one number."""

UNIT_SUFFIXES = MappingProxyType(
    {
        "_c": "degree Celsius, ITS-90",
        "_c68": "degree Celsius, IPTS-68",
        "_k": "kelvin",
        "_mol_kg": "mole per kilogram of solution",
        "_mmol_kg": "millimole per kilogram of solution",
        "_umol_kg": "micromole per kilogram of solution",
        "_umol": "micromole",
        "_umol_h": "micromole per hour",
        "_mol_l": "mole per litre",
        "_mmol_l": "millimole per litre",
        "_meq_l": "milliequivalent per litre",
        "_mg_l": "milligram per litre",
        "_meq_l_d": "milliequivalent per litre and day",
        "_mg_l_d": "milligram per litre and day",
        "_meq_d": "milliequivalent per day",
        "_meq": "milliequivalent",
        "_mmol": "millimole",
        "_mg": "milligram",
        "_g": "gram",
        "_kg": "kilogram",
        "_g_mol": "gram per mole",
        "_g_d": "gram per day",
        "_g_h": "gram per hour",
        "_kg_d": "kilogram per day",
        "_kg_m3": "kilogram per cubic metre",
        "_l": "litre",
        "_m3": "cubic metre",
        "_kg_l": "kilogram per litre",
        "_l_d": "litre per day",
        "_l_h": "litre per hour",
        "_ml": "millilitre",
        "_atm": "standard atmosphere",
        "_bar": "bar, absolute",
        "_mpa": "megapascal, absolute",
        "_dbar": "decibar above one atmosphere (sea pressure)",
        "_ms_cm": "millisiemens per centimetre",
        "_days": "day",
        "_d": "day, or per day where the name says rate",
        "_per_day": "per day",
        "_per_hour": "per hour",
        "_hours": "hour",
        "_ppm": "parts per million by volume",
    }
)

DIMENSIONLESS = MappingProxyType(
    {
        "salinity": "practical salinity, PSS-78",
        "ph_total": "pH on the total scale",
        "ph_nbs": "pH as read by an electrode standardised in NBS (NIST) buffers",
        "boron_factor": "total borate over that of natural seawater of the same salinity",
        "specific_gravity": "density over that of pure water at a stated temperature",
        "fraction": "a part of one",
        "level": "confidence level, 0 to 1",
        "probability": "0 to 1",
        "purity": "0 to 1",
    }
)
"""Names that carry no unit, alone or after a qualifier (`new_salinity`, `filled_fraction`)."""

STATISTICS = MappingProxyType(
    {
        "mean": "mean",
        "sd": "standard deviation",
        "variance": "variance",
        "covariance": "covariance",
        "weight": "weight, summing to one",
        "score": "in standard deviations",
        "log_likelihood": "natural logarithm of a likelihood",
        "log_prior": "natural logarithm of a prior density",
        "residual": "reading less expectation",
    }
)
"""Names of statistics, in the unit of whatever they describe."""
