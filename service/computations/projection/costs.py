"""What a plan costs: carbon dioxide and media a day at each reactor, and the reactor as it then stands."""

from __future__ import annotations

from typing import Any

import numpy as np

from service.computations.output_balance.balance import media_of, total_supply
from service.computations.output_balance.gas_check import gas_told
from service.computations.output_balance.numbers import Number, bounds
from service.computations.projection.plan import MODEL_RELATIVE_SD, Reactor
from service.science.seawater import density


def shown_reactor(reactor: Reactor) -> dict[str, Any]:
    """One reactor as it leaves, now and at rest under the plan."""
    ahead, situation = reactor.ahead, reactor.records.situation
    drip = reactor.drip_l_d if ahead is None else float(ahead.drip_l_d)
    gas, media = gas_told(situation, reactor.found), media_of(total_supply(situation.chamber, situation.fed))
    return {
        "reactor_id": reactor.records.reactor.id,
        "mode": reactor.mode.value,
        "flow": {"value": drip or 0.0, "unit": "L/d"},
        "effluent_alkalinity": _effluent(reactor),
        "chamber_ph": None if ahead is None or np.isnan(ahead.ph_nbs) else float(ahead.ph_nbs),
        "gas_factor": None if ahead is None else float(ahead.gas_fraction),
        "supply": bounds(_turned(reactor, reactor.supply), "meq/d"),
        "supply_now": bounds(reactor.supply, "meq/d"),
        "gas": bounds(_gas_ahead(reactor, gas), "g/d"),
        "gas_now": bounds(gas, "g/d"),
        "media": bounds(_turned(reactor, media), "g/d"),
        "media_now": bounds(media, "g/d"),
    }


def _turned(reactor: Reactor, now: Number | None) -> Number | None:
    """What goes with the supply, under the plan."""
    ahead = reactor.ahead
    return None if ahead is None else times(now, float(ahead.supply_fraction), reactor.relative_sd)


def _gas_ahead(reactor: Reactor, gas: Number | None) -> Number | None:
    """What is turned at the valve is exactly so many times what it was; else the chamber model says."""
    if reactor.ahead is None:
        return None
    return times(gas, float(reactor.ahead.gas_fraction), 0.0 if reactor.sets_gas else MODEL_RELATIVE_SD)


def times(now: Number | None, fraction: float, relative_sd: float) -> Number | None:
    """So many times a number, its error with it, and that of the change, known to so much of itself."""
    if now is None:
        return None
    change_sd = relative_sd * abs(now.value * (fraction - 1.0))
    return Number(now.value * fraction, float(np.hypot(now.sd * fraction, change_sd)))


def _effluent(reactor: Reactor) -> dict[str, Any] | None:
    ahead = reactor.ahead
    if ahead is None or np.isnan(ahead.alkalinity_mol_kg):
        return None
    fed = reactor.fed
    litre = float(density(salinity=fed.salinity, temperature_c=fed.temperature_c))
    return {"value": float(ahead.alkalinity_mol_kg) * litre, "unit": "meq/L"}
