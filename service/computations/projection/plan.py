"""One reactor that feeds the system: as it is, and at rest when so much of what is planned of it is turned."""

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
from service.computations.projection.models import ReactorPlan
from service.resources.keeping.amounts import amount_in, refused
from service.science.chamber_model import Running, Setting, at_gas_and_drip, at_ph_and_drip
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.reactor_output import Mode

MODEL_RELATIVE_SD = 0.2
"""Of the change that the chamber model foretells, whose dissolution is of the first order (see there): a judgement."""
HELD_RELATIVE_SD = 0.05
"""Of the change of supply where the effluent is held by tests and the drip alone is turned (common practice)."""


@dataclass(frozen=True)
class Reactor:
    """One reactor that feeds the system: as it is, and at rest under the plan (ahead None: nothing can be foretold).

    running: its chamber as last read, None where readings lack. wanted, place: its plan and the pointer to it in what
    was sent. sets_gas: by its needle valve, so that the gas is what it is turned to, not what a model foretells.
    """

    records: ReactorRecords
    fed: Fed
    mode: Mode
    supply: Number | None
    drip_l_d: float | None
    ahead: Setting | None
    found: Chemistry | None = None
    sets_gas: bool = False
    running: Running | None = None
    wanted: ReactorPlan | None = None
    place: str = ""
    relative_sd: float = MODEL_RELATIVE_SD  # of a change of supply

    @property
    def gain(self) -> Number | None:
        """By how much its supply to the system changes, meq/d."""
        if self.ahead is None:
            return None
        return changed(self.supply, float(self.ahead.supply_fraction), self.relative_sd)

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

    def at(self, share: float) -> Reactor:
        """The same when that share of the way is turned: each setting so far from what it is to what is planned."""
        if self.wanted is None:
            return replace(self, ahead=_as_it_is(self.drip_l_d))
        running, drip = self.running, self.drip_l_d
        if running is None or drip is None:
            return replace(self, ahead=None)
        wanted, new_drip = self.wanted, drip
        if wanted.flow is not None:
            new_drip += share * (amount_in(wanted.flow, "L/d", pointer=f"{self.place}/flow", above=0) - drip)
        if not self.sets_gas:
            ph = float(running.effluent_ph_nbs)
            ph += share * ((ph if wanted.chamber_ph is None else wanted.chamber_ph) - ph)
            ahead = at_ph_and_drip(running=running, chamber_ph_nbs=ph, drip_l_d=new_drip)
        else:
            gas = 1.0 + share * ((wanted.gas_factor or 1.0) - 1.0)
            ahead = at_gas_and_drip(running=running, gas_fraction=gas, drip_l_d=new_drip)
        return replace(self, ahead=ahead if np.isfinite(ahead.supply_fraction) else None)

    def held_at(self, fraction: float) -> Reactor:
        """The same at so many times its drip, gas turned with the drip so that the effluent stays as it is."""
        assert self.running is not None
        assert self.drip_l_d is not None
        part, running = np.asarray(fraction), self.running
        ahead = Setting(
            drip_l_d=part * self.drip_l_d,
            ph_nbs=np.asarray(running.effluent_ph_nbs),
            alkalinity_mol_kg=np.asarray(running.effluent_alkalinity_mol_kg),
            added_co2_mol_kg=np.asarray(np.nan if self.found is None else self.found.found.added_co2_mol_kg.value),
            gas_fraction=part,
            supply_fraction=part,
        )
        return replace(self, ahead=ahead, sets_gas=False, relative_sd=HELD_RELATIVE_SD)


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
    if wanted is not None:
        _check(wanted, situation.mode, place)
    known = Reactor(
        records=records,
        fed=fed,
        mode=mode_of(situation.mode, None if found is None else float(found.omega.value)),
        supply=supply_of(situation.chamber, fed),
        drip_l_d=None if situation.chamber.flow is None else situation.chamber.flow.value,
        ahead=None,
        found=found,
        sets_gas=situation.mode is not Mode.PH_CONTROLLED,
        running=running_of(situation),
        wanted=wanted,
        place=place,
    )
    return known.at(1.0)


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


def lacking(reactors: Sequence[Reactor]) -> list[dict[str, Any]]:
    """What keeps a reactor of the plan from being foretold."""
    detail = (
        "The plan turns this reactor, but its readings fix no chamber: time its drip, test its effluent, read the pH "
        "in the chamber and of the system. An effluent at its ceiling answers to no drip: lower the pH first."
    )
    return [remark("chamber", detail, each.records.reactor.id) for each in reactors if each.ahead is None]
