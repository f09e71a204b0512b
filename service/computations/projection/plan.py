"""From a plan to what it changes: so much more or less a day, and water changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.balance import mode_of, supply_of
from service.computations.output_balance.chemistry import chemistry
from service.computations.output_balance.fitted import running_of
from service.computations.output_balance.gather import ReactorRecords
from service.computations.output_balance.numbers import Number, bounds
from service.computations.output_balance.outflow import inflow_of
from service.computations.output_balance.situation import Fed
from service.computations.projection.models import ProjectionSent, ReactorPlan
from service.resources.keeping.amounts import amount_in, refused
from service.science.chamber_model import Setting, at_gas_and_drip, at_ph_and_drip
from service.science.projection import Change, Turn
from service.science.reactor_output import Mode
from service.science.seawater import density

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

    @property
    def gain(self) -> Number | None:
        """By how much its supply to the system changes, meq/d."""
        if self.supply is None or self.ahead is None:
            return None
        change = self.supply.value * (float(self.ahead.supply_fraction) - 1.0)
        own = self.supply.sd / abs(self.supply.value) if self.supply.value else 0.0
        return Number(change, abs(change) * float(np.hypot(MODEL_RELATIVE_SD, own)))


def reactor_ahead(records: ReactorRecords, system_id: UUID, wanted: ReactorPlan | None, place: str = "") -> Reactor:
    """What the plan makes of one reactor; `place`: the pointer to its plan in what was sent."""
    situation = records.situation
    fed = next(each for each in situation.fed if each.system_id == system_id)
    inflow = inflow_of(situation.fed)
    found = None if inflow is None else chemistry(situation.chamber, inflow)
    mode = mode_of(situation.mode, None if found is None else float(found.omega.value))
    supply = supply_of(situation.chamber, fed)
    drip = None if situation.chamber.flow is None else situation.chamber.flow.value
    if wanted is None:
        return Reactor(records, fed, mode, supply, drip, _as_it_is(drip))
    _check(wanted, situation.mode, place)
    running = running_of(situation)
    if running is None or drip is None:
        return Reactor(records, fed, mode, supply, drip, None)
    new_drip = drip if wanted.flow is None else amount_in(wanted.flow, "L/d", pointer=f"{place}/flow", above=0)
    if situation.mode is Mode.PH_CONTROLLED:
        ph = running.effluent_ph_nbs if wanted.chamber_ph is None else wanted.chamber_ph
        ahead = at_ph_and_drip(running=running, chamber_ph_nbs=ph, drip_l_d=new_drip)
    else:
        ahead = at_gas_and_drip(running=running, gas_fraction=wanted.gas_factor or 1.0, drip_l_d=new_drip)
    return Reactor(records, fed, mode, supply, drip, ahead if np.isfinite(ahead.supply_fraction) else None)


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


def shown_reactor(reactor: Reactor) -> dict[str, Any]:
    """One reactor as it leaves."""
    ahead, gain = reactor.ahead, reactor.gain
    after = None if reactor.supply is None or gain is None else Number(
        reactor.supply.value + gain.value, float(np.hypot(reactor.supply.sd, gain.sd))
    )  # fmt: skip
    drip = reactor.drip_l_d if ahead is None else float(ahead.drip_l_d)
    return {
        "reactor_id": reactor.records.reactor.id,
        "mode": reactor.mode.value,
        "flow": {"value": drip or 0.0, "unit": "L/d"},
        "effluent_alkalinity": _effluent(reactor),
        "chamber_ph": None if ahead is None or np.isnan(ahead.ph_nbs) else float(ahead.ph_nbs),
        "gas_factor": None if ahead is None else float(ahead.gas_fraction),
        "supply": bounds(after, "meq/d"),
        "supply_now": bounds(reactor.supply, "meq/d"),
    }


def _effluent(reactor: Reactor) -> dict[str, Any] | None:
    ahead = reactor.ahead
    if ahead is None or np.isnan(ahead.alkalinity_mol_kg):
        return None
    fed = reactor.fed
    litre = float(density(salinity=fed.salinity, temperature_c=fed.temperature_c))
    return {"value": float(ahead.alkalinity_mol_kg) * litre, "unit": "meq/L"}


def turns_of(sent: ProjectionSent, reactors: list[Reactor], volume_l: float) -> list[Turn]:
    """What runs in more or less from now on, meq/L a day."""
    turns = [
        Turn(from_days=0.0, rate=gain.value / volume_l, sd=gain.sd / volume_l)
        for reactor in reactors
        if (gain := reactor.gain) is not None and gain.value != 0.0
    ]
    if sent.dosing_change is not None:
        rate = amount_in(sent.dosing_change, "meq/d", pointer="/dosing_change") / volume_l
        turns.append(Turn(from_days=0.0, rate=rate, sd=abs(rate) * DOSING_SD))
    if sent.limewater_change is not None:
        plan = sent.limewater_change
        litres = amount_in(plan.volume, "L/d", pointer="/limewater_change/volume")
        strength = (
            USUAL_LIMEWATER_MEQ_L
            if plan.strength is None
            else amount_in(plan.strength, "meq/L", pointer="/limewater_change/strength", above=0)
        )
        rate = litres * strength / volume_l
        turns.append(Turn(from_days=0.0, rate=rate, sd=abs(rate) * LIMEWATER_SD))
    return turns


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


def lacking(reactors: list[Reactor]) -> list[dict[str, Any]]:
    """What keeps a reactor of the plan from being foretold."""
    detail = (
        "The plan turns this reactor, but its readings fix no chamber: time its drip, test its effluent, read the pH "
        "in the chamber and of the system. An effluent at its ceiling answers to no drip: lower the pH first."
    )
    return [remark("chamber", detail, each.records.reactor.id) for each in reactors if each.ahead is None]
