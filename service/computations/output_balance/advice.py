"""Which knob to turn and how far, for each system the supply of which is known to be off."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any
from uuid import UUID

from service.computations.answers import remark
from service.computations.output_balance.balance import Balanced
from service.computations.output_balance.chemistry import Chemistry
from service.computations.output_balance.fitted import Turned, Wanted, turned
from service.computations.output_balance.limits import DRIP_LIMITED, MEDIA_LIMITED
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Situation
from service.science.reactor_output import Mode

STEPS = "Go in steps of a fifth at most, and test effluent and tank again after two or three days (common practice)."
MEND = (
    "Media: neither gas nor drip brings much more through this bed. Look for channels, sludge and coated grains, "
    "rinse or refill, gas closed and pressure let off first; then test the effluent again."
)
DOUBTFUL = "The drip's reading is in doubt: time it by hand, twice, before anything is turned."
POORLY_KNOWN = "Demand or supply is known too poorly to say how far to turn: time the drip, test effluent and tank."
HOLD = "Supply meets the demand as well as the two are known: turn nothing, test on."
PH_PER_LOG_CEILING = 0.1 / math.log(1.17)
"""0.1 of pH is 17 % of the ceiling."""


@dataclass(frozen=True)
class Found:
    """One reactor as its balance found it: the mode that holds, its chemistry, its systems, what limits it."""

    situation: Situation
    mode: Mode
    chemistry: Chemistry | None
    parts: Sequence[Balanced]
    limited_by: str | None


@dataclass(frozen=True)
class _Knob:
    """What to do for one system; its words may need the chamber turned so far."""

    code: str
    subject_id: UUID | None
    words: Callable[[Turned | None], str]
    wanted: Wanted | None = None


def advices(found: Sequence[Found]) -> list[list[dict[str, Any]]]:
    """For each reactor which knob to turn and how far, for each system the supply of which is known to be off."""
    knobs = [[knob for part in each.parts if (knob := _knob(each, part)) is not None] for each in found]
    models = iter(turned([knob.wanted for own in knobs for knob in own]))
    return [[remark(knob.code, knob.words(next(models)), knob.subject_id) for knob in own] for own in knobs]


def _knob(found: Found, part: Balanced) -> _Knob | None:
    situation, covers, flow = found.situation, part.covers, found.situation.chamber.flow
    if covers is None or flow is None or flow.value <= 0 or covers.value <= 0:
        return None
    subject = part.fed.system_id or situation.subject_id
    if situation.doubts_flow:
        return _Knob("measure_first", subject, lambda _: DOUBTFUL)
    if covers.low is None or covers.high is None or covers.low <= 0:
        return _Knob("measure_first", subject, lambda _: POORLY_KNOWN)
    if covers.low <= 1.0 <= covers.high:
        return _Knob("hold", subject, lambda _: HOLD)
    least, most = sorted((1 / covers.low, 1 / covers.high))
    way = "more" if covers.value < 1 else "less"
    if found.limited_by == MEDIA_LIMITED and covers.value < 1:
        return _Knob("mend_media", subject, lambda _: MEND)
    # at the ceiling too: with the pH held the gas follows, and the drip carries more of the same effluent
    if situation.mode is Mode.PH_CONTROLLED or (found.limited_by == DRIP_LIMITED and covers.value < 1):
        wanted = Wanted(situation, Mode.PH_CONTROLLED, least, most)
        return _Knob(f"{way}_drip", subject, partial(_drip, wanted, flow), wanted)
    if found.mode is Mode.AT_CEILING and covers.value < 1:
        return _Knob("more_gas", subject, lambda _: _ceiling(situation, part, least, most))
    wanted = Wanted(situation, Mode.GAS_LIMITED, least, most)
    return _Knob(f"{way}_gas", subject, partial(_gas, wanted, found.chemistry), wanted)


def _drip(wanted: Wanted, flow: Number, model: Turned | None) -> str:
    """The drip that brings what is wanted with the chamber held at its pH, by the chamber's own readings."""
    now = flow.value
    low, high = (now * wanted.least, now * wanted.most) if model is None else model.drip_l_d
    effluent = (
        ""
        if model is None
        else f"; the effluent thins to {model.effluent_meq_l[0]:.1f}-{model.effluent_meq_l[1]:.1f} meq/L"
    )
    return (
        f"Drip: from {now:.1f} to {low:.1f}-{high:.1f} L/d ({low / 1.44:.0f}-{high / 1.44:.0f} mL/min), with the "
        f"chamber held at its pH; the gas follows{effluent}. {STEPS}"
    )


def _ceiling(situation: Situation, part: Balanced, least: float, most: float) -> str:
    """How much lower the chamber pH must be for the ceiling to let the wanted effluent through."""
    chamber = situation.chamber
    assert chamber.alkalinity is not None
    assert chamber.ph is not None
    assert part.fed.alkalinity is not None
    tank, now = part.fed.alkalinity.value, chamber.alkalinity.value
    ends = [chamber.ph.value - PH_PER_LOG_CEILING * math.log((tank + f * (now - tank)) / now) for f in (least, most)]
    return (
        f"Gas, not drip: the effluent is at its ceiling, which only a lower pH lifts: from {chamber.ph.value:.2f} to "
        f"{max(ends):.2f}-{min(ends):.2f} in the chamber. {STEPS}"
    )


def _gas(wanted: Wanted, chemistry: Chemistry | None, model: Turned | None) -> str:
    """At constant gas what dissolves follows the gas, not the drip; how far, the chamber's own readings say."""
    first, last = (wanted.least, wanted.most) if model is None else model.gas_factor
    bubbles = wanted.situation.gas.bubbles_per_s
    if bubbles:
        to = f"from {bubbles:.2f} to {bubbles * first:.2f}-{bubbles * last:.2f} bubbles/s"
    elif chemistry is not None and chemistry.added_g_d is not None and chemistry.added_g_d.value > 0:
        now = chemistry.added_g_d.value
        to = f"from {now:.1f} to {now * first:.1f}-{now * last:.1f} g/d"
    else:
        to = f"times {first:.2f}-{last:.2f}"
    then = (
        "if the same part of it dissolves media; a first pair of readings tells no more"
        if model is None
        else f"the chamber then stands at pH {max(model.ph):.2f}-{min(model.ph):.2f}, the effluent at "
        f"{min(model.effluent_meq_l):.1f}-{max(model.effluent_meq_l):.1f} meq/L"
    )
    return f"Gas: {to}; {then}. At constant gas a faster drip only thins the effluent. {STEPS}"
