"""The same gas seen by chemistry, by weighing, by bubbles and by a flow meter, and what a difference means."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.chemistry import Chemistry, ph_as_weighed
from service.computations.output_balance.numbers import Number, Z, bounds
from service.computations.output_balance.situation import Situation
from service.science import gas_sources
from service.science.gas_sources import fuse_rates

DEGASSED = (
    "A sample that lost gas before its pH was read shows 0.1 to 0.3 too high a pH and 8 to 20 % too little CO2. Read "
    "the "
    "pH in the chamber or in a closed cell before looking for a leak."
)


def gas_check(situation: Situation, chemistry: Chemistry | None) -> dict[str, Any]:
    """The four witnesses, what they say together, and what their disagreement means."""
    gas = situation.gas
    by_chemistry = None if chemistry is None or chemistry.added_g_d is None else chemistry.added_g_d
    if by_chemistry is not None and by_chemistry.value <= 0:
        by_chemistry = None
    return {
        "by_chemistry": None if chemistry is None or by_chemistry is None else chemistry.gas["added"],
        "by_weighing": bounds(gas.by_weighing, "g/d"),
        "by_bubbles": bounds(gas.by_bubbles, "g/d"),
        "by_gas_flow": bounds(gas.by_gas_flow, "g/d"),
        "fused": bounds(_fused(by_chemistry, gas.by_weighing, gas.by_bubbles, gas.by_gas_flow), "g/d"),
        "finding": _degassed(situation)
        or _beyond(situation, chemistry)
        or _difference(situation, chemistry, by_chemistry),
    }


def _fused(*witnesses: Number | None) -> Number | None:
    """One rate from at least two witnesses, by inverse variance; wider where they disagree."""
    known = [each for each in witnesses if each is not None]
    if len(known) < 2:
        return None
    found = fuse_rates(rate_g_d=np.array([each.value for each in known]), rate_sd=np.array([each.sd for each in known]))
    return Number(float(found.rate_g_d), float(found.sd_g_d))


def _degassed(situation: Situation) -> dict[str, Any] | None:
    """A sample that reads clearly above the chamber it came from has lost gas."""
    chamber = situation.chamber
    if chamber.sample_ph is None or chamber.ph is None:
        return None
    rise = chamber.sample_ph - chamber.ph
    if rise.value <= Z * rise.sd:
        return None
    detail = (
        f"The effluent sample reads pH {chamber.sample_ph.value:.2f}, the chamber {chamber.ph.value:.2f}: the sample "
        "has "
        f"lost gas, or one of the two probes is off. The chamber's is used. {DEGASSED}"
    )
    return remark("degassed_sample", detail, situation.subject_id)


def _beyond(situation: Situation, chemistry: Chemistry | None) -> dict[str, Any] | None:
    """More alkalinity than the weighed gas can dissolve at any pH: the drip is read too high, or its effluent."""
    weighed, chamber = situation.gas.by_weighing, situation.chamber
    if chemistry is None or chemistry.least_g_d is None or weighed is None or situation.doubts_flow:
        return None
    least = chemistry.least_g_d
    more = least - weighed
    if weighed.value <= 0 or more.value <= situation.gas.significant_score * more.sd:
        return None
    assert chamber.flow is not None
    assert chamber.alkalinity is not None
    detail = (
        f"A drip of {chamber.flow.value:.1f} L/d at {chamber.alkalinity.value:.1f} meq/L takes at least {_g_d(least)} "
        f"of CO2, whatever the pH, and the cylinder lost {_g_d(weighed)}: the drip is read too high, the effluent's "
        "alkalinity too high, or another cylinder feeds this reactor. A leak would look the other way round. Time the "
        "drip by hand with a measuring cylinder, twice, and titrate the effluent again."
    )
    return remark("wrong_flow", detail, situation.subject_id)


def _g_d(rate: Number) -> str:
    return f"{rate.value:.1f} g/d ({rate.value - Z * rate.sd:.1f} to {rate.value + Z * rate.sd:.1f})"


def _difference(
    situation: Situation, chemistry: Chemistry | None, by_chemistry: Number | None
) -> dict[str, Any] | None:
    """Weighed gas against gas in the water, where they differ by more than their errors."""
    weighed = None if situation.doubts_flow else situation.gas.by_weighing
    if chemistry is None or by_chemistry is None or weighed is None or weighed.value <= 0:
        return None
    found = gas_sources.gas_check(
        weighed_g_d=weighed.value,
        weighed_sd=weighed.sd,
        chemistry_g_d=by_chemistry.value,
        chemistry_sd=by_chemistry.sd,
    )
    if abs(float(found.score)) < situation.gas.significant_score:
        return None
    part, low, high = (
        100 * abs(float(each)) for each in (found.missing_fraction, found.low_fraction, found.high_fraction)
    )
    span = f"{part:.0f} % ({min(low, high):.0f} to {max(low, high):.0f} %)"
    if float(found.missing_g_d) < 0:
        detail = (
            f"The water shows {span} more CO2 than was weighed out: is the chamber pH read too low, the alkalinity or "
            "the drip too high, or does another cylinder feed this reactor?"
        )
        return remark("gas_unweighed", detail, situation.subject_id)
    ph = ph_as_weighed(situation.chamber, chemistry.inflow, weighed.value)
    alone = "" if ph is None else f" Degassing alone would explain it if the chamber stood at pH {ph:.2f}."
    detail = (
        f"{span} of the gas weighed out does not show in the water: a leak or vented gas, or a sample that had lost "
        "gas."
        f"{alone if ph is not None and math.isfinite(ph) else ''} {DEGASSED} Search for leaks with soapy water, not by "
        "smell; ventilate first."
    )
    return remark("gas_missing", detail, situation.subject_id)
