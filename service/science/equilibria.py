"""Equilibrium constants of the carbonate system in seawater, one function a published formulation.

Total pH scale and mol per kilogram of solution unless the docstring says otherwise; sea-surface pressure.
"""

import numpy as np

from service.science import Numbers, Values
from service.science.constants import GAS_CONSTANT_CM3_BAR_MOL_K, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K

_LN10 = np.log(10.0)


def kelvin(*, temperature_c: Numbers) -> Values:
    """Thermodynamic temperature, K.

    T = t + 273.15

    Source: BIPM19. Check value: none, definition.
    """
    return np.asarray(temperature_c, dtype=np.float64) + ZERO_CELSIUS_K


def ionic_strength(*, salinity: Numbers) -> Values:
    """Ionic strength of seawater, mol per kilogram of water.

    I = 19.924 S / (1000 - 1.005 S)

    Source: DICKSON07. Check value: 0.7227 at salinity=35 (+-1e-4).
    """
    s = np.asarray(salinity, dtype=np.float64)
    return 19.924 * s / (1000.0 - 1.005 * s)


def k0_weiss1974(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Solubility of carbon dioxide, [CO2*] over fugacity, mol/(kg atm).

    ln K0 = 93.4517 (100/T) - 60.2409 + 23.3585 ln(T/100)
            + S [0.023517 - 0.023656 (T/100) + 0.0047036 (T/100)^2]
    S 0-40, -1 to 40 C.

    Source: WEISS74.
    Check value: 0.02839188 at salinity=35, temperature_c=25 (+-1e-8).
    """
    t = kelvin(temperature_c=temperature_c) / 100.0
    ln_k = 93.4517 / t - 60.2409 + 23.3585 * np.log(t) + salinity * (0.023517 - 0.023656 * t + 0.0047036 * t**2)
    return _exp(ln_k)


def virial_weiss1974(*, temperature_c: Numbers) -> Values:
    """Second virial coefficient of carbon dioxide, cm3/mol.

    B = -1636.75 + 12.0408 T - 0.0327957 T^2 + 3.16528e-5 T^3, -8 to 47 C.

    Source: WEISS74.
    Check value: none, tested by test_thin_gas_follows_the_full_equation.
    """
    t = kelvin(temperature_c=temperature_c)
    return np.asarray(-1636.75 + 12.0408 * t - 0.0327957 * t**2 + 3.16528e-5 * t**3)


def fugacity_factor_weiss1974(*, temperature_c: Numbers) -> Values:
    """Fugacity of carbon dioxide over its partial pressure in air at one atmosphere.

    ln(f/p) = (B + 2 delta) P/(R T), B as in `virial_weiss1974`, delta = 57.7 - 0.118 T (cm3/mol), P = 1.01325 bar. For
    CO2 as a small part of air; of the pure gas the factor is exp(B P/(R T)), 0.2 % less.

    Source: WEISS74, DICKSON07.
    Check value: 0.99681 at temperature_c=25 (+-5e-5).
    """
    t = kelvin(temperature_c=temperature_c)
    cross = 57.7 - 0.118 * t
    return _exp(
        (virial_weiss1974(temperature_c=temperature_c) + 2.0 * cross)
        * STANDARD_ATMOSPHERE_BAR
        / (GAS_CONSTANT_CM3_BAR_MOL_K * t)
    )


def k1_lueker2000(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """First dissociation constant of carbonic acid, total scale, mol/kg.

    pK1 = 3633.86/T - 61.2172 + 9.67770 ln T - 0.011555 S + 0.0001152 S^2
    S 19-43, 2 to 35 C.

    Source: LUEKER00, DICKSON07.
    Check value: 1.42168e-6 at salinity=35, temperature_c=25 (+-4e-10).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    pk = 3633.86 / t - 61.2172 + 9.67770 * np.log(t) - 0.011555 * s + 0.0001152 * s**2
    return _exp(-_LN10 * pk)


def k2_lueker2000(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Second dissociation constant of carbonic acid, total scale, mol/kg.

    pK2 = 471.78/T + 25.9290 - 3.16967 ln T - 0.01781 S + 0.0001122 S^2
    S 19-43, 2 to 35 C.

    Source: LUEKER00, DICKSON07.
    Check value: 1.0815e-9 at salinity=35, temperature_c=25 (+-2e-13).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    pk = 471.78 / t + 25.9290 - 3.16967 * np.log(t) - 0.01781 * s + 0.0001122 * s**2
    return _exp(-_LN10 * pk)


def kb_dickson1990(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Dissociation constant of boric acid, total scale, mol/kg.

    ln KB = (-8966.90 - 2890.53 S^0.5 - 77.942 S + 1.728 S^1.5 - 0.0996 S^2)/T
            + 148.0248 + 137.1942 S^0.5 + 1.62142 S
            - (24.4344 + 25.085 S^0.5 + 0.2474 S) ln T + 0.053105 S^0.5 T
    S 5-45, 0 to 45 C.

    Source: DICKSON90B, DICKSON07.
    Check value: 2.5266e-9 at salinity=35, temperature_c=25 (+-3e-13).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    root = np.sqrt(s)
    ln_k = (
        (-8966.90 - 2890.53 * root - 77.942 * s + 1.728 * s * root - 0.0996 * s**2) / t
        + 148.0248
        + 137.1942 * root
        + 1.62142 * s
        - (24.4344 + 25.085 * root + 0.2474 * s) * np.log(t)
        + 0.053105 * root * t
    )
    return _exp(ln_k)


def kw_millero1995(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Ion product of water, seawater scale, (mol/kg)^2.

    ln KW = 148.9802 - 13847.26/T - 23.6521 ln T + (118.67/T - 5.977 + 1.0495 ln T) S^0.5 - 0.01615 S
    The paper's own scale; the carbonate system brings it to the total scale with its own KS and KF.

    Source: MILLERO95.
    Check value: none, tested by test_the_ion_product_of_water_agrees_with_an_independent_program.
    """
    return _exp(148.9802 + _ln_kw_above_its_constant(salinity, temperature_c))


def kw_dickson2007(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Ion product of water, total scale, (mol/kg)^2, in the handbook's rounding; kept for its check value.

    ln KW = 148.9652 - 13847.26/T - ... as `kw_millero1995`: the change of scale is a fixed 0.015. Up to 1 % above
    the seawater-scale form brought to the total scale with the constants used here.

    Source: DICKSON07, MILLERO95.
    Check value: 6.063e-14 at salinity=35, temperature_c=25 (+-6e-17).
    """
    return _exp(148.9652 + _ln_kw_above_its_constant(salinity, temperature_c))


def ks_dickson1990(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Dissociation constant of hydrogen sulphate, free scale, mol/kg.

    ln KS = -4276.1/T + 141.328 - 23.093 ln T + (-13856/T + 324.57 - 47.986 ln T) I^0.5
            + (35474/T - 771.54 + 114.723 ln T) I - 2698/T I^1.5 + 1776/T I^2 + ln(1 - 0.001005 S)
    S 5-45, 0 to 45 C.

    Source: DICKSON90S, DICKSON07.
    Check value: 0.10030 at salinity=35, temperature_c=25 (+-1e-4).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    i = ionic_strength(salinity=s)
    root = np.sqrt(i)
    ln_t = np.log(t)
    ln_k = (
        -4276.1 / t
        + 141.328
        - 23.093 * ln_t
        + (-13856.0 / t + 324.57 - 47.986 * ln_t) * root
        + (35474.0 / t - 771.54 + 114.723 * ln_t) * i
        - 2698.0 / t * i * root
        + 1776.0 / t * i**2
        + np.log(1.0 - 0.001005 * s)
    )
    return _exp(ln_k)


def kf_dickson_riley1979(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Dissociation constant of hydrogen fluoride, free scale, mol/kg.

    ln KF = 1590.2/T - 12.641 + 1.525 I^0.5 + ln(1 - 0.001005 S)
    Fitted to three salinities: 0, 26.7 and 34.6 (so say the comments of CO2SYS).

    Source: DICKSON79.
    Check value: none, tested by test_hydrogen_fluoride_agrees_with_an_independent_program.
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    ln_k = 1590.2 / t - 12.641 + 1.525 * np.sqrt(ionic_strength(salinity=s)) + np.log(1.0 - 0.001005 * s)
    return _exp(ln_k)


def kf_perez_fraga1987(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Dissociation constant of hydrogen fluoride, total scale, mol/kg; kept for its check value only.

    ln KF = 874/T - 9.68 + 0.111 S^0.5
    S 10-40, 9 to 33 C. The carbonate system here uses Dickson & Riley 1979.

    Source: PEREZ87, DICKSON07.
    Check value: 2.265e-3 at salinity=35, temperature_c=25 (+-1.2e-5).
    """
    t = kelvin(temperature_c=temperature_c)
    return _exp(874.0 / t - 9.68 + 0.111 * np.sqrt(np.asarray(salinity, dtype=np.float64)))


def ksp_aragonite_mucci1983(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Stoichiometric solubility product of aragonite, (mol/kg)^2.

    log10 K = -171.945 - 0.077993 T + 2903.293/T + 71.595 log10 T
              + (-0.068393 + 0.0017276 T + 88.135/T) S^0.5 - 0.10018 S + 0.0059415 S^1.5
    S 5-44, 5 to 40 C.

    Source: MUCCI83, ZEEBE01.
    Check value: 6.4818e-7 at salinity=35, temperature_c=25 (+-1e-10).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    root = np.sqrt(s)
    log_k = (
        -171.945
        - 0.077993 * t
        + 2903.293 / t
        + 71.595 * np.log10(t)
        + (-0.068393 + 0.0017276 * t + 88.135 / t) * root
        - 0.10018 * s
        + 0.0059415 * s * root
    )
    return _exp(_LN10 * log_k)


def ksp_calcite_mucci1983(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Stoichiometric solubility product of calcite, (mol/kg)^2.

    log10 K = -171.9065 - 0.077993 T + 2839.319/T + 71.595 log10 T
              + (-0.77712 + 0.0028426 T + 178.34/T) S^0.5 - 0.07711 S + 0.0041249 S^1.5
    S 5-44, 5 to 40 C.

    Source: MUCCI83, ZEEBE01.
    Check value: 4.2723e-7 at salinity=35, temperature_c=25 (+-3e-11).
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    root = np.sqrt(s)
    log_k = (
        -171.9065
        - 0.077993 * t
        + 2839.319 / t
        + 71.595 * np.log10(t)
        + (-0.77712 + 0.0028426 * t + 178.34 / t) * root
        - 0.07711 * s
        + 0.0041249 * s * root
    )
    return _exp(_LN10 * log_k)


def fh_takahashi1982(*, salinity: Numbers, temperature_c: Numbers) -> Values:
    """Apparent activity coefficient of the hydrogen ion, 10^-pH(NBS) over [H+] on the seawater scale.

    fH = 1.2948 - 0.002036 T + (0.0004607 - 1.475e-6 T) S^2
    One laboratory's electrodes: another pair of electrodes may differ by 0.02-0.05 pH.

    Source: TAKAHASHI82.
    Check value: none, tested by test_ph_scales_agree_with_an_independent_program.
    """
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    return 1.2948 - 0.002036 * t + (0.0004607 - 1.475e-6 * t) * s**2


def _ln_kw_above_its_constant(salinity: Numbers, temperature_c: Numbers) -> Values:
    t = kelvin(temperature_c=temperature_c)
    s = np.asarray(salinity, dtype=np.float64)
    ln_t = np.log(t)
    result: Values = -13847.26 / t - 23.6521 * ln_t + (118.67 / t - 5.977 + 1.0495 * ln_t) * np.sqrt(s) - 0.01615 * s
    return result


def _exp(exponent: Values) -> Values:
    result: Values = np.exp(exponent)
    return result
