"""Net calcification of corals in closed or flowing water, from what the alkalinity did: the alkalinity anomaly.

Two moles of alkalinity go with every mole of calcium carbonate. Nutrients move alkalinity too: taking up ammonium
lowers it by one, taking up nitrate, nitrite or phosphate raises it by one, so that authors correct for them, each for
other ones. A change is end minus start; a positive rate is a skeleton that grows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from service.science import Numbers, Values


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate and one standard deviation of it, micromole of calcium carbonate an hour; both of one shape."""

    value_umol_h: Values
    sd_umol_h: Values


def corrected_change_umol(
    *,
    alkalinity_umol: Numbers,
    ammonium_umol: Numbers = 0.0,
    nitrate_umol: Numbers = 0.0,
    nitrite_umol: Numbers = 0.0,
    phosphate_umol: Numbers = 0.0,
) -> Values:
    """The change of alkalinity that carbonate alone would have made; all terms are changes on one basis (kg or L).

    dTA - dNH4 + dNO3 + dNO2 + dPO4, with NH4 all ammonia and PO4 all phosphate, as they are measured.

    Source: WOLFGLADROW07.
    Check value: -98.55 at alkalinity_umol=-100.0, ammonium_umol=-0.8, nitrate_umol=0.5, nitrite_umol=0.05,
        phosphate_umol=0.1 (+-1e-9).
    """
    result: Values = np.asarray(alkalinity_umol, dtype=np.float64) - ammonium_umol + nitrate_umol
    return result + nitrite_umol + phosphate_umol


def net_calcification_umol_h(
    *, corrected_change_umol_kg: Numbers, volume_l: Numbers, density_kg_l: Numbers, duration_hours: Numbers
) -> Values:
    """Calcium carbonate laid down an hour by everything in the water; negative where it dissolves.

    G = -(dTA - dNH4 + dNO3 + dNO2 + dPO4) / 2 x V rho / t

    With changes per litre the density is one kilogram a litre by definition of the basis.

    Source: SMITH75, CHISHOLM91.
    Check value: 252.2092 at corrected_change_umol_kg=-98.55, volume_l=10.0, density_kg_l=1.02368, duration_hours=2.0
        (+-0.001).
    """
    mass_kg = np.asarray(volume_l, dtype=np.float64) * density_kg_l
    result: Values = -np.asarray(corrected_change_umol_kg, dtype=np.float64) / 2.0 * mass_kg / duration_hours
    return result


def net_calcification_rate(
    *,
    corrected_change_umol_kg: Numbers,
    corrected_change_sd: Numbers,
    volume_l: Numbers,
    volume_sd: Numbers,
    density_kg_l: Numbers,
    density_sd: Numbers,
    duration_hours: Numbers,
    duration_sd: Numbers,
) -> Rate:
    """The rate and its standard deviation from those of the inputs, taken as independent, to first order.

    sd(G)^2 = (dG/dx sd(x))^2 summed over the change, the volume, the density and the duration

    Source: JCGM08, CHISHOLM91.
    Check value: sd_umol_h = 7.6653 at corrected_change_umol_kg=-98.55, corrected_change_sd=2.828427,
        volume_l=10.0, volume_sd=0.1, density_kg_l=1.02368, density_sd=0.0, duration_hours=2.0, duration_sd=0.0
        (+-0.0005).
    """
    value = net_calcification_umol_h(
        corrected_change_umol_kg=corrected_change_umol_kg,
        volume_l=volume_l,
        density_kg_l=density_kg_l,
        duration_hours=duration_hours,
    )
    per_change = np.asarray(volume_l, dtype=np.float64) * density_kg_l / (2.0 * np.asarray(duration_hours))
    variance = (per_change * corrected_change_sd) ** 2
    for part, sd in ((volume_l, volume_sd), (density_kg_l, density_sd), (duration_hours, duration_sd)):
        variance = variance + (value * np.asarray(sd, dtype=np.float64) / part) ** 2
    return Rate(*np.broadcast_arrays(value, np.sqrt(variance)))


def residence_hours(*, volume_l: Numbers, flow_l_h: Values) -> Values:
    """How long water stays in a vessel that it flows through, from flows read in turn: volume x mean of 1/flow.

    The mean of 1/flow, not one over the mean flow: an hour at half the flow weighs twice in what the corals changed.

    Shapes: the last axis of flow_l_h are the readings; the result has the shape of volume_l and the other axes.

    Source: DERIVED. Check value: none, tested by test_residence_time_averages_one_over_the_flow.
    """
    inverse: Values = np.mean(1.0 / np.asarray(flow_l_h, dtype=np.float64), axis=-1)
    return np.asarray(volume_l, dtype=np.float64) * inverse


def residence_of_mean_flow_hours(*, volume_l: Numbers, flow_l_h: Values) -> Values:
    """As residence_hours with the mean of the flows, as some authors have it: never longer than the other.

    Shapes: the last axis of flow_l_h are the readings; the result has the shape of volume_l and the other axes.

    Source: DERIVED. Check value: none, tested by test_residence_time_averages_one_over_the_flow.
    """
    mean: Values = np.mean(np.asarray(flow_l_h, dtype=np.float64), axis=-1)
    return np.asarray(volume_l, dtype=np.float64) / mean
