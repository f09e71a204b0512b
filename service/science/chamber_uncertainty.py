"""How well a chamber's balance is known: the errors of titration, pH and temperature carried through it.

Each reading is moved up and down by its error alone, and what that does to a result is added in quadrature, upwards and
downwards apart: exact when one reading dominates, as pH does, and the usual propagation (JCGM 100) when the result is
straight in all of them. That is the traditional way and no theorem: Barlow (2003) shows that nothing justifies it in
general and where it goes wrong. Here it is held to 40,000 draws of all errors (94 to 96 % inside, neither side above
3.5 %). An error that lasts, such as a probe's, does not average away with more readings.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from service.science import Numbers, Values
from service.science.chamber import chamber_balance

TITRATION_RELATIVE_SD = 0.03
TANK_PH_SD = 0.05
CHAMBER_PH_SD = 0.10
TEMPERATURE_SD_C = 0.5
"""Common practice: a drop kit on a diluted sample, a tank probe, a chamber probe with its junction, a thermometer."""
Z_95 = 1.959964

READINGS = (
    "inflow_alkalinity_mol_kg",
    "inflow_ph_nbs",
    "effluent_alkalinity_mol_kg",
    "effluent_ph_nbs",
    "effluent_temperature_c",
)


class Interval(NamedTuple):
    """A result with the sd of its error and the ends of its 95 % interval; NaN where the result is."""

    value: Values
    sd: Values
    low: Values
    high: Values

    @classmethod
    def from_moves(cls, value: Values, up: Values, down: Values) -> "Interval":
        """From what each reading's error, up and down by 1.96 sd, moves a result by (first axis: the readings)."""
        highest, lowest = np.maximum(up, down), np.minimum(up, down)
        # A result that stops existing on the way, as D/C does when C falls to nothing, is not bounded on that side.
        lost = np.isnan(highest) & ~np.isnan(value)
        above = np.sqrt((np.where(lost, np.inf, np.maximum(highest, 0.0)) ** 2).sum(axis=0))
        below = np.sqrt((np.where(lost, np.fmin(up, down), np.minimum(lowest, 0.0)) ** 2).sum(axis=0))
        sd = np.sqrt(((0.5 * (up - down)) ** 2).sum(axis=0)) / Z_95
        return cls(*np.broadcast_arrays(value, sd, value - below, value + above))


@dataclass(frozen=True, slots=True)
class ChamberUncertainty:
    """The balance with the error of each result; all arrays one shape.

    ph_variance_fraction: what part of the variance of C comes from the effluent's pH.
    """

    dissolved_mol_kg: Interval
    added_co2_mol_kg: Interval
    used_fraction: Interval
    excess_co2_mol_kg: Interval
    omega_aragonite: Interval
    effluent_pco2_atm: Interval
    ph_variance_fraction: Values


@dataclass(frozen=True, slots=True)
class Degassing:
    """What a sample that had lost carbon dioxide before its pH was read would hide, for each rise of pH.

    Relative changes of C and Omega from the true chamber to the reading: a C that reads low looks like a leak.
    """

    added_co2_fraction: Values
    omega_fraction: Values


def chamber_balance_with_errors(
    *,
    inflow_alkalinity_mol_kg: Numbers,
    inflow_ph_nbs: Numbers,
    effluent_alkalinity_mol_kg: Numbers,
    effluent_ph_nbs: Numbers,
    salinity: Numbers,
    inflow_temperature_c: Numbers,
    effluent_temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
    inflow_alkalinity_relative_sd: Numbers = TITRATION_RELATIVE_SD,
    inflow_ph_sd: Numbers = TANK_PH_SD,
    effluent_alkalinity_relative_sd: Numbers = TITRATION_RELATIVE_SD,
    effluent_ph_sd: Numbers = CHAMBER_PH_SD,
    effluent_temperature_sd: Numbers = TEMPERATURE_SD_C,
) -> ChamberUncertainty:
    """The balance of one chamber with 95 % intervals. The defaults are common practice; the errors are independent.

    Source: DERIVED, JCGM08, PRACTICE.
    Check value: none, tested by test_intervals_hold_what_they_say.
    Shapes: the results are intervals, elementwise in what goes in.
    """
    reading = {
        "inflow_alkalinity_mol_kg": inflow_alkalinity_mol_kg,
        "inflow_ph_nbs": inflow_ph_nbs,
        "effluent_alkalinity_mol_kg": effluent_alkalinity_mol_kg,
        "effluent_ph_nbs": effluent_ph_nbs,
        "effluent_temperature_c": effluent_temperature_c,
    }
    sd = {
        "inflow_alkalinity_mol_kg": np.asarray(inflow_alkalinity_relative_sd) * inflow_alkalinity_mol_kg,
        "inflow_ph_nbs": inflow_ph_sd,
        "effluent_alkalinity_mol_kg": np.asarray(effluent_alkalinity_relative_sd) * effluent_alkalinity_mol_kg,
        "effluent_ph_nbs": effluent_ph_sd,
        "effluent_temperature_c": effluent_temperature_sd,
    }
    water = {"salinity": salinity, "inflow_temperature_c": inflow_temperature_c, "boron_factor": boron_factor}
    shape = np.broadcast_shapes(*(np.shape(each) for each in (*reading.values(), *sd.values())))
    # one row a reading moved up, one moved down, and last as read
    moved = {name: np.array(np.broadcast_to(reading[name], (2 * len(READINGS) + 1, *shape))) for name in READINGS}
    for row, name in enumerate(READINGS):
        step = Z_95 * np.asarray(sd[name])
        moved[name][row] += step
        moved[name][row + len(READINGS)] -= step
    found = chamber_balance(**moved, **water)

    def moves(result: str) -> tuple[Values, Values, Values]:
        rows = getattr(found, result)
        up, down = np.split(rows[:-1] - rows[-1], 2)
        return rows[-1], up, down

    def interval(result: str) -> Interval:
        return Interval.from_moves(*moves(result))

    _, up, down = moves("added_co2_mol_kg")
    squares = (up - down) ** 2
    whole = squares.sum(axis=0)
    return ChamberUncertainty(
        dissolved_mol_kg=interval("dissolved_mol_kg"),
        added_co2_mol_kg=interval("added_co2_mol_kg"),
        used_fraction=interval("used_fraction"),
        excess_co2_mol_kg=interval("excess_co2_mol_kg"),
        omega_aragonite=interval("omega_aragonite"),
        effluent_pco2_atm=interval("effluent_pco2_atm"),
        ph_variance_fraction=squares[READINGS.index("effluent_ph_nbs")] / np.where(whole > 0.0, whole, np.nan),
    )


def degassing(
    *,
    rise_in_ph_nbs: Numbers,
    inflow_alkalinity_mol_kg: Numbers,
    inflow_ph_nbs: Numbers,
    effluent_alkalinity_mol_kg: Numbers,
    effluent_ph_nbs: Numbers,
    salinity: Numbers,
    inflow_temperature_c: Numbers,
    effluent_temperature_c: Numbers,
    boron_factor: Numbers = 1.0,
) -> Degassing:
    """What a rise of the sample's pH above the chamber's pH of effluent_ph_nbs does to C and Omega.

    Alkalinity does not change when carbon dioxide is lost, unless carbonate precipitates.

    Source: DERIVED, LUEKER00, MUCCI83.
    Check value: added_co2_fraction = -0.08 at rise_in_ph_nbs=0.1, inflow_alkalinity_mol_kg=2.788120e-3,
        inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=8.712875e-3, effluent_ph_nbs=6.6, salinity=35,
        inflow_temperature_c=25, effluent_temperature_c=25 (+-0.005).
    Check value: added_co2_fraction = -0.20 at rise_in_ph_nbs=0.3, inflow_alkalinity_mol_kg=2.788120e-3,
        inflow_ph_nbs=8.1, effluent_alkalinity_mol_kg=8.712875e-3, effluent_ph_nbs=6.6, salinity=35,
        inflow_temperature_c=25, effluent_temperature_c=25 (+-0.005).
    """
    chamber, sample = (
        chamber_balance(
            inflow_alkalinity_mol_kg=inflow_alkalinity_mol_kg,
            inflow_ph_nbs=inflow_ph_nbs,
            effluent_alkalinity_mol_kg=effluent_alkalinity_mol_kg,
            effluent_ph_nbs=np.asarray(effluent_ph_nbs, dtype=np.float64) + rise,
            salinity=salinity,
            inflow_temperature_c=inflow_temperature_c,
            effluent_temperature_c=effluent_temperature_c,
            boron_factor=boron_factor,
        )
        for rise in (0.0, rise_in_ph_nbs)
    )
    return Degassing(
        sample.added_co2_mol_kg / chamber.added_co2_mol_kg - 1.0,
        sample.omega_aragonite / chamber.omega_aragonite - 1.0,
    )
