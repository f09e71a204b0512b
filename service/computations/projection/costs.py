"""What a plan costs: carbon dioxide and media a day at each reactor, and the reactor as it then stands."""

from __future__ import annotations

from typing import Any

import numpy as np

from service.computations.output_balance.balance import media_of, total_supply
from service.computations.output_balance.gas_check import gas_told
from service.computations.output_balance.numbers import Number, bounds
from service.computations.projection.plan import Reactor, changed
from service.science.seawater import density


def shown_reactor(reactor: Reactor) -> dict[str, Any]:
    """One reactor as it leaves, now and at rest under the plan."""
    ahead, situation = reactor.ahead, reactor.records.situation
    drip = reactor.drip_l_d if ahead is None else float(ahead.drip_l_d)
    gas, media = gas_told(situation, reactor.found), media_of(total_supply(situation.chamber, situation.fed))
    after = None if ahead is None else changed(media, float(ahead.supply_fraction))
    return {
        "reactor_id": reactor.records.reactor.id,
        "mode": reactor.mode.value,
        "flow": {"value": drip or 0.0, "unit": "L/d"},
        "effluent_alkalinity": _effluent(reactor),
        "chamber_ph": None if ahead is None or np.isnan(ahead.ph_nbs) else float(ahead.ph_nbs),
        "gas_factor": None if ahead is None else float(ahead.gas_fraction),
        "supply": bounds(_with(reactor.supply, reactor.gain), "meq/d"),
        "supply_now": bounds(reactor.supply, "meq/d"),
        "gas": bounds(_gas_ahead(reactor, gas), "g/d"),
        "gas_now": bounds(gas, "g/d"),
        "media": bounds(_with(media, after), "g/d"),
        "media_now": bounds(media, "g/d"),
    }


def _with(now: Number | None, change: Number | None) -> Number | None:
    return (
        None if now is None or change is None else Number(now.value + change.value, float(np.hypot(now.sd, change.sd)))
    )


def _gas_ahead(reactor: Reactor, gas: Number | None) -> Number | None:
    """What is turned at the valve is exactly so many times what it was; else the chamber model says."""
    if gas is None or reactor.ahead is None:
        return None
    if reactor.sets_gas:
        return gas.times(float(reactor.ahead.gas_fraction))
    return _with(gas, reactor.gas_changed(gas))


def _effluent(reactor: Reactor) -> dict[str, Any] | None:
    ahead = reactor.ahead
    if ahead is None or np.isnan(ahead.alkalinity_mol_kg):
        return None
    fed = reactor.fed
    litre = float(density(salinity=fed.salinity, temperature_c=fed.temperature_c))
    return {"value": float(ahead.alkalinity_mol_kg) * litre, "unit": "meq/L"}
