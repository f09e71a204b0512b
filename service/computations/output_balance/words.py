"""What a balance gives reason to say: findings, cautions, and what was taken to hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from service.computations.answers import remark
from service.computations.output_balance.balance import Balanced
from service.computations.output_balance.chemistry import Chemistry, against_ceiling
from service.computations.output_balance.situation import Situation
from service.science.answering import Answer

CAUTIONS = (
    "CO2 is toxic at a few per cent while oxygen still reads normal: an oxygen monitor does not protect. Ask the "
    "site's safety officer; follow the gas supplier and local codes.",
    "A chamber is under pressure: close the gas and let the pressure off before opening it. A stuck valve defeats any "
    "cut-off.",
)
UNKNOWN_WORDS = (
    "Demand answers to saturation by 0 to 0.4 of itself a unit of Omega, all alike: the record does not tell how far."
)
FAR_BELOW = 0.3
LOW_PH = 6.5


def fitted_words(answer: Answer) -> str:
    """How far demand answers to the level, as a record told it."""
    return (
        f"Demand rises by {answer.value:.0%} ({answer.low:.0%} to {answer.high:.0%}) of itself with a meq/L, as the "
        "system's own record tells."
    )


def findings(situation: Situation, chemistry: Chemistry | None, parts: Sequence[Balanced]) -> list[dict[str, Any]]:
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


def _of_demand(parts: Sequence[Balanced]) -> Iterator[tuple[str, str]]:
    if any(each.fed.demand is not None and each.fed.demand.value <= 0 for each in parts):
        yield (
            "no_demand",
            "A system takes no alkalinity by its records, so no ratio can be given: look for an addition nobody "
            "recorded.",
        )
