"""Calcium consumed for each meq of alkalinity: skeletons, or something else?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from service.computations.answers import LEVEL, remark
from service.science.answer import ConsumptionEstimate
from service.science.fieller import ratio_interval

PURE, CORALLINE = 20.04, 17.0
"""mg of calcium a meq: pure calcium carbonate, and with 15 mol% of magnesium carbonate in it."""
Z_95 = 1.959964


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


def ratio_findings(ratio: dict[str, Any] | None, system_id: UUID) -> list[dict[str, Any]]:
    """What a ratio says that lies outside 17 to 20.04 mg/meq with all its interval; silent when it is wide."""
    if ratio is None or ratio["low"] is None or ratio["high"] is None:
        return []
    told = f"{ratio['value']:.1f} ({ratio['low']:.1f} to {ratio['high']:.1f}) mg of calcium a meq of alkalinity"
    if ratio["high"] < CORALLINE:
        detail = (
            f"{told}, less than skeletons take (17 to 20.04): alkalinity goes elsewhere too, as with nitrification "
            "(see the nitrate course), or one of the two kits drifts. Read a check standard of each."
        )
        return [remark("alkalinity_beyond_skeletons", detail, system_id)]
    if ratio["low"] > PURE:
        detail = (
            f"{told}, more than skeletons take (17 to 20.04): alkalinity comes from where nobody records it, as with "
            "denitrification, or one of the two kits drifts. Read a check standard of each."
        )
        return [remark("calcium_beyond_skeletons", detail, system_id)]
    return []


def _variance(estimate: ConsumptionEstimate) -> float:
    assert estimate.best_low is not None
    assert estimate.best_high is not None
    return float(((estimate.best_high - estimate.best_low) / (2.0 * Z_95)) ** 2)
