"""Carbon dioxide let into a room.

Caution: carbon dioxide is toxic at a few per cent while oxygen still reads normal (20.1 % at 40,000 ppm): an oxygen
monitor does not protect; use a carbon dioxide monitor. It is heavier than air and gathers in pits, below ground and
along floors. These are screening numbers for planning, never a clearance to enter; follow the local code, the gas
supplier and the site's safety officer.
"""

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values
from service.science.constants import (
    GAS_CONSTANT_CM3_BAR_MOL_K,
    MOLAR_MASS_G_MOL,
    STANDARD_ATMOSPHERE_BAR,
)
from service.science.equilibria import kelvin

OUTDOOR_PPM = 420.0
"""Of the years about 2023, from memory; it rises by two or three a year."""
OXYGEN_OF_AIR = 0.2095
"""Mole fraction in dry air, from memory."""


@dataclass(frozen=True, slots=True)
class Release:
    """Carbon dioxide in a room after a release, fractions by volume; all fields one shape.

    screening_fraction is the larger of the gas added to the air (simple) and the gas pushing air out (displaced).
    pooled_fraction: all of it in the lower half metre. oxygen_fraction is what an oxygen meter would still read there
    at the screening value.
    """

    gas_m3: Values
    simple_fraction: Values
    displaced_fraction: Values
    screening_fraction: Values
    pooled_fraction: Values
    oxygen_fraction: Values


@dataclass(frozen=True, slots=True)
class Ventilated:
    """A lasting leak into a ventilated room, ppm: after the time asked, and in the end; both one shape."""

    after_ppm: Values
    steady_ppm: Values


def gas_volume_m3(
    *, gas_kg: Numbers, temperature_c: Numbers, pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR
) -> Values:
    """Volume of a mass of carbon dioxide at room conditions, m3, as an ideal gas (0.5 % more than the real one).

    Source: BIPM19, IUPAC05.
    Check value: 0.547 at gas_kg=1, temperature_c=20 (+-0.001).
    """
    molar_m3_bar = GAS_CONSTANT_CM3_BAR_MOL_K * 1e-6 * kelvin(temperature_c=temperature_c)
    return np.asarray(gas_kg, dtype=np.float64) * 1000.0 / MOLAR_MASS_G_MOL["CO2"] * molar_m3_bar / pressure_bar


def mg_m3_from_ppm(
    *, concentration_ppm: Numbers, temperature_c: Numbers, pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR
) -> Values:
    """Mass of carbon dioxide in a cubic metre of air, mg.

    Source: BIPM19, IUPAC05, NIOSH94.
    Check value: 9000 at concentration_ppm=5000, temperature_c=25 (+-20).
    """
    per_kilogram = gas_volume_m3(gas_kg=1.0, temperature_c=temperature_c, pressure_bar=pressure_bar)
    return np.asarray(concentration_ppm, dtype=np.float64) / per_kilogram


def closed_room(
    *,
    gas_kg: Numbers,
    free_volume_m3: Numbers,
    lower_half_metre_m3: Numbers,
    temperature_c: Numbers,
    supply_air_ppm: Numbers = OUTDOOR_PPM,
    pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
) -> Release:
    """A mass of gas let into a room without ventilation: the larger of C0 + v/V and 1 - (1 - C0) exp(-v/V).

    free_volume_m3 is without what stands in it, lower_half_metre_m3 the part of it in the lowest half metre;
    supply_air_ppm what the incoming air really holds (420 outdoors, 800-1500 in occupied rooms). Fractions stop at 1.

    Source: DERIVED, BIPM19.
    Check value: simple_fraction = 0.0824 at gas_kg=4.5, free_volume_m3=30, lower_half_metre_m3=6, temperature_c=20
        (+-1e-4).
    Check value: displaced_fraction = 0.0791 at gas_kg=4.5, free_volume_m3=30, lower_half_metre_m3=6, temperature_c=20
        (+-1e-4).
    """
    gas = gas_volume_m3(gas_kg=gas_kg, temperature_c=temperature_c, pressure_bar=pressure_bar)
    before = np.asarray(supply_air_ppm, dtype=np.float64) * 1e-6
    simple = np.minimum(before + gas / free_volume_m3, 1.0)
    displaced = before + (1.0 - before) * -np.expm1(-gas / free_volume_m3)
    screening = np.maximum(simple, displaced)
    pooled = np.minimum(before + gas / np.minimum(lower_half_metre_m3, free_volume_m3), 1.0)
    parts = np.broadcast_arrays(gas, simple, displaced, screening, pooled, OXYGEN_OF_AIR * (1.0 - screening))
    return Release(*parts)


def ventilated_room(
    *,
    release_g_h: Numbers,
    free_volume_m3: Numbers,
    air_changes_per_hour: Numbers,
    elapsed_hours: Numbers,
    temperature_c: Numbers,
    supply_air_ppm: Numbers = OUTDOOR_PPM,
    pressure_bar: Numbers = STANDARD_ATMOSPHERE_BAR,
) -> Ventilated:
    """A lasting release into a mixed room with air changes: C0 + G/(n V) (1 - exp(-n t)), G in m3/h.

    Without air changes C0 + G t/V, and no end to it (steady inf).

    Source: DERIVED, BIPM19.
    Check value: after_ppm = 1854 at release_g_h=100, free_volume_m3=30, air_changes_per_hour=0.5, elapsed_hours=1,
        temperature_c=20 (+-2).
    Check value: steady_ppm = 4064 at release_g_h=100, free_volume_m3=30, air_changes_per_hour=0.5, elapsed_hours=1,
        temperature_c=20 (+-3).
    """
    per_kilogram = gas_volume_m3(gas_kg=1.0, temperature_c=temperature_c, pressure_bar=pressure_bar)
    rise_per_hour = 1e6 * np.asarray(release_g_h, dtype=np.float64) / 1000.0 * per_kilogram / free_volume_m3
    n, t = np.asarray(air_changes_per_hour, dtype=np.float64), np.asarray(elapsed_hours, dtype=np.float64)
    moving = np.where(n > 0.0, n, 1.0)
    reach = np.where(n > 0.0, -np.expm1(-moving * t) / moving, t)
    end = np.where(n > 0.0, rise_per_hour / moving, np.where(rise_per_hour > 0.0, np.inf, 0.0))
    parts = np.broadcast_arrays(supply_air_ppm + rise_per_hour * reach, supply_air_ppm + end)
    return Ventilated(*parts)


def hours_to_fall_to(
    *, peak_ppm: Numbers, wanted_ppm: Numbers, air_changes_per_hour: Numbers, supply_air_ppm: Numbers = OUTDOOR_PPM
) -> Values:
    """Hours of mixed ventilation from a peak down to a value: ln((C - C0)/(C_w - C0))/n; inf where it never gets there.

    Source: DERIVED.
    Check value: 4.31 at peak_ppm=40000, wanted_ppm=5000, air_changes_per_hour=0.5 (+-0.02).
    """
    peak, wanted = (np.asarray(x, dtype=np.float64) - supply_air_ppm for x in (peak_ppm, wanted_ppm))
    n = np.asarray(air_changes_per_hour, dtype=np.float64)
    reachable = (wanted > 0.0) & (n > 0.0)
    ratio = np.maximum(peak / np.where(reachable, wanted, 1.0), 1.0)
    return np.where(reachable, np.log(ratio) / np.where(reachable, n, 1.0), np.where(peak <= wanted, 0.0, np.inf))
