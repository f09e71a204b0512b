"""Carbon dioxide as a cylinder holds it: saturation line, gas density, and what mass or pressure say of the contents.

Pressures are absolute. While liquid is present pressure is that of saturation and says nothing of how much is left;
above the critical temperature (30.978 C) there is never any liquid.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from service.science import Numbers, Values
from service.science.constants import (
    CO2_ACENTRIC_FACTOR,
    CO2_CRITICAL_BAR,
    CO2_CRITICAL_K,
    CO2_CRITICAL_KG_M3,
    CO2_TRIPLE_K,
    GAS_CONSTANT_CM3_BAR_MOL_K,
    MOLAR_MASS_G_MOL,
    STANDARD_ATMOSPHERE_BAR,
    ZERO_CELSIUS_K,
)
from service.science.equilibria import kelvin, virial_weiss1974

CRITICAL_TEMPERATURE_C = CO2_CRITICAL_K - ZERO_CELSIUS_K
"""30.978 C: at and above it no liquid exists at any pressure."""

GOOD_TO_BAR, GOOD_ERROR = 70.0, 0.03
"""Up to here the gas density is within 3 % of the reference equation (10-50 C)."""
WIDE_TO_BAR, WIDE_ERROR = 100.0, 0.15
"""Up to here within 15 %, above the critical temperature; beyond it no density is given."""
HOTTEST_C = 50.0
DENSEST_GAS_KG_M3 = 250.0
"""Above this density a single phase is too dense for the gas equation (pressure 10 % and more off)."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class GasDensity:
    """Density of the gas, kg/m3, and the largest relative error to expect; density NaN where refused."""

    density_kg_m3: Values
    relative_error: Values


@dataclass(frozen=True, slots=True)
class Contents:
    """What is in a cylinder of known mass, one shape.

    has_liquid: liquid and vapour together. is_gas: vapour alone, or thinner than it above the critical temperature.
    Neither: one dense phase that fills the cylinder, whose pressure climbs steeply with temperature. pressure_bar is
    NaN there: not computed. liquid_gone_mass_kg is NaN at and above the critical temperature: there is no liquid.
    """

    pressure_bar: Values
    has_liquid: Flags
    is_gas: Flags
    liquid_kg: Values
    vapour_kg: Values
    liquid_gone_mass_kg: Values


@dataclass(frozen=True, slots=True)
class ContentsByPressure:
    """What a pressure says of the mass in a cylinder, one shape.

    mass_kg is NaN where liquid may be present: any mass between low_kg and high_kg has that pressure. low_kg and
    high_kg are NaN where the gas is too dense for this module.
    """

    mass_kg: Values
    low_kg: Values
    high_kg: Values
    may_hold_liquid: Flags


@dataclass(frozen=True, slots=True)
class LiquidGone:
    """Mass at which the last liquid goes, kg, for a temperature somewhere in a range: its mean and sd.

    NaN where the range reaches the critical temperature: there may be no liquid at all.
    """

    mass_kg: Values
    sd_kg: Values


def saturation_pressure_bar(*, temperature_c: Numbers) -> Values:
    """Pressure of liquid and vapour together, bar absolute; NaN outside the triple and critical points.

    ln(p/pc) = (Tc/T) (-7.0602087 h + 1.9391218 h^1.5 - 1.6463597 h^2 - 3.2995634 h^4), h = 1 - T/Tc (equation 3.13)

    Source: SPAN96.
    Check value: 34.851 at temperature_c=0 (+-0.005).
    Check value: 64.342 at temperature_c=25 (+-0.01).
    """
    t, h = _on_the_line(temperature_c)
    series = -7.0602087 * h + 1.9391218 * _power(h, 1.5) - 1.6463597 * _power(h, 2.0) - 3.2995634 * _power(h, 4.0)
    return CO2_CRITICAL_BAR * _exp(CO2_CRITICAL_K / t * series)


def saturated_liquid_kg_m3(*, temperature_c: Numbers) -> Values:
    """Density of the liquid beside its vapour, kg/m3; NaN outside the triple and critical points.

    ln(rho/rho_c) = 1.9245108 h^0.34 - 0.62385555 h^0.5 - 0.32731127 h^(10/6) + 0.39245142 h^(11/6), h = 1 - T/Tc
    (equation 3.14)

    Source: SPAN96.
    Check value: 927.6 at temperature_c=0 (+-0.5).
    """
    _, h = _on_the_line(temperature_c)
    near = 1.9245108 * _power(h, 0.34) - 0.62385555 * _power(h, 0.5)
    far = -0.32731127 * _power(h, 10.0 / 6.0) + 0.39245142 * _power(h, 11.0 / 6.0)
    return CO2_CRITICAL_KG_M3 * _exp(near + far)


def saturated_vapour_kg_m3(*, temperature_c: Numbers) -> Values:
    """Density of the vapour above its liquid, kg/m3; NaN outside the triple and critical points.

    ln(rho/rho_c) = -1.7074879 h^0.34 - 0.82274670 h^0.5 - 4.6008549 h - 10.111178 h^(7/3) - 29.742252 h^(14/3),
    h = 1 - T/Tc (equation 3.15)

    Source: SPAN96.
    Check value: 97.65 at temperature_c=0 (+-0.05).
    Check value: 194.2 at temperature_c=20 (+-0.05).
    """
    _, h = _on_the_line(temperature_c)
    near = -1.7074879 * _power(h, 0.34) - 0.82274670 * _power(h, 0.5) - 4.6008549 * h
    far = -10.111178 * _power(h, 7.0 / 3.0) - 29.742252 * _power(h, 14.0 / 3.0)
    return CO2_CRITICAL_KG_M3 * _exp(near + far)


def thin_gas_kg_m3(*, temperature_c: Numbers, pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR) -> Values:
    """Density of the gas near one atmosphere (to 3 bar, 0-40 C: within 0.05 % of the reference equation), kg/m3.

    rho = p M / (R T) / (1 + B p/(R T)), B the second virial coefficient of Weiss (1974).

    Source: DERIVED, WEISS74.
    Check value: 1.8393 at temperature_c=20 (+-5e-4).
    Check value: 1.9768 at temperature_c=0 (+-5e-4).
    """
    t = kelvin(temperature_c=temperature_c)
    mol_cm3 = pressure_bar / (GAS_CONSTANT_CM3_BAR_MOL_K * t)
    virial = virial_weiss1974(temperature_c=temperature_c)
    return np.asarray(MOLAR_MASS_G_MOL["CO2"] * 1000.0 * mol_cm3 / (1.0 + virial * mol_cm3))


def gas_density(*, temperature_c: Numbers, pressure_bar: Numbers) -> GasDensity:
    """Density of the gas in a cylinder without liquid, with the error to expect: 3 % to 70 bar, 15 % to 100 bar.

    The largest root of the Peng-Robinson equation in Z = p v/(R T). Refused (NaN) above saturation pressure, where
    there would be liquid, above 100 bar and above 50 C.

    Source: PENG76.
    Check value: density_kg_m3 = 143.6 at temperature_c=20, pressure_bar=50 (+-0.2).
    Check value: relative_error = 0.15 at temperature_c=35, pressure_bar=90 (+-1e-12).
    """
    t = kelvin(temperature_c=temperature_c)
    p = np.asarray(pressure_bar, dtype=np.float64)
    saturation = saturation_pressure_bar(temperature_c=temperature_c)
    limit = np.where(np.isnan(saturation), WIDE_TO_BAR, saturation)
    allowed = (p > 0.0) & (p <= limit) & (t > CO2_TRIPLE_K) & (t <= HOTTEST_C + ZERO_CELSIUS_K)
    z = _largest_compressibility(t, np.where(allowed, p, np.nan))
    density = p * MOLAR_MASS_G_MOL["CO2"] * 1000.0 / (z * GAS_CONSTANT_CM3_BAR_MOL_K * t)
    error = np.where(p <= GOOD_TO_BAR, GOOD_ERROR, WIDE_ERROR)
    return GasDensity(density, np.where(np.isnan(density), np.nan, error))


def gas_pressure_bar(*, temperature_c: Numbers, density_kg_m3: Numbers) -> Values:
    """Pressure of the gas of a density, bar absolute: Peng-Robinson, to 250 kg/m3; NaN beyond.

    p = R T/(v - b) - a/(v^2 + 2 b v - b^2)

    Source: PENG76.
    Check value: 50 at temperature_c=20, density_kg_m3=143.58 (+-0.02).
    """
    t = kelvin(temperature_c=temperature_c)
    a, b = _attraction_and_volume(t)
    density = np.asarray(density_kg_m3, dtype=np.float64)
    thin = np.where((density > 0.0) & (density <= DENSEST_GAS_KG_M3), density, np.nan)
    v = MOLAR_MASS_G_MOL["CO2"] * 1000.0 / thin
    pressure = GAS_CONSTANT_CM3_BAR_MOL_K * t / (v - b) - a / (v**2 + 2.0 * b * v - b**2)
    return np.where(density == 0.0, 0.0, pressure)


def liquid_gone_mass_kg(*, water_capacity_l: Numbers, temperature_c: Numbers) -> Values:
    """Mass left when the last liquid evaporates, kg: rho_v V. NaN at and above the critical temperature: no liquid.

    Source: DERIVED, SPAN96.
    Check value: 1.285 at water_capacity_l=6.617647, temperature_c=20 (+-0.002).
    """
    return saturated_vapour_kg_m3(temperature_c=temperature_c) * water_capacity_l / 1000.0


def liquid_gone_in_range(
    *, water_capacity_l: Numbers, lowest_temperature_c: Numbers, highest_temperature_c: Numbers
) -> LiquidGone:
    """Mass at which the last liquid goes when the cylinder may be anywhere in a range of temperature.

    Middle of the masses at the two ends; sd of a uniform spread between them (JCGM 100, 4.3.7). NaN where the range
    reaches the critical temperature.

    Source: DERIVED, SPAN96, JCGM08.
    Check value: mass_kg = 1.285 at water_capacity_l=6.617647, lowest_temperature_c=20, highest_temperature_c=20
        (+-0.002).
    """
    low = liquid_gone_mass_kg(water_capacity_l=water_capacity_l, temperature_c=lowest_temperature_c)
    high = liquid_gone_mass_kg(water_capacity_l=water_capacity_l, temperature_c=highest_temperature_c)
    return LiquidGone(0.5 * (low + high), np.abs(high - low) / np.sqrt(12.0))


def one_phase_above_c(*, fill_kg_l: Numbers) -> Values:
    """Temperature above which a charge no longer has liquid and vapour but one phase, degree Celsius.

    Where the saturated liquid (of a fill above the critical density; the vapour below it) is as dense as the fill, by
    bisection. Above it the pressure of a full cylinder climbs steeply: keep cylinders cool.

    Source: DERIVED, SPAN96.
    Check value: 26.8 at fill_kg_l=0.68 (+-0.05).
    Check value: 22.1 at fill_kg_l=0.75 (+-0.1).
    """
    fill = 1000.0 * np.asarray(fill_kg_l, dtype=np.float64)
    low = np.full(fill.shape, CO2_TRIPLE_K - ZERO_CELSIUS_K)
    high = np.full(fill.shape, CRITICAL_TEMPERATURE_C)
    for _ in range(60):
        middle = 0.5 * (low + high)
        liquid_lighter = saturated_liquid_kg_m3(temperature_c=middle) < fill
        vapour_denser = saturated_vapour_kg_m3(temperature_c=middle) > fill
        passed = np.where(fill >= CO2_CRITICAL_KG_M3, liquid_lighter, vapour_denser)
        low, high = np.where(passed, low, middle), np.where(passed, middle, high)
    return np.asarray(0.5 * (low + high))


def contents_by_mass(*, mass_kg: Numbers, water_capacity_l: Numbers, temperature_c: Numbers) -> Contents:
    """What a mass in a cylinder is at a temperature: liquid with vapour, gas, or one dense phase, and its pressure.

    With liquid, p = psat(T), liquid mass (m - rho_v V) rho_l/(rho_l - rho_v). Gas: Peng-Robinson. One dense phase: no
    pressure is given.

    Source: DERIVED, SPAN96, PENG76.
    Check value: pressure_bar = 57.3 at mass_kg=4.5, water_capacity_l=6.617647, temperature_c=20 (+-0.05).
    Check value: pressure_bar = 50 at mass_kg=0.950, water_capacity_l=6.617647, temperature_c=20 (+-0.1).
    Check value: liquid_gone_mass_kg = 1.285 at mass_kg=4.5, water_capacity_l=6.617647, temperature_c=20 (+-0.002).
    """
    mass, capacity, celsius = np.broadcast_arrays(
        *(np.asarray(each, dtype=np.float64) for each in (mass_kg, water_capacity_l, temperature_c))
    )
    density = 1000.0 * mass / capacity
    liquid, vapour = saturated_liquid_kg_m3(temperature_c=celsius), saturated_vapour_kg_m3(temperature_c=celsius)
    has_liquid = (density > vapour) & (density < liquid)
    is_gas = np.where(np.isnan(vapour), density <= DENSEST_GAS_KG_M3, density <= vapour)
    pressure = np.where(
        has_liquid,
        saturation_pressure_bar(temperature_c=celsius),
        gas_pressure_bar(temperature_c=celsius, density_kg_m3=np.where(is_gas, density, np.nan)),
    )
    share = np.where(has_liquid, (density - vapour) / np.where(has_liquid, liquid - vapour, 1.0), 0.0)
    liquid_kg = np.where(has_liquid, share * np.where(has_liquid, liquid, 0.0) * capacity / 1000.0, 0.0)
    return Contents(
        pressure_bar=pressure,
        has_liquid=has_liquid,
        is_gas=is_gas,
        liquid_kg=liquid_kg,
        vapour_kg=np.where(has_liquid | is_gas, mass - liquid_kg, np.nan),
        liquid_gone_mass_kg=vapour * capacity / 1000.0,
    )


def contents_by_pressure(
    *,
    pressure_bar: Numbers,
    pressure_error_bar: Numbers,
    water_capacity_l: Numbers,
    charge_kg: Numbers,
    lowest_temperature_c: Numbers,
    highest_temperature_c: Numbers,
) -> ContentsByPressure:
    """The masses a pressure reading allows when the cylinder's temperature lies in a range.

    The lightest is gas at the lowest pressure and highest temperature, the heaviest gas at the highest pressure and
    lowest temperature, or the whole charge where that pressure reaches saturation: liquid may then be present. The
    error of the gas equation is in the bounds. mass_kg is that of the readings themselves at mid-range.

    Source: DERIVED, SPAN96, PENG76.
    Check value: mass_kg = 0.444 at pressure_bar=30, pressure_error_bar=1, water_capacity_l=6.617647, charge_kg=4.5,
        lowest_temperature_c=20, highest_temperature_c=20 (+-0.002).
    Check value: high_kg = 4.5 at pressure_bar=57.3, pressure_error_bar=1, water_capacity_l=6.617647, charge_kg=4.5,
        lowest_temperature_c=20, highest_temperature_c=20 (+-1e-12).
    """
    cubic_metres = np.asarray(water_capacity_l, dtype=np.float64) / 1000.0
    least, most = (np.maximum(pressure_bar + sign * np.asarray(pressure_error_bar), 0.0) for sign in (-1.0, 1.0))
    thin = gas_density(temperature_c=highest_temperature_c, pressure_bar=least)
    dense = gas_density(temperature_c=lowest_temperature_c, pressure_bar=most)
    may_hold_liquid = most >= saturation_pressure_bar(temperature_c=lowest_temperature_c)
    must_hold_liquid = least >= saturation_pressure_bar(temperature_c=highest_temperature_c)
    driest = saturated_vapour_kg_m3(temperature_c=lowest_temperature_c)
    low = np.where(must_hold_liquid, driest, thin.density_kg_m3 * (1.0 - thin.relative_error)) * cubic_metres
    high = np.where(may_hold_liquid, charge_kg, dense.density_kg_m3 * (1.0 + dense.relative_error) * cubic_metres)
    middle = gas_density(
        temperature_c=0.5 * (np.asarray(lowest_temperature_c) + highest_temperature_c), pressure_bar=pressure_bar
    )
    mass = np.where(may_hold_liquid, np.nan, middle.density_kg_m3 * cubic_metres)
    return ContentsByPressure(*np.broadcast_arrays(mass, low, np.minimum(high, charge_kg), may_hold_liquid))


def _on_the_line(temperature_c: Numbers) -> tuple[Values, Values]:
    """T and 1 - T/Tc, NaN where liquid and vapour cannot stand side by side."""
    t = kelvin(temperature_c=temperature_c)
    t = np.where((t >= CO2_TRIPLE_K) & (t < CO2_CRITICAL_K), t, np.nan)
    return t, 1.0 - t / CO2_CRITICAL_K


def _attraction_and_volume(t: Values) -> tuple[Values, float]:
    """a(T), cm6 bar/mol2, and b, cm3/mol, of Peng & Robinson 1976."""
    w = CO2_ACENTRIC_FACTOR
    rt = GAS_CONSTANT_CM3_BAR_MOL_K * CO2_CRITICAL_K
    slope = 0.37464 + 1.54226 * w - 0.26992 * w**2
    a = 0.45724 * rt**2 / CO2_CRITICAL_BAR * (1.0 + slope * (1.0 - np.sqrt(t / CO2_CRITICAL_K))) ** 2
    return np.asarray(a), 0.07780 * rt / CO2_CRITICAL_BAR


def _largest_compressibility(t: Values, p: Values) -> Values:
    """Largest real root of Z^3 - (1 - B) Z^2 + (A - 3 B^2 - 2 B) Z - (A B - B^2 - B^3) = 0."""
    a, b = _attraction_and_volume(t)
    rt = GAS_CONSTANT_CM3_BAR_MOL_K * t
    big_a, big_b = a * p / rt**2, b * p / rt
    c2 = big_b - 1.0
    c1 = big_a - 3.0 * big_b**2 - 2.0 * big_b
    c0 = -(big_a * big_b - big_b**2 - big_b**3)
    third_p = (c1 - c2**2 / 3.0) / 3.0
    half_q = c2**3 / 27.0 - c2 * c1 / 6.0 + 0.5 * c0
    discriminant = half_q**2 + third_p**3
    root = np.sqrt(np.maximum(discriminant, 0.0))
    single = np.cbrt(-half_q + root) + np.cbrt(-half_q - root)
    radius = np.sqrt(np.maximum(-third_p, 0.0))
    cosine = np.clip(-half_q / np.where(radius > 0.0, radius**3, 1.0), -1.0, 1.0)
    threefold = 2.0 * radius * np.cos(np.arccos(cosine) / 3.0)
    return np.asarray(np.where(discriminant > 0.0, single, threefold) - c2 / 3.0)


def _power(base: Values, exponent: float) -> Values:
    result: Values = np.power(base, exponent)
    return result


def _exp(exponent: Values) -> Values:
    result: Values = np.exp(exponent)
    return result
