"""Limewater and reactor sharing a demand so that the system's pH comes to a wanted one, as far as water evaporates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.numbers import Number, interval
from service.computations.projection.course import Now
from service.computations.projection.models import ProjectionSent
from service.computations.projection.ph import LEAST_EXCHANGE, USUAL_PH, ph_at_rest
from service.computations.projection.plan import Reactor
from service.computations.projection.situation import Situation, tank_of
from service.computations.projection.steps import (
    DOSED_CARBON,
    DOSING_SD,
    LIMEWATER_SD,
    USUAL_LIMEWATER_MEQ_L,
    Step,
    StepAt,
    dosed_meq_d,
)
from service.resources.keeping.amounts import amount_in, refused
from service.science import Numbers
from service.science.limewater import Split, saturated_mol_l, split_for_wanted_ph
from service.science.ph_course import carried_mol_d, co2_share_at

WEAKEST_MEQ_L = 0.1  # as good as water
MOST_STRENGTH_MEQ_L = 2000.0 * float(saturated_mol_l(temperature_c=0.0))
SHORT = 0.02
"""Of pH: less is no difference."""
WANTED = (
    "For a wanted pH limewater meets so much of the demand, the reactor the rest, that alkalinity stays where it is; "
    "the effluent is held as it is, gas turned down with the drip. The plan takes the least limewater that gas "
    "exchange within its range asks for: where the water breathes faster than that, pH stays below the wanted.",
)
NEEDS = (
    "A wanted pH needs the system's alkalinity and pH, the drip, the effluent's alkalinity and the pH in the chamber, "
    "all read within four weeks, with gas to be seen in them."
)
NO_DEMAND = "What else runs in meets all the demand: nothing is left for reactor and limewater to share."
HOLD = (
    "Hold the effluent as it is: turn the drip, then the gas down with it until the effluent tests {effluent:.1f} "
    "meq/L as now. Limewater goes in slowly, at night, where water moves, and never in place of watching pH: stop at "
    "{ph:g}, and ask again once pH has been read for two weeks."
)


@dataclass(frozen=True)
class Wanted:
    """What was found for a wanted pH: the steps to it, limewater as planned and as other gas exchange would ask.

    would_take: L/d with the slowest, the middle and the fastest exchange, were evaporation no limit.
    """

    ph: float
    split: Split
    evaporation_l_d: float
    would_take: tuple[float, float, float]
    step_at: StepAt


def check(sent: ProjectionSent, reactors: int, systems: int) -> None:
    """Raises Unacceptable for a wanted pH that cannot be asked for so.

    reactors, systems: how many feed the system, and how many those feed.
    """
    if sent.wanted_ph is None:
        for name in ("evaporation", "limewater_strength"):
            if getattr(sent, name) is not None:
                detail = "Counts for a wanted pH only. Send `wanted_ph` too, or leave this out."
                raise refused(f"/{name}", detail, getattr(sent, name).value)
        return
    low, high = USUAL_PH
    if not low <= sent.wanted_ph <= high:
        detail = f"A pH (NBS) from {low:g} to {high:g} is expected, what is usual by day."
        raise refused("/wanted_ph", detail, sent.wanted_ph)
    if sent.evaporation is None:
        detail = "No more limewater can be dosed than evaporates. Send `evaporation` with `wanted_ph`, such as 8 L/d."
        raise refused("/evaporation", detail)
    for name, is_sent in (("reactors", bool(sent.reactors)), ("limewater_change", sent.limewater_change is not None)):
        if is_sent:
            detail = "`wanted_ph` finds drip, gas and limewater by itself. Leave out either this or `wanted_ph`."
            raise refused(f"/{name}", detail)
    if reactors == 0:
        detail = "No reactor feeds this system at that instant. Describe the feed, or plan `limewater_change` instead."
        raise refused("/wanted_ph", detail, sent.wanted_ph)
    if reactors > 1 or systems > 1:
        what = f"{reactors} reactors feed this system" if reactors > 1 else f"Its reactor feeds {systems} systems"
        detail = (
            f"{what}: what to turn for one pH is told only where one reactor feeds one system. Plan `reactors` and "
            "`limewater_change` instead."
        )
        raise refused("/wanted_ph", detail, sent.wanted_ph)


def wanted(situation: Situation, sent: ProjectionSent, now: Now) -> Wanted | str | None:
    """The split for the wanted pH; words for what is in the way; None where no pH is wanted."""
    if sent.wanted_ph is None:
        return None
    (reactor,) = situation.reactors
    tank, found, supply, volume_l = tank_of(situation.water), reactor.found, reactor.supply, situation.water.volume_l
    if tank is None or found is None or supply is None or reactor.running is None or volume_l is None:
        return NEEDS
    if supply.value <= 0 or not float(found.found.added_co2_mol_kg.value) > 0 or reactor.gas_mol_d is None:
        return NEEDS
    strength, evaporation = _strength(sent), _evaporation(sent)
    dosed = dosed_meq_d(sent, volume_l)
    demand = supply.value - now.net_rate * volume_l - dosed
    if demand <= 0:
        return NO_DEMAND
    ends = np.maximum([situation.exchange.low, situation.exchange.high], LEAST_EXCHANGE)
    kla = np.array([ends[0], np.sqrt(ends[0] * ends[1]), ends[1]])
    carried = carried_mol_d(tank=tank, co2_share=co2_share_at(tank=tank, ph_nbs=sent.wanted_ph), kla_per_hour=kla)
    carried = carried - dosed * DOSED_CARBON / 1000.0  # what salts bring the air takes as well
    asked: dict[str, Numbers] = {
        "demand_meq_d": demand,
        "reactor_meq_d": supply.value,
        "dissolved_mol_kg": found.found.dissolved_mol_kg.value,
        "added_co2_mol_kg": found.found.added_co2_mol_kg.value,
        "strength_mol_l": strength / 2000.0,
        "salinity": situation.water.salinity,
        "temperature_c": situation.temperature_c,
    }
    every = split_for_wanted_ph(carried_mol_d=carried, **asked)
    split = split_for_wanted_ph(carried_mol_d=float(carried.max()), evaporation_l_d=evaporation, **asked)
    slow, middle, fast = (float(each) for each in every.limewater_l_d)
    held = _holding(reactor, float(split.reactor_meq_d) / supply.value, split, dosed)
    return Wanted(sent.wanted_ph, split, evaporation, (slow, middle, fast), held)


def _strength(sent: ProjectionSent) -> float:
    """meq/L. Raises Unacceptable for more than limewater can hold."""
    if sent.limewater_strength is None:
        return USUAL_LIMEWATER_MEQ_L
    found = amount_in(sent.limewater_strength, "meq/L", pointer="/limewater_strength", least=WEAKEST_MEQ_L)
    if found > MOST_STRENGTH_MEQ_L:
        detail = (
            f"Saturated limewater holds {MOST_STRENGTH_MEQ_L:.0f} meq/L at most, in the cold: milk of lime, or another "
            "unit? Let it settle and titrate the clear part."
        )
        raise refused("/limewater_strength/value", detail, sent.limewater_strength.value)
    return found


def _evaporation(sent: ProjectionSent) -> float:
    assert sent.evaporation is not None
    return amount_in(sent.evaporation, "L/d", pointer="/evaporation", least=0)


def _holding(reactor: Reactor, fraction: float, split: Split, dosed: float) -> StepAt:
    """The steps from now to so many times the drip, the effluent held, and to the whole limewater."""
    lime, litres = float(split.limewater_meq_d), float(split.limewater_l_d)

    def at(share: float) -> Step:
        return Step(
            share,
            [reactor.held_at(1.0 + share * (fraction - 1.0))],
            Number(share * dosed, abs(share * dosed) * DOSING_SD),
            Number(share * lime, share * lime * LIMEWATER_SD),
            share * litres,
        )

    return at


def shown_wanted(situation: Situation, found: Wanted) -> dict[str, Any]:
    """The split as it leaves, with the pH that it comes to at rest."""
    slow, middle, fast = found.would_take
    step = found.step_at(1.0)
    return {
        "ph": found.ph,
        "drip": {"value": shown_drip(step), "unit": "L/d"},
        "limewater": {"value": float(found.split.limewater_l_d), "unit": "L/d"},
        "limewater_alkalinity": {"value": float(found.split.limewater_meq_d), "unit": "meq/d"},
        "would_take": interval(middle, min(slow, fast), max(slow, fast), "L/d"),
        "evaporation": {"value": found.evaporation_l_d, "unit": "L/d"},
        "limited_by": limited_by(found),
        "reached": ph_at_rest(situation, step),
    }


def shown_drip(step: Step) -> float:
    """Of its only reactor, L/d."""
    (reactor,) = step.reactors
    assert reactor.ahead is not None
    return float(reactor.ahead.drip_l_d)


def limited_by(found: Wanted) -> str | None:
    """What keeps the split from the wanted pH, if anything."""
    if bool(found.split.is_limited):
        return "evaporation"
    if float(found.split.limewater_meq_d) == 0.0:
        return "nothing_to_bind"
    return "demand" if float(found.split.reactor_meq_d) <= 1e-9 * float(found.split.limewater_meq_d) else None


def wanted_findings(situation: Situation, found: Wanted) -> Iterator[dict[str, Any]]:
    """What keeps pH from the wanted, and what it then comes to."""
    limit, reached = limited_by(found), ph_at_rest(situation, found.step_at(1.0))
    if limit is None:
        if reached is not None and reached["value"] < found.ph - SHORT:
            yield remark("falls_short", _short(situation, found, reached), situation.system.id)
        return
    to = "" if reached is None else f" pH then comes to {reached['value']:.2f} instead of {found.ph:g}."
    why = {
        "evaporation": f"Only {found.evaporation_l_d:.1f} L/d evaporate, less than the limewater that would be needed.",
        "nothing_to_bind": "No limewater is needed for it, or none would do: limewater only lifts pH.",
        "demand": "Limewater alone would meet the whole demand: shut the reactor's gas and drip, or want less.",
    }[limit]
    yield remark(f"limited_by_{limit}", f"{why}{to}", situation.system.id)


def _short(situation: Situation, found: Wanted, reached: dict[str, Any]) -> str:
    exchange, (slow, _, fast) = situation.exchange, found.would_take
    return (
        f"pH may come to {reached['value']:.2f} only, not to {found.ph:g}: how freely this water breathes is known as "
        f"{exchange.low:.2g} to {exchange.high:.2g} per hour, and {found.ph:g} takes {min(slow, fast):.1f} to "
        f"{max(slow, fast):.1f} L/d of limewater by that; the least is planned, so that pH is not overshot. Once "
        "pH has come to rest with it, ask again, or read the room's CO2."
    )


def wanted_advice(situation: Situation, found: Wanted) -> dict[str, Any]:
    """How staff hold the effluent while the drip goes down."""
    (reactor,) = situation.reactors
    alkalinity = reactor.records.situation.chamber.alkalinity
    assert alkalinity is not None
    detail = HOLD.format(effluent=alkalinity.value, ph=found.ph)
    return remark("hold_effluent", detail, reactor.records.reactor.id)
