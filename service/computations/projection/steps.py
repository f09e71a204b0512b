"""A plan taken in steps: what is turned at each, and what that changes of what runs in, day by day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from service.computations.consumption.practice import PRACTICE
from service.computations.output_balance.numbers import Number
from service.computations.projection.models import LimewaterPlan, ProjectionSent, WaterChangePlan
from service.computations.projection.plan import Reactor
from service.resources.keeping.amounts import amount_in, refused
from service.science.ph_course import BICARBONATE_CARBON, HYDROXIDE_CARBON
from service.science.projection import Change, Turn

STAGE_DAYS = 3
"""Between two steps: time to test what the last one did (common practice)."""
MOST_MEQ_L_D = 10.0
"""Ten times what the hungriest systems take: beyond it an amount or its unit is wrong (a judgement)."""
DOSING_SD = 0.05
LIMEWATER_SD = 0.15
USUAL_LIMEWATER_MEQ_L = 0.75 * 40.6
NEW_WATER_SD = 0.03
FRACTION_SD = 0.05
DOSED_CARBON = 0.5 * BICARBONATE_CARBON
DOSED_CARBON_SD = BICARBONATE_CARBON / np.sqrt(12.0)
"""Of a dosed equivalent: anything from carbonate to bicarbonate."""
NOTHING = Number(0.0, 0.0)


@dataclass(frozen=True)
class Step:
    """So much of a plan: its reactors as they then stand, what is dosed and limed a day beyond now, meq/d and L/d."""

    share: float
    reactors: Sequence[Reactor]
    dosed: Number = NOTHING
    limewater: Number = NOTHING
    limewater_l_d: float = 0.0

    @property
    def added_mol_d(self) -> Number | None:
        """The carbon it adds a day beyond half of its alkalinity, mol/d: gas, what is dosed, less what lime binds.

        None where a reactor's gas changes and nobody can tell by how much.
        """
        gas = [each.gas_gain_mol_d for each in self.reactors]
        known = [each for each in gas if each is not None]
        if len(known) < len(gas):
            return None
        lime, dosed = self.limewater.times(HYDROXIDE_CARBON / 1000.0), self.dosed.value / 1000.0
        salts = Number(dosed * DOSED_CARBON, abs(dosed) * DOSED_CARBON_SD)
        return sum([*known, salts], lime)

    @property
    def turns_something(self) -> bool:
        """Whether there is anything to be taken in steps."""
        return bool(
            self.dosed.value
            or self.limewater.value
            or any(each.wanted is not None or each.gas_gain_mol_d != NOTHING for each in self.reactors)
        )


StepAt = Callable[[float], Step]
"""The step at a share of the way, 0 to 1."""


def as_sent(sent: ProjectionSent, reactors: Sequence[Reactor], volume_l: float) -> StepAt:
    """The steps to what was sent. Raises Unacceptable for amounts in other units, or beyond any plan."""
    dosed = dosed_meq_d(sent, volume_l)
    limewater, litres = limewater_of(sent.limewater_change, volume_l)

    def at(share: float) -> Step:
        return Step(
            share,
            [each.at(share) for each in reactors],
            Number(share * dosed, abs(share * dosed) * DOSING_SD),
            Number(share * limewater, abs(share * limewater) * LIMEWATER_SD),
            share * litres,
        )

    return at


def steps_of(step_at: StepAt, count: int) -> list[Step]:
    """So many equal steps, the last the whole of it."""
    return [step_at((index + 1) / count) for index in range(count)]


def on_days(steps: Sequence[Step], days: int) -> list[Step]:
    """The step that stands on each day."""
    return [steps[min(day // STAGE_DAYS, len(steps) - 1)] for day in range(days)]


def turns_of(steps: Sequence[Step], volume_l: float) -> list[Turn]:
    """What runs in more or less from now on, meq/L a day."""
    gains = [[step.reactors[index].gain for step in steps] for index in range(len(steps[0].reactors))]
    parts: list[list[Number | None]] = [*gains, [step.dosed for step in steps], [step.limewater for step in steps]]
    found = [turn_of([each or NOTHING for each in part], 1.0 / volume_l) for part in parts]
    return [each for each in found if each is not None]


def turn_of(gains: Sequence[Number], factor: float, relative_sd: float = 0.0) -> Turn | None:
    """One inflow's change at each step as a turn, times a factor known to so much; None where it never changes."""
    most = max(gains, key=lambda each: abs(each.value))
    if most.value == 0.0:
        return None
    shares = [each.value / most.value for each in gains]
    rate = most.value * factor
    return Turn(
        from_days=0.0,
        rate=rate,
        sd=float(np.hypot(most.sd * factor, rate * relative_sd)),
        shares=(*(share for share in shares[:-1] for _ in range(STAGE_DAYS)), shares[-1]),
    )


def dosed_meq_d(sent: ProjectionSent, volume_l: float) -> float:
    """So much more alkalinity is dosed a day under the plan."""
    if sent.dosing_change is None:
        return 0.0
    return _plausible(amount_in(sent.dosing_change, "meq/d", pointer="/dosing_change"), volume_l, "/dosing_change")


def limewater_of(plan: LimewaterPlan | None, volume_l: float) -> tuple[float, float]:
    """So much more alkalinity comes with limewater a day under the plan, meq/d, and its litres."""
    if plan is None:
        return 0.0, 0.0
    place = "/limewater_change"
    strength = USUAL_LIMEWATER_MEQ_L
    if plan.strength is not None:
        strength = amount_in(plan.strength, "meq/L", pointer=f"{place}/strength", above=0)
    litres = amount_in(plan.volume, "L/d", pointer=f"{place}/volume")
    return _plausible(litres * strength, volume_l, f"{place}/volume"), litres


def _plausible(meq_d: float, volume_l: float, pointer: str) -> float:
    if abs(meq_d) > MOST_MEQ_L_D * volume_l:
        detail = (
            f"That is {abs(meq_d) / volume_l:.3g} meq/L a day of this system's water; at most {MOST_MEQ_L_D:g} is a "
            "plan. Check the amount and its unit."
        )
        raise refused(f"{pointer}/value", detail, meq_d)
    return meq_d


def changes_of(sent: ProjectionSent, volume_l: float, days: int, quantity: str = "alkalinity") -> list[Change]:
    """The water changes planned within so many days, by what the new water holds of a quantity."""
    found = []
    for index, plan in enumerate(sent.water_changes):
        place = f"/water_changes/{index}"
        part = amount_in(plan.volume, "L", pointer=f"{place}/volume", above=0) / volume_l
        if part > 1:
            raise refused(f"{place}/volume", "More than the system holds.", plan.volume.value)
        level, level_sd = _new_water(plan, quantity, place)
        day = float(plan.after_days)
        while day <= days:
            found.append(
                Change(
                    at_days=day, fraction=part, fraction_sd=FRACTION_SD * part, new_level=level, new_level_sd=level_sd
                )
            )  # fmt: skip
            if plan.every_days is None:
                break
            day += float(plan.every_days)
    return found


def _new_water(plan: WaterChangePlan, quantity: str, place: str) -> tuple[float, float]:
    """What new water holds, and its sd: as stated, else as natural seawater."""
    stated = {"alkalinity": plan.alkalinity, "calcium": plan.calcium, "magnesium": plan.magnesium}[quantity]
    if stated is None:
        level = PRACTICE.seawater[quantity]
        return level, PRACTICE.unstated_new_water * level
    unit = "meq/L" if quantity == "alkalinity" else "mg/L"
    level = amount_in(stated, unit, pointer=f"{place}/{quantity}", above=0)
    return level, NEW_WATER_SD * level
