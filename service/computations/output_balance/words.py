"""What a balance gives reason to say: findings, and which knob to turn by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from service.computations.answers import remark
from service.computations.output_balance.balance import Balanced
from service.computations.output_balance.chemistry import Chemistry, against_ceiling
from service.computations.output_balance.fitted import turned
from service.computations.output_balance.limits import DRIP_LIMITED, MEDIA_LIMITED
from service.computations.output_balance.numbers import Ratio
from service.computations.output_balance.situation import Situation
from service.science.answering import Answer
from service.science.reactor_output import Mode

CAUTIONS = (
    "CO2 is toxic at a few per cent while oxygen still reads normal: an oxygen monitor does not protect. Ask the "
    "site's safety officer; follow the gas supplier and local codes.",
    "A chamber is under pressure: close the gas and let the pressure off before opening it. A stuck valve defeats any "
    "cut-off.",
)
STEPS = "Go in steps of a fifth at most, and test effluent and tank again after two or three days (common practice)."
MEND = (
    "Media: neither gas nor drip brings much more through this bed. Look for channels, sludge and coated grains, "
    "rinse or refill, gas closed and pressure let off first; then test the effluent again."
)
UNKNOWN_WORDS = (
    "Demand answers to saturation by 0 to 0.4 of itself a unit of Omega, all alike: the record does not tell how far."
)
FAR_BELOW = 0.3
LOW_PH = 6.5
PH_PER_LOG_CEILING = 0.1 / math.log(1.17)
"""0.1 of pH is 17 % of the ceiling."""


def fitted_words(answer: Answer) -> str:
    """How far demand answers to the level, as a record told it."""
    return (
        f"Demand rises by {answer.value:.0%} ({answer.low:.0%} to {answer.high:.0%}) of itself with a meq/L, as the "
        "system's own record tells."
    )


def findings(situation: Situation, chemistry: Chemistry | None, parts: list[Balanced]) -> list[dict[str, Any]]:
    """Everything about the effluent that a keeper should know."""
    return [
        remark(code, detail, situation.subject_id)
        for code, detail in (*_of_flow(situation), *_of_saturation(situation, chemistry), *_of_demand(parts))
    ]


def _of_flow(situation: Situation) -> Iterator[tuple[str, str]]:
    chamber = situation.chamber
    if chamber.flow is not None and chamber.flow.value == 0:
        yield (
            "no_drip",
            "Nothing drips: the reactor brings nothing, and gas that still bubbles gathers in the chamber. Close the "
            "gas "
            "until water runs again, and look for a blocked line or a stopped pump.",
        )
    alkalinity = chamber.alkalinity
    below = [
        each for each in situation.fed if each.alkalinity and alkalinity and alkalinity.value < each.alkalinity.value
    ]
    if below:
        yield (
            "effluent_below_tank",
            "The effluent holds less alkalinity than the tank: the chamber takes away instead of giving. Were the two "
            "samples exchanged, is there gas and media, does something precipitate?",
        )


def _of_saturation(situation: Situation, chemistry: Chemistry | None) -> Iterator[tuple[str, str]]:
    if chemistry is None or situation.chamber.ph is None:
        return
    omega = chemistry.omega
    if against_ceiling(omega) == "above":
        yield (
            "above_ceiling",
            f"The effluent is above its ceiling (aragonite saturation {float(omega.value):.2f}, {float(omega.low):.2f} "
            "at least by the errors of pH and titration): more than media of aragonite can dissolve. A sample that had "
            "lost gas reads too high a pH; else the pH probe is off, the alkalinity misread, or the media more soluble "
            "than aragonite. The pH read again in the chamber itself, or in a closed cell, tells which.",
        )
    elif float(omega.high) < FAR_BELOW and situation.chamber.ph.value < LOW_PH:
        yield (
            "far_below_ceiling",
            f"The effluent is far below its ceiling (aragonite saturation {float(omega.value):.2f}) at a low pH: media "
            "channelled, spent or coated, or too fast a drip.",
        )
    if float(chemistry.found.dissolved_mol_kg.value) > 0 and float(chemistry.found.added_co2_mol_kg.value) <= 0:
        yield (
            "no_gas_seen",
            "Media dissolved but the chemistry shows no CO2 added: the pH reads too high (a sample that had lost "
            "gas), or "
            "an alkalinity is misread.",
        )


def _of_demand(parts: list[Balanced]) -> Iterator[tuple[str, str]]:
    if any(each.fed.demand is not None and each.fed.demand.value <= 0 for each in parts):
        yield (
            "no_demand",
            "A system takes no alkalinity by its records, so no ratio can be given: look for an addition nobody "
            "recorded.",
        )


def advice(
    situation: Situation, mode: Mode, chemistry: Chemistry | None, parts: list[Balanced], limited_by: str | None
) -> list[dict[str, Any]]:
    """Which knob to turn and how far, for each system the supply of which is known to be off."""
    said = []
    for part in parts:
        covers = part.covers
        drips = situation.chamber.flow is not None and situation.chamber.flow.value > 0
        if covers is None or not drips or covers.value <= 0:
            continue
        said.append(_knob(situation, mode, chemistry, part, covers, limited_by))
    return said


def _knob(
    situation: Situation,
    mode: Mode,
    chemistry: Chemistry | None,
    part: Balanced,
    covers: Ratio,
    limited_by: str | None,
) -> dict[str, Any]:
    subject = part.fed.system_id or situation.subject_id
    if situation.doubts_flow:
        detail = "The drip's reading is in doubt: time it by hand, twice, before anything is turned."
        return remark("measure_first", detail, subject)
    if covers.low is None or covers.high is None or covers.low <= 0:
        detail = "Demand or supply is known too poorly to say how far to turn: time the drip, test effluent and tank."
        return remark("measure_first", detail, subject)
    if covers.low <= 1.0 <= covers.high:
        return remark("hold", "Supply meets the demand as well as the two are known: turn nothing, test on.", subject)
    least, most = sorted((1 / covers.low, 1 / covers.high))
    way = "more" if covers.value < 1 else "less"
    if limited_by == MEDIA_LIMITED and covers.value < 1:
        return remark("mend_media", MEND, subject)
    # at the ceiling too: with the pH held the gas follows, and the drip carries more of the same effluent
    if situation.mode is Mode.PH_CONTROLLED or (limited_by == DRIP_LIMITED and covers.value < 1):
        return remark(f"{way}_drip", _drip(situation, least, most), subject)
    if mode is Mode.AT_CEILING and covers.value < 1:
        return remark("more_gas", _ceiling(situation, part, least, most), subject)
    return remark(f"{way}_gas", _gas(situation, chemistry, least, most), subject)


def _drip(situation: Situation, least: float, most: float) -> str:
    """The drip that brings what is wanted with the chamber held at its pH, by the chamber's own readings."""
    assert situation.chamber.flow is not None
    now = situation.chamber.flow.value
    model = turned(situation, Mode.PH_CONTROLLED, least, most)
    low, high = (now * least, now * most) if model is None else model.drip_l_d
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


def _gas(situation: Situation, chemistry: Chemistry | None, least: float, most: float) -> str:
    """At constant gas what dissolves follows the gas, not the drip; how far, the chamber's own readings say."""
    model = turned(situation, Mode.GAS_LIMITED, least, most)
    first, last = (least, most) if model is None else model.gas_factor
    bubbles = situation.gas.bubbles_per_s
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
