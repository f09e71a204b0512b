"""Media in a reactor: what has dissolved, and when it is time to refill."""

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values
from service.science.constants import MOLAR_MASS_G_MOL

BULK_KG_L = (1.0, 1.8)
"""Bulk density of reactor media, from aragonite's 2.93 kg/L, voids of 0.4-0.5 and porous grains (all from memory)."""
PURITY = 0.97
"""Calcium carbonate in the media, from memory; set per media."""
REFILL_AT_FRACTION = 0.5
"""Of what was filled. Common practice: refill when half is left; below that surface and flow suffer."""
Z_95 = 1.959964


@dataclass(frozen=True, slots=True)
class MediaForecast:
    """What is left of the media and when it reaches the refill mark; all fields one shape.

    low and high are 95 %; days count from now, 0 where the mark is behind, inf where nothing dissolves.
    """

    left_kg: Values
    left_low_kg: Values
    left_high_kg: Values
    refill_days: Values
    refill_low_days: Values
    refill_high_days: Values


def dissolved_kg(*, supplied_meq: Numbers, purity: Numbers = PURITY) -> Values:
    """Media dissolved for an amount of alkalinity supplied: 50.04 mg/meq over its purity.

    What stays behind undissolved is in it: a weighing shows the same only when rinsed and dry.

    Source: DERIVED, IUPAC05.
    Check value: 0.02580 at supplied_meq=500, purity=0.97 (+-1e-5).
    """
    return np.asarray(supplied_meq, dtype=np.float64) * MOLAR_MASS_G_MOL["CaCO3"] / 2.0 * 1e-6 / purity


def media_forecast(
    *,
    filled_kg: Numbers,
    filled_sd: Numbers,
    supplied_meq: Numbers,
    supplied_relative_sd: Numbers,
    supply_meq_d: Numbers,
    supply_sd: Numbers,
    shared_relative_sd: Numbers = 0.0,
    purity: Numbers = PURITY,
    refill_at_fraction: Numbers = REFILL_AT_FRACTION,
) -> MediaForecast:
    """Media left and days to the refill mark, by what has been supplied since the fill, not by time.

    filled_kg is the mass of all fills and additions (filled_sd its sd, kg), supply_meq_d the present supply
    (supply_sd its sd, meq/d), refill_at_fraction the part left at which to refill. supplied_relative_sd and supply_sd
    are errors of their own; shared_relative_sd is what both supplies are off together (the watch, the titrant, the
    purity). For the days' interval each error moves them alone; what that does is added in quadrature, either side
    apart: the traditional way (see `chamber_uncertainty`), held to draws of all errors.

    Source: DERIVED, IUPAC05, PRACTICE.
    Check value: refill_days = 96.9 at filled_kg=5, filled_sd=0, supplied_meq=0, supplied_relative_sd=0,
        supply_meq_d=500, supply_sd=0 (+-0.1).
    """
    filled, gone, rate = (
        np.asarray(filled_kg, dtype=np.float64),
        dissolved_kg(supplied_meq=supplied_meq, purity=purity),
        dissolved_kg(supplied_meq=supply_meq_d, purity=purity),
    )
    gone_sd = gone * supplied_relative_sd
    rate_sd = dissolved_kg(supplied_meq=supply_sd, purity=purity)
    left, left_sd = filled - gone, np.hypot(np.hypot(filled_sd, gone_sd), gone * shared_relative_sd)
    keep = 1.0 - np.asarray(refill_at_fraction)

    def days(filled_now: Values, gone_now: Values, rate_now: Values) -> Values:
        to_go = np.maximum(filled_now * keep - gone_now, 0.0)
        return np.where(rate_now > 0.0, to_go / np.where(rate_now > 0.0, rate_now, 1.0), np.inf)

    at = days(filled, gone, rate)
    below, above = np.zeros_like(at), np.zeros_like(at)
    finite = np.isfinite(at)
    for score in (-Z_95, Z_95):
        both = 1.0 + score * np.asarray(shared_relative_sd)
        for moved in (
            days(filled + score * np.asarray(filled_sd), gone, rate),
            days(filled, gone + score * gone_sd, rate),
            days(filled, gone, rate + score * rate_sd),
            days(filled, gone * both, rate * both),
        ):
            off = np.where(finite, moved, 0.0) - np.where(finite, at, 0.0)
            below, above = below + np.minimum(off, 0.0) ** 2, above + np.maximum(off, 0.0) ** 2
    parts = np.broadcast_arrays(
        left,
        left - Z_95 * left_sd,
        left + Z_95 * left_sd,
        at,
        np.where(finite, np.maximum(np.where(finite, at, 0.0) - np.sqrt(below), 0.0), np.inf),
        at + np.sqrt(above),
    )
    return MediaForecast(*parts)
