"""The level over the days to come, under a plan and without it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from service.computations.consumption.answer import SCALES
from service.computations.consumption.gather import Gathered
from service.computations.output_balance.chemistry import omegas_per_meq_l
from service.computations.output_balance.words import UNKNOWN_WORDS, fitted_words
from service.computations.projection.models import ProjectionSent
from service.computations.projection.plan import Reactor, changes_of, turns_of
from service.computations.projection.situation import Situation
from service.science import Values
from service.science.answer import ConsumptionEstimate
from service.science.answering import Answer
from service.science.consumption import estimate_consumption
from service.science.projection import Ahead, Start, Turn, project, start_of
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
class Courses:
    """Alkalinity under the plan, with everything as it is, and under what the plan lets run in alone.

    moved: by how much those inflows moved the level beyond `unchanged`, each day. words: how demand answers.
    """

    planned: Ahead
    unchanged: Ahead
    moved: Values
    words: str


def looks(gathered: Gathered, at: datetime) -> list[ConsumptionEstimate]:
    """The estimate now and some days ahead with everything as it is, one call."""
    return estimate_consumption(
        histories=[gathered.history] * len(LOOKS_DAYS),
        at_days=gathered.clock.days(at) + LOOKS_DAYS,
        scale=SCALES[QUANTITY],
    )


def courses(situation: Situation, sent: ProjectionSent, estimates: Sequence[ConsumptionEstimate]) -> Courses:
    """The courses from what is known now. `estimates` are those of `looks`, none of them without an expected level."""
    gathered, volume_l = situation.gathered, situation.water.volume_l
    assert gathered is not None
    assert volume_l is not None
    start, reactors = _start(gathered, estimates), situation.reactors
    by_hand, told = dosed_of_late(gathered, situation.at), _answering(reactors, estimates[0], situation.water.answer)
    turns, changes = [*turns_of(sent, reactors, volume_l), *by_hand], changes_of(sent, volume_l)
    planned, inflows, unchanged = (
        project(
            start=start,
            days=sent.days,
            restoring_per_day=_running(gathered, reactors, volume_l, is_planned) + told.rates,
            weight=told.weight,
            **plan,
        )
        for is_planned, plan in (
            (True, {"turns": turns, "changes": changes}),
            (True, {"turns": turns}),
            (False, {"turns": by_hand}),
        )
    )
    return Courses(planned, unchanged, inflows.value - unchanged.value, told.words)


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
