"""The days to come: the level under a plan and without it, with bands, and what the plan asks of reactors."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.answers import LEVEL, remark, sources_of
from service.computations.consumption.answer import NO_VOLUME, SCALES, Scaled, missing, per_day, set_aside, used
from service.computations.consumption.gather import Gathered
from service.computations.output_balance.chemistry import omegas_per_meq_l
from service.computations.output_balance.waters import answers_of
from service.computations.output_balance.words import UNKNOWN_WORDS, fitted_words
from service.computations.projection.models import ProjectionSent
from service.computations.projection.plan import Reactor, changes_of, lacking, shown_reactor, turns_of
from service.errors import Unacceptable
from service.resources.keeping.amounts import amount_in, refused
from service.resources.places.systems.models import System
from service.science import Values
from service.science.answer import ConsumptionEstimate
from service.science.answering import Answer
from service.science.chamber_model import at_gas_and_drip, dissolving_l_d
from service.science.consumption import estimate_consumption
from service.science.projection import Ahead, Start, Turn, project, start_of
from service.science.reactor_output import UNKNOWN_ANSWER, Mode

LOOKS_DAYS = np.array([0.0, 1.0, 8.0])
SHARES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Where in the range of demand's answer the five rates lie, each as likely as the others."""
USUAL_OMEGA_PER_MEQ_L = 1.28
"""At pH 8.1 (NBS) held, 25 C and salinity 35, where the system's pH was never read."""
MOST_A_DAY_MEQ_L = 0.35665
AT_ONCE_DAYS, AT_ONCE_SD = 14.0, 0.3
LASTING_DAYS, LASTING_SD = 3.0, 0.05
"""Over how many days what was dosed is taken as what goes on, and how well that is known, relative."""
QUANTITY = "alkalinity"
ASSUMED = (
    "What runs in now goes on: drips, exchanges, pumps and limewater as in the last three days (known "
    "to 5 %), doses at once as in the last fortnight (to 30 %). Water changes go on only as planned.",
    "Demand goes on wandering as it has.",
    "At constant gas what dissolves stays as the tank rises; where pH is controlled or the effluent at its ceiling the "
    "effluent stays, and the supply shrinks as the tank rises.",
    "A chamber under another gas flow or drip dissolves in proportion to its distance from saturation, the part of the "
    "gas that dissolves staying the same; of the change so foretold a fifth is one sd.",
)
CAUTIONS = (
    "A forecast is no permission: turn in steps, test after each, and watch the animals. Limewater is caustic and "
    "never goes on top of a reactor that meets full demand.",
    "More gas is more risk: CO2 is toxic at a few per cent while oxygen still reads normal. Follow local codes, the "
    "gas supplier and the site's safety officer.",
)


def looks(gathered: Gathered, at: datetime) -> list[ConsumptionEstimate]:
    """The estimate now and some days ahead with everything as it is, one call."""
    return estimate_consumption(
        histories=[gathered.history] * len(LOOKS_DAYS),
        at_days=gathered.clock.days(at) + LOOKS_DAYS,
        scale=SCALES[QUANTITY],
    )


def shown(
    system: System,
    sent: ProjectionSent,
    at: datetime,
    gathered: Gathered | None,
    reactors: list[Reactor],
    volume_l: float | None,
) -> dict[str, Any]:
    """The answer; every key is there whether or not the records can tell."""
    scaled = _scaled(sent.unit)
    estimates = None if gathered is None else looks(gathered, at)
    answer: dict[str, Any] = {
        "system_id": system.id,
        "at": at,
        "days": sent.days,
        "course": None, "unchanged": None, "largest_change": None,
        "reactors": [shown_reactor(each) for each in reactors],
        "used": {}, "set_aside": [], "missing": [], "findings": [], "advice": [],
        "assumptions": list(ASSUMED),
        "sources": sources_of(project, start_of, at_gas_and_drip, dissolving_l_d),
        "cautions": list(CAUTIONS),
    }  # fmt: skip
    if gathered is None or estimates is None or volume_l is None:
        return {**answer, "missing": [NO_VOLUME]}
    now = estimates[0]
    answer.update(
        used=used(gathered, now),
        set_aside=set_aside(gathered, now, scaled),
        assumptions=[*answer["assumptions"], *gathered.inputs.assumptions],
        missing=[*(missing(gathered, QUANTITY, lack) for lack in now.missing), *lacking(reactors)],
    )
    turns, changes = turns_of(sent, reactors, volume_l), changes_of(sent, volume_l)
    if any(each.expected is None for each in estimates) or lacking(reactors):
        return answer
    start = _start(gathered, estimates)
    answering = answers_of({system.id: (gathered, now)})[system.id]
    by_hand, told = _dosed_of_late(gathered, at), _answering(reactors, now, answering)
    planned = {"turns": [*turns, *by_hand], "changes": changes}
    ahead = [
        project(
            start=start,
            days=sent.days,
            restoring_per_day=_running(gathered, reactors, volume_l, is_planned) + told.rates,
            weight=told.weight,
            **plan,
        )
        for is_planned, plan in ((True, planned), (False, {"turns": by_hand}))
    ]
    return {
        **answer,
        "course": _course(ahead[0], at, scaled),
        "unchanged": _course(ahead[1], at, scaled),
        "largest_change": _largest(ahead[0], scaled),
        "findings": _findings(system, sent, ahead[0], scaled),
        "assumptions": [*answer["assumptions"], told.words],
    }


def _scaled(unit: str | None) -> Scaled:
    """Levels in the unit asked for. Raises Unacceptable naming it."""
    try:
        return Scaled(QUANTITY, None if unit is None else per_day(unit))
    except Unacceptable as error:
        detail = "A unit of alkalinity is expected, such as meq/L, dKH or mg/L CaCO3."
        raise refused("/unit", detail, unit) from error


def _start(gathered: Gathered, estimates: Sequence[ConsumptionEstimate]) -> Start:
    seen = [each.expected for each in estimates if each.expected is not None]
    return start_of(
        level=np.array([each.value for each in seen]),
        level_sd=np.array([each.sd for each in seen]),
        ahead_days=LOOKS_DAYS,
        drift=estimates[0].drift or 0.0,
        level_noise=SCALES[QUANTITY].level_noise,
        exchange_per_day=_exchanged(gathered, ""),
    )


def _exchanged(gathered: Gathered, kind: str) -> float:
    """Volumes a day through the feeds whose name begins so, as last known."""
    total = 0.0
    for feed in gathered.history.feeds:
        if feed.name.startswith(kind) and len(feed.flow.value):
            total += float(feed.flow.value[np.argmax(feed.flow.at_days)])
    return total


@dataclass(frozen=True)
class _Told:
    """What a day takes back by demand's answer to the level: rates, how likely each is, and the words for it."""

    rates: Values
    weight: Values
    words: str


def _answering(reactors: Sequence[Reactor], now: ConsumptionEstimate, answer: Answer | None) -> _Told:
    """By the system's own record where it tells, else by the range of reviews."""
    demand = max(now.best or 0.0, 0.0)
    if answer is not None:
        return _Told(demand * answer.tried, answer.weight, fitted_words(answer))
    slopes = [slope for slope in omegas_per_meq_l(reactor.fed for reactor in reactors) if slope is not None]
    low, high = UNKNOWN_ANSWER
    rates = demand * (slopes[-1] if slopes else USUAL_OMEGA_PER_MEQ_L) * (low + SHARES * (high - low))
    return _Told(rates, np.full(len(SHARES), 1.0 / len(SHARES)), UNKNOWN_WORDS)


def _running(gathered: Gathered, reactors: Sequence[Reactor], volume_l: float, is_planned: bool) -> float:
    """What a day takes back by water that runs through: exchanges, and drips whose effluent stays as it is."""
    rate = _exchanged(gathered, "exchange")
    for reactor in reactors:
        drip = reactor.drip_l_d if not is_planned or reactor.ahead is None else float(reactor.ahead.drip_l_d)
        if reactor.mode is not Mode.GAS_LIMITED and drip is not None:
            rate += drip * reactor.fed.share / volume_l
    return rate


def _dosed_of_late(gathered: Gathered, at: datetime) -> list[Turn]:
    """What goes on being dosed, a day: records of doses end at the latest now, and so does what the filter knows.

    A pump or limewater as in the last days, for its setting may be new; doses at once as in a fortnight.
    """
    doses, now = gathered.history.doses, gathered.clock.days(at)
    lasting = doses.end_days - doses.start_days
    within = np.clip(np.minimum(doses.end_days, now) - np.maximum(doses.start_days, now - LASTING_DAYS), 0.0, None)
    ran = (doses.amount * within / np.where(lasting > 0.0, lasting, 1.0)).sum() / LASTING_DAYS
    at_once = (lasting <= 0.0) & (doses.start_days > now - AT_ONCE_DAYS) & (doses.start_days <= now)
    given = doses.amount[at_once].sum() / AT_ONCE_DAYS
    rates = ((float(ran), LASTING_SD), (float(given), AT_ONCE_SD))
    return [Turn(from_days=0.0, rate=rate, sd=abs(rate) * sd) for rate, sd in rates if rate]


def _course(ahead: Ahead, at: datetime, scaled: Scaled) -> dict[str, Any]:
    return {
        "at": [at + timedelta(days=float(day)) for day in ahead.at_days],
        "value": [scaled.level(float(each)) for each in ahead.value],
        "low": [scaled.level(float(each)) for each in ahead.low],
        "high": [scaled.level(float(each)) for each in ahead.high],
        "unit": scaled.level_unit,
    }


def _largest(ahead: Ahead, scaled: Scaled) -> dict[str, Any]:
    """The largest change in one day by the middle of the band; its ends by the band's own movement."""
    moved = [np.diff(each) for each in (ahead.value, ahead.low, ahead.high)]
    index = int(np.abs(moved[0]).argmax())
    ends = sorted(float(each[index]) for each in moved[1:])
    value = float(moved[0][index])
    low, high = min(ends[0], value), max(ends[1], value)
    numbers = {name: scaled.level(each) for name, each in (("value", value), ("low", low), ("high", high))}
    return {**numbers, "level": LEVEL, "unit": scaled.level_unit}


def _findings(system: System, sent: ProjectionSent, ahead: Ahead, scaled: Scaled) -> list[dict[str, Any]]:
    most = MOST_A_DAY_MEQ_L
    if sent.most_a_day is not None:
        most = amount_in(sent.most_a_day, "meq/L", pointer="/most_a_day", above=0)
    moved = np.diff(ahead.value)
    found = []
    if np.any(np.abs(moved) > most):
        day = int(np.abs(moved).argmax())
        by, stages = scaled.level(float(moved[day])), int(np.ceil(abs(moved[day]) / most))
        detail = (
            f"On day {day + 1} the plan moves alkalinity by {by:+.2f} {scaled.level_unit}, more than the "
            f"{scaled.level(most):.2f} allowed: take it in {stages} stages or more, a few days apart."
        )
        found.append(remark("too_fast", detail, system.id))
    if float(ahead.low[-1]) <= 0.0:
        detail = "Under this plan the system may run out of alkalinity within these days: it is starved of supply."
        found.append(remark("starved", detail, system.id))
    return found
