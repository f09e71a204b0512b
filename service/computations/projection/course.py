"""The level over the days to come, under a plan and without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from service.computations.consumption.answer import SCALES
from service.computations.consumption.gather import Gathered
from service.computations.output_balance.chemistry import omegas_per_meq_l
from service.computations.output_balance.numbers import Z
from service.computations.output_balance.words import UNKNOWN_WORDS, fitted_words
from service.computations.projection.models import ProjectionSent
from service.computations.projection.plan import Reactor
from service.computations.projection.situation import Situation
from service.computations.projection.steps import Step, changes_of, turns_of
from service.science import Values
from service.science.answer import ConsumptionEstimate
from service.science.answering import Answer
from service.science.consumption import estimate_consumption
from service.science.projection import Ahead, Change, Start, Turn, project, start_of
from service.science.reactor_output import UNKNOWN_ANSWER, Mode

LOOKS_DAYS = np.array([0.0, 1.0, 8.0])
SHARES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Where in the range of demand's answer the five rates lie, each as likely as the others."""
USUAL_OMEGA_PER_MEQ_L = 1.28
"""At pH 8.1 (NBS) held, 25 C and salinity 35, where the system's pH was never read."""
AT_ONCE_DAYS, AT_ONCE_SD = 14.0, 0.3
LASTING_DAYS, LASTING_SD = 3.0, 0.05
"""Over how many days what was dosed is taken as what goes on, and how well that is known, relative."""
QUANTITY = "alkalinity"


@dataclass(frozen=True)
class Now:
    """What is known now of the level, what goes on being dosed, and how demand answers: nothing of it is planned.

    rates: what a day takes back by demand's answer to the level, each with its weight; words for it.
    """

    start: Start
    by_hand: Sequence[Turn]
    rates: Values
    weight: Values
    words: str

    @property
    def net_rate(self) -> float:
        """By how much the level moves a day with everything as it is."""
        return self.start.net_rate + sum(turn.rate for turn in self.by_hand)


@dataclass(frozen=True)
class Courses:
    """Alkalinity under the plan, with everything as it is, and under what the plan lets run in alone.

    moved: by how much those inflows moved the level beyond `unchanged`, each day.
    """

    planned: Ahead
    unchanged: Ahead
    moved: Values


def looks(gathered: Gathered, at: datetime, quantity: str = QUANTITY) -> list[ConsumptionEstimate]:
    """The estimate now and some days ahead with everything as it is, one call."""
    return estimate_consumption(
        histories=[gathered.history] * len(LOOKS_DAYS),
        at_days=gathered.clock.days(at) + LOOKS_DAYS,
        scale=SCALES[quantity],
    )


def now_of(situation: Situation, estimates: Sequence[ConsumptionEstimate]) -> Now:
    """What is known now. `estimates` are those of `looks`, none of them without an expected level."""
    gathered = situation.gathered
    assert gathered is not None
    told = _answering(situation.reactors, estimates[0], situation.water.answer)
    return Now(start_ahead(gathered, estimates), dosed_of_late(gathered, situation.at), *told)


def courses(situation: Situation, sent: ProjectionSent, now: Now, steps: Sequence[Step], days: int) -> Courses:
    """The courses over so many days, the plan taken in these steps."""
    volume_l = situation.water.volume_l
    assert volume_l is not None
    turns, changes = [*turns_of(steps, volume_l), *now.by_hand], changes_of(sent, volume_l, days)
    unchanged = _ahead(now, days, running(situation), turns=now.by_hand)
    restoring = running(situation, steps[-1])
    inflows = _ahead(now, days, restoring, turns=turns)
    planned = _ahead(now, days, restoring, turns=turns, changes=changes) if changes else inflows
    return Courses(planned, unchanged, inflows.value - unchanged.value)


@dataclass(frozen=True)
class TakenBack:
    """By how much more alkalinity goes because the level stands above today's, meq/L on each day, (days).

    by_demand: into skeletons, with its sd (what is not known of the answer, and of the level); by_drips: not brought,
    for drips whose effluent stays as it is.
    """

    by_demand: Values
    by_demand_sd: Values
    by_drips: Values


def taken_back(
    situation: Situation, sent: ProjectionSent, now: Now, steps: Sequence[Step], days: int
) -> tuple[TakenBack, TakenBack]:
    """Under the plan in these steps, and with everything as it is."""
    volume_l = situation.water.volume_l
    assert volume_l is not None
    every = [
        courses(situation, sent, replace(now, rates=np.array([rate]), weight=np.ones(1)), steps, days)
        for rate in now.rates
    ]
    drips = steady_drips(steps[-1].reactors, volume_l, is_planned=True)
    drips_now = steady_drips(situation.reactors, volume_l, is_planned=False)
    return (
        _taken_back(now, [each.planned for each in every], drips),
        _taken_back(now, [each.unchanged for each in every], drips_now),
    )


def _taken_back(now: Now, every: Sequence[Ahead], drips: float) -> TakenBack:
    """every: the course with each rate of demand's answer."""
    above = np.array([each.value - now.start.level for each in every])
    above = 0.5 * (above[:, 1:] + above[:, :-1])
    sd = np.array([(each.high - each.low)[1:] / (2.0 * Z) for each in every])
    weight, rates = now.weight[:, None], now.rates[:, None]
    taken = (weight * rates * above).sum(axis=0)
    variance = (weight * ((rates * above - taken) ** 2 + (rates * sd) ** 2)).sum(axis=0)
    return TakenBack(taken, np.sqrt(variance), drips * (weight * above).sum(axis=0))


def _ahead(now: Now, days: int, restoring: float, *, turns: Sequence[Turn], changes: Sequence[Change] = ()) -> Ahead:
    return project(
        start=now.start,
        days=days,
        restoring_per_day=restoring + now.rates,
        weight=now.weight,
        turns=turns,
        changes=changes,
    )


def start_ahead(gathered: Gathered, estimates: Sequence[ConsumptionEstimate], quantity: str = QUANTITY) -> Start:
    """Level and net rate of a quantity now, from its looks ahead."""
    seen = [each.expected for each in estimates if each.expected is not None]
    return start_of(
        level=np.array([each.value for each in seen]),
        level_sd=np.array([each.sd for each in seen]),
        ahead_days=LOOKS_DAYS,
        drift=estimates[0].drift or 0.0,
        level_noise=SCALES[quantity].level_noise,
        exchange_per_day=exchanged(gathered, ""),
    )


def exchanged(gathered: Gathered, kind: str) -> float:
    """Volumes a day through the feeds whose name begins so, as last known."""
    total = 0.0
    for feed in gathered.history.feeds:
        if feed.name.startswith(kind) and len(feed.flow.value):
            total += float(feed.flow.value[np.argmax(feed.flow.at_days)])
    return total


def _answering(
    reactors: Sequence[Reactor], now: ConsumptionEstimate, answer: Answer | None
) -> tuple[Values, Values, str]:
    """By the system's own record where it tells, else by the range of reviews: rates, their weights, and words."""
    demand = max(now.best or 0.0, 0.0)
    if answer is not None:
        return demand * answer.tried, answer.weight, fitted_words(answer)
    slopes = [slope for slope in omegas_per_meq_l(reactor.fed for reactor in reactors) if slope is not None]
    low, high = UNKNOWN_ANSWER
    rates = demand * (slopes[-1] if slopes else USUAL_OMEGA_PER_MEQ_L) * (low + SHARES * (high - low))
    return rates, np.full(len(SHARES), 1.0 / len(SHARES)), UNKNOWN_WORDS


def running(situation: Situation, step: Step | None = None) -> float:
    """What a day takes back by water that runs through: exchanges, and drips whose effluent stays as it is.

    step: the drips as they then run; without it as they do now.
    """
    gathered, volume_l = situation.gathered, situation.water.volume_l
    assert gathered is not None
    assert volume_l is not None
    return exchanged(gathered, "exchange") + steady_drips(
        situation.reactors if step is None else step.reactors, volume_l, is_planned=step is not None
    )


def steady_drips(reactors: Sequence[Reactor], volume_l: float, *, is_planned: bool) -> float:
    """Volumes a day through drips whose effluent stays as it is while the tank rises."""
    rate = 0.0
    for reactor in reactors:
        drip = reactor.drip_l_d if not is_planned or reactor.ahead is None else float(reactor.ahead.drip_l_d)
        if reactor.mode is not Mode.GAS_LIMITED and drip is not None:
            rate += drip * reactor.fed.share / volume_l
    return rate


def dosed_of_late(gathered: Gathered, at: datetime) -> list[Turn]:
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
