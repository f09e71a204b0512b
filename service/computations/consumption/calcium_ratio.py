"""Calcium consumed for each meq of alkalinity: skeletons, or something else?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from service.computations.answers import LEVEL, remark
from service.computations.consumption.water import Part
from service.science.answer import ConsumptionEstimate
from service.science.fieller import ratio_interval

PURE, CORALLINE = 20.04, 17.0
"""mg of calcium a meq: pure calcium carbonate, and with 15 mol% of magnesium carbonate in it."""
Z_95 = 1.959964
FELL_OUT = " Carbonate fell out within the record (see `precipitation`): then one jump is in both consumptions."


def per_alkalinity(calcium: ConsumptionEstimate, alkalinity: ConsumptionEstimate) -> dict[str, Any] | None:
    """Calcium over alkalinity consumed, mg/meq, with Fieller's interval; None where either is not known well enough.

    Both are net of what reactors and doses bring, whose drip they share: taken as independent, the interval is wide.
    """
    if alkalinity.value is None or calcium.best is None or alkalinity.value <= 0:
        return None
    found = ratio_interval(
        numerator_mean=calcium.best,
        numerator_variance=_variance(calcium),
        denominator_mean=alkalinity.value,
        denominator_variance=_variance(alkalinity),
        covariance=0.0,
        score=Z_95,
    )
    bounded = bool(found.is_bounded)
    return {
        "value": calcium.best / alkalinity.value,
        "low": float(found.low) if bounded else None,
        "high": float(found.high) if bounded else None,
        "level": LEVEL,
        "unit": "mg/meq",
    }


def ratio_findings(
    ratio: dict[str, Any] | None,
    system_id: UUID,
    nitrate: Part | None = None,
    alkalinity: ConsumptionEstimate | None = None,
    *,
    has_lost: bool = False,
) -> list[dict[str, Any]]:
    """What a ratio says that lies outside 17 to 20.04 mg/meq with all its interval; silent when it is wide.

    nitrate: the part of alkalinity that went with it, meq/L/d. has_lost: carbonate fell out within the record.
    """
    if ratio is None or ratio["low"] is None or ratio["high"] is None:
        return []
    told = f"{ratio['value']:.1f} ({ratio['low']:.1f} to {ratio['high']:.1f}) mg of calcium a meq of alkalinity"
    if ratio["high"] < CORALLINE:
        detail = (
            f"{told}, less than skeletons take (17 to 20.04): alkalinity goes elsewhere too, as with nitrification "
            f"({_by_nitrate(ratio, nitrate, alkalinity)}), or one of the two kits drifts. Read a check standard of "
            "each."
        )
        return [remark("alkalinity_beyond_skeletons", detail, system_id)]
    if ratio["low"] > PURE:
        detail = (
            f"{told}, more than skeletons take (17 to 20.04): alkalinity comes from where nobody records it, as with "
            f"denitrification ({_by_nitrate(ratio, nitrate, alkalinity)}), or one of the two kits drifts. Read a check "
            f"standard of each.{FELL_OUT if has_lost else ''}"
        )
        return [remark("calcium_beyond_skeletons", detail, system_id)]
    return []


def _by_nitrate(ratio: dict[str, Any], nitrate: Part | None, alkalinity: ConsumptionEstimate | None) -> str:
    """What the nitrate course says of a ratio, in words."""
    if nitrate is None or alkalinity is None or alkalinity.value is None:
        return "nitrate, read every week, would tell"
    value, low, high = nitrate.interval
    if low <= 0.0 <= high:
        return f"the nitrate course shows none: {value:.3f} ({low:.3f} to {high:.3f}) meq/L/d"
    verb = "takes" if value > 0 else "gives back"
    ends = (value, low, high) if value > 0 else (-value, -high, -low)
    told = f"by its course nitrate {verb} {ends[0]:.3f} ({ends[1]:.3f} to {ends[2]:.3f}) meq/L/d"
    left = alkalinity.value - value
    return f"{told}; without it {ratio['value'] * alkalinity.value / left:.1f} mg a meq" if left > 0 else told


def _variance(estimate: ConsumptionEstimate) -> float:
    assert estimate.best_low is not None
    assert estimate.best_high is not None
    return float(((estimate.best_high - estimate.best_low) / (2.0 * Z_95)) ** 2)
