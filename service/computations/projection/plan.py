"""From a plan to what it changes: so much more or less a day, and water changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.balance import mode_of, supply_of
from service.computations.output_balance.chemistry import Chemistry, chemistry
from service.computations.output_balance.fitted import running_of
from service.computations.output_balance.gather import ReactorRecords
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.outflow import inflow_of
from service.computations.output_balance.situation import Fed
from service.computations.projection.models import ProjectionSent, ReactorPlan
from service.resources.keeping.amounts import amount_in, refused
from service.science.chamber_model import Setting, at_gas_and_drip, at_ph_and_drip
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.projection import Change, Turn
from service.science.reactor_output import Mode

MODEL_RELATIVE_SD = 0.2
"""Of the change that the chamber model foretells, whose dissolution is of the first order (see there): a judgement."""
DOSING_SD = 0.05
LIMEWATER_SD = 0.15
USUAL_LIMEWATER_MEQ_L = 0.75 * 40.6
NEW_WATER_SD = 0.03
FRACTION_SD = 0.05


@dataclass(frozen=True)
class Reactor:
    """One reactor that feeds the system: as it is, and at rest under the plan (None: nothing can be foretold)."""

    records: ReactorRecords
    fed: Fed
    mode: Mode
    supply: Number | None
    drip_l_d: float | None
    ahead: Setting | None
    found: Chemistry | None = None
    sets_gas: bool = False  # by its needle valve: the gas is what it is turned to, not what a model foretells

    @property
    def gain(self) -> Number | None:
        """By how much its supply to the system changes, meq/d."""
        return None if self.ahead is None else changed(self.supply, float(self.ahead.supply_fraction))

    @property
    def gas_mol_d(self) -> Number | None:
        """The carbon dioxide that it dissolves now in what this system is given, mol/d, by its chemistry."""
        added = None if self.found is None else self.found.added_g_d
        if added is None or added.value <= 0:
            return None
        return added.times(self.fed.share / MOLAR_MASS_G_MOL["CO2"])

    @property
    def gas_gain_mol_d(self) -> Number | None:
        """By how much that changes under the plan; None where it does and nobody can tell."""
        if self.ahead is not None and float(self.ahead.gas_fraction) == 1.0:
            return Number(0.0, 0.0)
        return None if self.ahead is None else self.gas_changed(self.gas_mol_d)

    def gas_changed(self, now: Number | None) -> Number | None:
        """By how much a use of gas changes under the plan."""
        assert self.ahead is not None
        return changed(now, float(self.ahead.gas_fraction), 0.0 if self.sets_gas else MODEL_RELATIVE_SD)


def changed(now: Number | None, fraction: float, relative_sd: float = MODEL_RELATIVE_SD) -> Number | None:
    """The change of a number that becomes so many times itself, as well as the model and the number are known."""
    if now is None:
        return None
    change = now.value * (fraction - 1.0)
    own = now.sd / abs(now.value) if now.value else 0.0
    return Number(change, abs(change) * float(np.hypot(relative_sd, own)))


def reactor_ahead(records: ReactorRecords, system_id: UUID, wanted: ReactorPlan | None, place: str = "") -> Reactor:
    """What the plan makes of one reactor; `place`: the pointer to its plan in what was sent."""
    situation = records.situation
    fed = next(each for each in situation.fed if each.system_id == system_id)
    inflow = inflow_of(situation.fed)
    found = None if inflow is None else chemistry(situation.chamber, inflow)
    mode = mode_of(situation.mode, None if found is None else float(found.omega.value))
    supply = supply_of(situation.chamber, fed)
    drip = None if situation.chamber.flow is None else situation.chamber.flow.value
    known = Reactor(records, fed, mode, supply, drip, None, found, situation.mode is not Mode.PH_CONTROLLED)
    if wanted is None:
        return replace(known, ahead=_as_it_is(drip))
    _check(wanted, situation.mode, place)
    running = running_of(situation)
    if running is None or drip is None:
        return known
    new_drip = drip if wanted.flow is None else amount_in(wanted.flow, "L/d", pointer=f"{place}/flow", above=0)
    if situation.mode is Mode.PH_CONTROLLED:
        ph = running.effluent_ph_nbs if wanted.chamber_ph is None else wanted.chamber_ph
        ahead = at_ph_and_drip(running=running, chamber_ph_nbs=ph, drip_l_d=new_drip)
    else:
        ahead = at_gas_and_drip(running=running, gas_fraction=wanted.gas_factor or 1.0, drip_l_d=new_drip)
    return replace(known, ahead=ahead) if np.isfinite(ahead.supply_fraction) else known


def _check(wanted: ReactorPlan, mode: Mode, place: str) -> None:
    if mode is Mode.PH_CONTROLLED and wanted.gas_factor is not None:
        detail = "A controller holds this chamber's pH and takes the gas it needs. Plan `chamber_ph` or `flow`."
        raise refused(f"{place}/gas_factor", detail, wanted.gas_factor)
    if mode is not Mode.PH_CONTROLLED and wanted.chamber_ph is not None:
        detail = "This reactor runs at constant gas; its pH follows. Plan `gas_factor` or `flow`."
        raise refused(f"{place}/chamber_ph", detail, wanted.chamber_ph)


def _as_it_is(drip: float | None) -> Setting | None:
    if drip is None:
        return None
    nothing = np.asarray(np.nan)
    return Setting(np.asarray(drip), nothing, nothing, nothing, np.asarray(1.0), np.asarray(1.0))


def turns_of(sent: ProjectionSent, reactors: Sequence[Reactor], volume_l: float) -> list[Turn]:
    """What runs in more or less from now on, meq/L a day."""
    turns = [
        Turn(from_days=0.0, rate=gain.value / volume_l, sd=gain.sd / volume_l)
        for reactor in reactors
        if (gain := reactor.gain) is not None and gain.value != 0.0
    ]
    if sent.dosing_change is not None:
        rate = dosed_meq_d(sent) / volume_l
        turns.append(Turn(from_days=0.0, rate=rate, sd=abs(rate) * DOSING_SD))
    if sent.limewater_change is not None:
        rate = limewater_meq_d(sent) / volume_l
        turns.append(Turn(from_days=0.0, rate=rate, sd=abs(rate) * LIMEWATER_SD))
    return turns


def dosed_meq_d(sent: ProjectionSent) -> float:
    """So much more alkalinity is dosed a day under the plan."""
    return 0.0 if sent.dosing_change is None else amount_in(sent.dosing_change, "meq/d", pointer="/dosing_change")


def limewater_meq_d(sent: ProjectionSent) -> float:
    """So much more alkalinity comes with limewater a day under the plan."""
    plan = sent.limewater_change
    if plan is None:
        return 0.0
    place = "/limewater_change"
    strength = USUAL_LIMEWATER_MEQ_L
    if plan.strength is not None:
        strength = amount_in(plan.strength, "meq/L", pointer=f"{place}/strength", above=0)
    return amount_in(plan.volume, "L/d", pointer=f"{place}/volume") * strength


def changes_of(sent: ProjectionSent, volume_l: float) -> list[Change]:
    """The water changes planned within the days asked for."""
    found = []
    for index, plan in enumerate(sent.water_changes):
        place = f"/water_changes/{index}"
        part = amount_in(plan.volume, "L", pointer=f"{place}/volume", above=0) / volume_l
        if part > 1:
            raise refused(f"{place}/volume", "More than the system holds.", plan.volume.value)
        level = amount_in(plan.alkalinity, "meq/L", pointer=f"{place}/alkalinity", above=0)
        day = float(plan.after_days)
        while day <= sent.days:
            found.append(
                Change(
                    at_days=day, fraction=part, fraction_sd=FRACTION_SD * part, new_level=level,
                    new_level_sd=NEW_WATER_SD * level,
                )
            )  # fmt: skip
            if plan.every_days is None:
                break
            day += float(plan.every_days)
    return found


def lacking(reactors: Sequence[Reactor]) -> list[dict[str, Any]]:
    """What keeps a reactor of the plan from being foretold."""
    detail = (
        "The plan turns this reactor, but its readings fix no chamber: time its drip, test its effluent, read the pH "
        "in the chamber and of the system. An effluent at its ceiling answers to no drip: lower the pH first."
    )
    return [remark("chamber", detail, each.records.reactor.id) for each in reactors if each.ahead is None]
