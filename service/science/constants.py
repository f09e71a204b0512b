"""Numbers that nothing in here computes: molar masses, exact conversion factors, gas densities.

Molar masses are sums of the 2005 atomic weights (IUPAC05), kept as exact fractions so that the factors built from
them are rounded once. With the weights of 2021 a molar mass differs by less than 1 in 1e4, far below any test kit.
"""

from fractions import Fraction
from types import MappingProxyType

_H, _C, _N, _O = Fraction("1.00794"), Fraction("12.0107"), Fraction("14.0067"), Fraction("15.9994")
_NA, _MG, _P, _S = Fraction("22.98976928"), Fraction("24.3050"), Fraction("30.973762"), Fraction("32.065")
_CL, _K, _CA, _SR = Fraction("35.453"), Fraction("39.0983"), Fraction("40.078"), Fraction("87.62")
_WATER = 2 * _H + _O

EXACT_MOLAR_MASS_G_MOL = MappingProxyType(
    {
        "Ca": _CA,
        "Mg": _MG,
        "Sr": _SR,
        "K": _K,
        "N": _N,
        "P": _P,
        "NO3": _N + 3 * _O,
        "PO4": _P + 4 * _O,
        "NH4": _N + 4 * _H,
        "NH3": _N + 3 * _H,
        "CaO": _CA + _O,
        "CaCO3": _CA + _C + 3 * _O,
        "MgCO3": _MG + _C + 3 * _O,
        "Ca(OH)2": _CA + 2 * (_O + _H),
        "CO2": _C + 2 * _O,
        "O2": 2 * _O,
        "Na": _NA,
        "Cl": _CL,
        "SO4": _S + 4 * _O,
        "NaCl": _NA + _CL,
        "NaHCO3": _NA + _H + _C + 3 * _O,
        "Na2CO3": 2 * _NA + _C + 3 * _O,
        "CaCl2": _CA + 2 * _CL,
        "CaCl2.2H2O": _CA + 2 * _CL + 2 * _WATER,
        "CaCl2.6H2O": _CA + 2 * _CL + 6 * _WATER,
        "MgCl2.6H2O": _MG + 2 * _CL + 6 * _WATER,
        "MgSO4.7H2O": _MG + _S + 4 * _O + 7 * _WATER,
    }
)
"""Source: IUPAC05."""

MOLAR_MASS_G_MOL = MappingProxyType({formula: float(mass) for formula, mass in EXACT_MOLAR_MASS_G_MOL.items()})
"""The same as floats, for computations. Source: IUPAC05."""

ZERO_CELSIUS_K = 273.15
"""Source: BIPM19."""

STANDARD_ATMOSPHERE_BAR = 1.01325
"""Source: BIPM19."""

GAS_CONSTANT_CM3_BAR_MOL_K = 83.14462618
"""Molar gas constant in the units of Weiss 1974. Source: BIPM19."""

REFERENCE_SALINITY_G_KG = 35.16504
"""Absolute salinity of reference seawater of practical salinity 35, g/kg. Source: IOC10."""

CHLORINITY_RATIO = 1.80655
"""Salinity over chlorinity. Source: DICKSON07."""

CO2_GAS_KG_M3_0C = Fraction("1.9768")
"""Density of CO2 gas at 0 C and 1 atm, kg/m3 (the ideal gas would be 1.9635). Source: SPAN96."""

CO2_GAS_KG_M3_20C = Fraction("1.8393")
"""Density of CO2 gas at 20 C and 1 atm, kg/m3. Source: SPAN96."""

CO2_CRITICAL_K = 304.1282
"""Critical temperature of CO2, K (30.978 C). Source: SPAN96."""

CO2_CRITICAL_BAR = 73.773
"""Critical pressure of CO2, bar absolute. Source: SPAN96."""

CO2_CRITICAL_KG_M3 = 467.6
"""Critical density of CO2, kg/m3. Source: SPAN96."""

CO2_TRIPLE_K = 216.592
"""Triple point of CO2, K: no liquid below. Source: SPAN96."""

CO2_ACENTRIC_FACTOR = 0.22394
"""Acentric factor of CO2, dimensionless, as CoolProp 8 carries it beside the equation of Span & Wagner (1996).
The paper was not seen to print one."""

HIGHEST_FILL_KG_L = 0.68
"""Highest charge of CO2 over water capacity in the 1800 psi cylinder classes, kg/L; other rules allow more.
Source: CFR173."""
