"""The same gas seen by chemistry, by weighing, by bubbles and by a flow meter, and what a difference means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.chemistry import Chemistry, phs_as_weighed
from service.computations.output_balance.many import column, of_known, rows
from service.computations.output_balance.numbers import Number, Z, bounds
from service.computations.output_balance.outflow import Outflow, outflow_of
from service.computations.output_balance.situation import Situation
from service.science import gas_sources
from service.science.gas_sources import fuse_rates

DEGASSED = (
    "A sample that lost gas before its pH was read shows 0.1 to 0.3 too high a pH and 8 to 20 % too little CO2. Read "
    "the "
    "pH in the chamber or in a closed cell before looking for a leak."
)


@dataclass(frozen=True)
class _Witnesses:
    """Of one reactor: its chemistry, and the gas seen by it, where there is any to be seen."""

    situation: Situation
    chemistry: Chemistry | None
    by_chemistry: Number | None

    @property
    def weighed(self) -> Number | None:
        """The gas weighed out, where it can be held against the water's."""
        weighed = self.situation.gas.by_weighing
        return None if self.situation.doubts_flow or weighed is None or weighed.value <= 0 else weighed

    @property
    def all_four(self) -> tuple[Number | None, ...]:
        """Chemistry, weighing, bubbles and flow meter."""
        gas = self.situation.gas
        return self.by_chemistry, gas.by_weighing, gas.by_bubbles, gas.by_gas_flow


def gas_checks(situations: Sequence[Situation], chemistries: Sequence[Chemistry | None]) -> list[dict[str, Any]]:
    """For each reactor the four witnesses, what they say together, and what their disagreement means."""
    every = [_witnesses(*each) for each in zip(situations, chemistries, strict=True)]
    fused = of_known(
        (each.all_four if sum(one is not None for one in each.all_four) > 1 else None for each in every), _fused
    )
    return [_shown(*each) for each in zip(every, fused, _differences(every), strict=True)]


def gas_told(situation: Situation, chemistry: Chemistry | None) -> Number | None:
    """The use of gas, g/d, by whatever witnesses there are: all together, or the only one."""
    told = _witnesses(situation, chemistry).all_four
    known = [each for each in told if each is not None]
    return _fused([told])[0] if len(known) > 1 else next(iter(known), None)


def _witnesses(situation: Situation, chemistry: Chemistry | None) -> _Witnesses:
    added = None if chemistry is None else chemistry.added_g_d
    return _Witnesses(situation, chemistry, None if added is None or added.value <= 0 else added)


def _shown(seen: _Witnesses, fused: Number | None, difference: dict[str, Any] | None) -> dict[str, Any]:
    situation, chemistry, gas = seen.situation, seen.chemistry, seen.situation.gas
    return {
        "by_chemistry": None if chemistry is None or seen.by_chemistry is None else chemistry.gas["added"],
        "by_weighing": bounds(gas.by_weighing, "g/d"),
        "by_bubbles": bounds(gas.by_bubbles, "g/d"),
        "by_gas_flow": bounds(gas.by_gas_flow, "g/d"),
        "fused": bounds(fused, "g/d"),
        "finding": _degassed(situation) or _beyond(situation, chemistry) or difference,
    }


def _fused(witnesses: Sequence[tuple[Number | None, ...]]) -> list[Number]:
    """One rate from at least two witnesses each, by inverse variance; wider where they disagree."""
    rate, sd = (
        np.array([[math.nan if one is None else getattr(one, name) for one in each] for each in witnesses])
        for name in ("value", "sd")
    )
    found = fuse_rates(rate_g_d=rate, rate_sd=sd)
    return [Number(*each) for each in zip(found.rate_g_d.tolist(), found.sd_g_d.tolist(), strict=True)]


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


@dataclass(frozen=True)
class _Pair:
    """Gas weighed out and gas in the water of one chamber, and from what score they are said to differ."""

    outflow: Outflow
    weighed: Number
    by_chemistry: Number
    significant_score: float


@dataclass(frozen=True)
class _Difference:
    """Gas that was weighed out and does not show in the water, or the other way about, beyond the errors of both.

    `parts`: of what was weighed out, with the ends of its interval.
    """

    pair: _Pair
    is_missing: bool
    parts: tuple[float, float, float]


def _differences(every: Sequence[_Witnesses]) -> list[dict[str, Any] | None]:
    """Weighed gas against gas in the water, where they differ by more than their errors."""
    found = of_known(map(_pair, every), _compared)
    missing = [(each.pair.outflow, each.pair.weighed.value) if each and each.is_missing else None for each in found]
    return [
        None if each is None else _told(each, ph, seen.situation.subject_id)
        for each, ph, seen in zip(found, of_known(missing, phs_as_weighed), every, strict=True)
    ]


def _pair(seen: _Witnesses) -> _Pair | None:
    if seen.chemistry is None or seen.by_chemistry is None or seen.weighed is None:
        return None
    outflow = outflow_of(seen.situation.chamber, seen.chemistry.inflow)
    score = seen.situation.gas.significant_score
    return None if outflow is None else _Pair(outflow, seen.weighed, seen.by_chemistry, score)


def _compared(pairs: Sequence[_Pair]) -> list[_Difference | None]:
    found = gas_sources.gas_check(
        weighed_g_d=column(each.weighed.value for each in pairs),
        weighed_sd=column(each.weighed.sd for each in pairs),
        chemistry_g_d=column(each.by_chemistry.value for each in pairs),
        chemistry_sd=column(each.by_chemistry.sd for each in pairs),
    )
    return [
        None
        if abs(each.score) < pair.significant_score
        else _Difference(
            pair,
            bool(each.missing_g_d >= 0),
            (float(each.missing_fraction), float(each.low_fraction), float(each.high_fraction)),
        )
        for pair, each in zip(pairs, rows(found), strict=True)
    ]


def _told(difference: _Difference, ph: float | None, subject_id: UUID | None) -> dict[str, Any]:
    """`ph`: that at which the water would show all that was weighed out."""
    part, low, high = (100 * abs(each) for each in difference.parts)
    span = f"{part:.0f} % ({min(low, high):.0f} to {max(low, high):.0f} %)"
    if not difference.is_missing:
        detail = (
            f"The water shows {span} more CO2 than was weighed out: is the chamber pH read too low, the alkalinity or "
            "the drip too high, or does another cylinder feed this reactor?"
        )
        return remark("gas_unweighed", detail, subject_id)
    alone = "" if ph is None else f" Degassing alone would explain it if the chamber stood at pH {ph:.2f}."
    detail = (
        f"{span} of the gas weighed out does not show in the water: a leak or vented gas, or a sample that had lost "
        f"gas.{alone} {DEGASSED} Search for leaks with soapy water, not by smell; ventilate first."
    )
    return remark("gas_missing", detail, subject_id)
