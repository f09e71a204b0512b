"""From a situation to the answer: every key is there, whatever is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from typing import Any

from service.computations.answers import sources_of
from service.computations.output_balance.advice import Found, advices
from service.computations.output_balance.balance import (
    Asked,
    Balanced,
    balanced,
    calcium_of,
    media_of,
    mode_of,
    total_supply,
)
from service.computations.output_balance.chemistry import NO_GAS, against_ceiling, chemistries, omega_shown
from service.computations.output_balance.gas_check import gas_checks
from service.computations.output_balance.limits import finding as limit_found
from service.computations.output_balance.limits import limited_by, limits_of
from service.computations.output_balance.limits import shown as limits_shown
from service.computations.output_balance.numbers import Ratio, bounds, interval
from service.computations.output_balance.outflow import inflow_of, outflow_of
from service.computations.output_balance.situation import Situation
from service.computations.output_balance.words import CAUTIONS, UNKNOWN_WORDS, findings, fitted_words
from service.science.chamber import ceiling_by_ph
from service.science.chamber_limits import LimitsKnown, limits_with_errors
from service.science.chamber_uncertainty import chamber_balance_with_errors
from service.science.fieller import ratio_interval
from service.science.gas_sources import gas_check as compare_gas
from service.science.reactor_output import settles_at, supply

ASSUMED = (
    "Media and calcium are counted as pure calcium carbonate: 50.04 mg and 20.04 mg a meq; with magnesium carbonate "
    "in it less calcium, down to 17 mg.",
    "pH was read in NBS buffers. Several systems are drawn from in the shares in which they are fed.",
    "Supply over demand: what this reactor brings, over all that the system takes; advice leaves to other supplies "
    "what they give.",
)
SOURCES = sources_of(
    chamber_balance_with_errors, ceiling_by_ph, limits_with_errors, supply, settles_at, ratio_interval, compare_gas
)  # fmt: skip


def answered(situation: Situation) -> dict[str, Any]:
    """The key fields of the balance with its findings, advice, assumptions, sources and cautions."""
    return answered_all([situation])[0]


def answered_all(situations: Sequence[Situation]) -> list[dict[str, Any]]:
    """The same for many reactors at once, such as all of a site: science is asked once for all of them."""
    found = _found(situations)
    limits = limits_of(situations)
    checks = gas_checks(situations, [each.chemistry for each in found])
    limited = [
        replace(each, limited_by=limited_by(each.situation, limit)) for each, limit in zip(found, limits, strict=True)
    ]
    return [_answer(*each) for each in zip(limited, limits, checks, advices(limited), strict=True)]


def _found(situations: Sequence[Situation]) -> list[Found]:
    outflows = [outflow_of(each.chamber, inflow_of(each.fed)) for each in situations]
    found = chemistries(outflows)
    modes = [
        mode_of(situation.mode, None if each is None else float(each.omega.value))
        for situation, each in zip(situations, found, strict=True)
    ]
    asked = [
        [Asked(situation.chamber, fed, mode) for fed in situation.fed]
        for situation, mode in zip(situations, modes, strict=True)
    ]
    parts = iter(balanced(list(chain(*asked))))
    return [
        Found(situation, mode, each, [next(parts) for _ in own], None)
        for situation, mode, each, own in zip(situations, modes, found, asked, strict=True)
    ]


def _answer(
    found: Found, limits: LimitsKnown | None, gas_check: dict[str, Any], advice: list[dict[str, Any]]
) -> dict[str, Any]:
    situation, chemistry, parts = found.situation, found.chemistry, found.parts
    chamber = situation.chamber
    only = parts[0] if len(parts) == 1 else None
    total = total_supply(chamber, situation.fed)
    return {
        "effluent": {
            "flow": bounds(chamber.flow, "L/d"),
            "alkalinity": bounds(chamber.alkalinity, "meq/L"),
            "ph": bounds(chamber.ph, "[pH]"),
            "omega_aragonite": None if chemistry is None else omega_shown(chemistry.omega),
            "ceiling_alkalinity": None if chemistry is None else chemistry.ceiling_meq_l,
            "against_ceiling": None if chemistry is None else against_ceiling(chemistry.omega),
        },
        "supply": {
            "alkalinity": bounds(total, "meq/d"),
            "calcium": bounds(calcium_of(total), "g/d"),
            "media": bounds(media_of(total), "g/d"),
        },
        "demand": {"alkalinity": None if only is None else bounds(only.fed.demand, "meq/d")},
        "supply_over_demand": None if only is None else _ratio(only.over_demand),
        "settles_at": None if only is None else only.settles,
        "systems": [_system(part) for part in parts],
        "limits": limits_shown(situation, limits),
        "gas": NO_GAS if chemistry is None else chemistry.gas,
        "gas_check": gas_check,
        "findings": [*findings(situation, chemistry, parts), *limit_found(situation, limits, parts)],
        "advice": advice,
        "assumptions": [*ASSUMED, *_answering_words(situation)],
        "sources": SOURCES,
        "cautions": list(CAUTIONS),
    }


def _answering_words(situation: Situation) -> list[str]:
    """How demand is taken to answer to the level, each way of it once."""
    return sorted({UNKNOWN_WORDS if fed.answer is None else fitted_words(fed.answer) for fed in situation.fed})


def _system(part: Balanced) -> dict[str, Any]:
    return {
        "system_id": part.fed.system_id,
        "share": part.fed.share,
        "supply": bounds(part.supply, "meq/d"),
        "demand": {"alkalinity": bounds(part.fed.demand, "meq/d")},
        "supply_over_demand": _ratio(part.over_demand),
        "settles_at": part.settles,
    }


def _ratio(found: Ratio | None) -> dict[str, Any] | None:
    return None if found is None else interval(found.value, found.low, found.high, "1")
