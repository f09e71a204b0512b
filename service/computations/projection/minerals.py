"""Calcium and magnesium beside alkalinity: what reactor and limewater bring of them, and what skeletons take."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.consumption.answer import missing
from service.computations.consumption.gather import Gathered
from service.computations.consumption.reactor_calcium import CALCIUM_SHARE_SD
from service.computations.output_balance.numbers import Number
from service.computations.projection.course import (
    Now,
    TakenBack,
    dosed_of_late,
    exchanged,
    looks,
    start_ahead,
    taken_back,
)
from service.computations.projection.models import ProjectionSent
from service.computations.projection.situation import Situation
from service.computations.projection.steps import NOTHING, Step, changes_of, turn_of
from service.science import Values
from service.science.answer import ConsumptionEstimate
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.projection import Ahead, Change, Turn, project
from service.science.reactor_output import MG_CALCIUM_PER_MEQ, MG_CALCIUM_PER_MEQ_CORALLINE

QUANTITIES = ("calcium", "magnesium")
MG_MAGNESIUM_PER_MEQ = MOLAR_MASS_G_MOL["Mg"] / 2.0
"""Of pure magnesium carbonate; media and skeletons hold a share of it."""
CORALLINE_SHARE = 1.0 - MG_CALCIUM_PER_MEQ_CORALLINE / MG_CALCIUM_PER_MEQ
USUAL_SHARE = Number(0.005, 0.005)
"""Magnesium in media of coral aragonite, mol a mol of carbonate: from memory, and media differ."""
STATED_SHARE_SD = 0.01
ASSUMED = (
    "Calcium comes with reactor and limewater at 20.04 mg a meq less the media's magnesium, and goes into skeletons at "
    "17 to 20.04; magnesium comes with the reactor by the media's share of it, taken as half a per cent unless sent. "
    "What is dosed beyond now is taken for alkalinity alone. Changed water of unstated calcium or magnesium is taken "
    "as natural seawater, known to 15 %."
)


@dataclass(frozen=True)
class Stoichiometry:
    """mg of a quantity that come and go with one meq of alkalinity."""

    of_media: Number
    of_limewater: float
    in_skeletons: Number


def stoichiometry(quantity: str, sent: ProjectionSent) -> Stoichiometry:
    """Of calcium or magnesium, by the media's share of magnesium as sent or as usual."""
    stated = sent.media_magnesium_share
    share = USUAL_SHARE if stated is None else Number(stated, STATED_SHARE_SD * stated)
    middle = Number(CORALLINE_SHARE / 2.0, CORALLINE_SHARE / np.sqrt(12.0))  # skeletons: none to coralline, even
    if quantity == "magnesium":
        return Stoichiometry(share.times(MG_MAGNESIUM_PER_MEQ), 0.0, middle.times(MG_MAGNESIUM_PER_MEQ))
    of_media = MG_CALCIUM_PER_MEQ * (1.0 - share.value)
    doubt = CALCIUM_SHARE_SD if stated is None else STATED_SHARE_SD
    skeletons = Number(MG_CALCIUM_PER_MEQ * (1.0 - middle.value), MG_CALCIUM_PER_MEQ * middle.sd)
    return Stoichiometry(Number(of_media, of_media * doubt), MG_CALCIUM_PER_MEQ, skeletons)


@dataclass(frozen=True)
class Mineral:
    """The days to come of calcium or magnesium, under the plan and with everything as it is."""

    planned: Ahead
    unchanged: Ahead


def minerals(
    situation: Situation, sent: ProjectionSent, now: Now, steps: Sequence[Step]
) -> tuple[dict[str, Mineral | None], list[dict[str, Any]]]:
    """Each of the two, None where its readings do not tell, and what would settle that."""
    planned, unchanged = taken_back(situation, sent, now, steps, sent.days)
    found: dict[str, Mineral | None] = {}
    lacks: list[dict[str, Any]] = []
    for quantity in QUANTITIES:
        gathered = situation.minerals[quantity]
        assert gathered is not None
        estimates = looks(gathered, situation.at, quantity)
        if any(each.expected is None for each in estimates):
            found[quantity] = None
            lacks += [missing(gathered, quantity, lack) for lack in estimates[0].missing]
            continue
        way = _Way(quantity, situation, sent, gathered, estimates)
        turns = [*way.by_hand, *way.brought(steps), *way.answering(planned)]
        changes = changes_of(sent, way.volume_l, sent.days, quantity)
        found[quantity] = Mineral(way.ahead(turns, changes), way.ahead([*way.by_hand, *way.answering(unchanged)], []))
    return found, lacks


class _Way:
    """How one quantity goes on from what is known of it now."""

    def __init__(
        self,
        quantity: str,
        situation: Situation,
        sent: ProjectionSent,
        gathered: Gathered,
        estimates: Sequence[ConsumptionEstimate],
    ) -> None:
        assert situation.water.volume_l is not None
        self.volume_l, self.days = situation.water.volume_l, sent.days
        self.start = start_ahead(gathered, estimates, quantity)
        self.by_hand = dosed_of_late(gathered, situation.at)
        self.exchange = exchanged(gathered, "exchange")
        self.per_meq = stoichiometry(quantity, sent)

    def brought(self, steps: Sequence[Step]) -> Iterator[Turn]:
        """What reactors and limewater bring more or less under the plan."""
        media = self.per_meq.of_media
        for index in range(len(steps[0].reactors)):
            gains = [step.reactors[index].gain or NOTHING for step in steps]
            doubt = media.sd / media.value if media.value else 0.0
            turn = turn_of(gains, media.value / self.volume_l, doubt)
            if turn is not None and turn.rate:
                yield turn
        turn = turn_of([step.limewater for step in steps], self.per_meq.of_limewater / self.volume_l)
        if turn is not None and turn.rate:
            yield turn

    def answering(self, alkalinity: TakenBack) -> list[Turn]:
        """What skeletons take, and drips bring less, because alkalinity stands elsewhere than today, day by day."""
        skeletons, media = self.per_meq.in_skeletons, self.per_meq.of_media
        rate = -(skeletons.value * alkalinity.by_demand + media.value * alkalinity.by_drips)
        sd = np.hypot(skeletons.value * alkalinity.by_demand_sd, skeletons.sd * alkalinity.by_demand)
        return [*_by_day(rate, is_error=False), *_by_day(np.asarray(sd), is_error=True)]

    def ahead(self, turns: Sequence[Turn], changes: Sequence[Change]) -> Ahead:
        """The course."""
        return project(
            start=self.start,
            days=self.days,
            restoring_per_day=np.array([self.exchange]),
            weight=np.ones(1),
            turns=turns,
            changes=changes,
        )


def _by_day(values: Values, *, is_error: bool) -> Iterator[Turn]:
    """A rate of each day, or an error of it that is one and the same for all days, as a turn in shares."""
    most = float(values[np.abs(values).argmax()])
    if most:
        shares = tuple(float(each) for each in values / most)
        yield (
            Turn(from_days=0.0, rate=0.0, sd=most, shares=shares)
            if is_error
            else Turn(from_days=0.0, rate=most, shares=shares)
        )


def shown_mineral(found: Mineral | None, at: datetime) -> dict[str, Any] | None:
    """As it leaves."""
    if found is None:
        return None
    return {"course": shown_days(found.planned, at), "unchanged": shown_days(found.unchanged, at)}


def shown_days(ahead: Ahead, at: datetime) -> dict[str, Any]:
    """A course, mg/L, a value a day."""
    return {
        "at": [at + timedelta(days=float(day)) for day in ahead.at_days],
        "value": ahead.value.tolist(),
        "low": ahead.low.tolist(),
        "high": ahead.high.tolist(),
        "unit": "mg/L",
    }
