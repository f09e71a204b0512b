"""The system's pH under a plan, from today's: what the air takes off tells how far more gas or lime moves it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.numbers import Number, Z
from service.computations.output_balance.outflow import mol_kg
from service.computations.projection.models import ProjectionSent
from service.computations.projection.plan import LIMEWATER_SD, dosed_meq_d, limewater_meq_d
from service.computations.projection.situation import Situation, tank_of
from service.computations.run_away.situation import UNKNOWN_EXCHANGE, Exchange
from service.science import Values
from service.science.chamber_uncertainty import TANK_PH_SD
from service.science.mixture import NormalMixture
from service.science.ph_course import BICARBONATE_CARBON, HYDROXIDE_CARBON, ph_course_nbs
from service.science.projection import Ahead

SHARES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Where between the ends of gas exchange, by its logarithm, the five rates lie, each as likely as the others."""
LEAST_EXCHANGE = 0.01
USUAL_PH, MOVED = (7.8, 8.5), 0.02
"""By day (common practice), and what is no change."""
DOSED_CARBON = 0.5 * BICARBONATE_CARBON
DOSED_CARBON_SD = BICARBONATE_CARBON / np.sqrt(12.0)
"""Of a dosed equivalent: anything from carbonate to bicarbonate."""
ASSUMED = (
    "pH is that of the hours at which it was read, the mean of the last week's. Light, life and the room's air go on "
    "as they are; what the plan adds beyond that leaves through the surface, what it binds comes in through it. What "
    "is dosed is taken for bicarbonate or carbonate, changed water for water of the tank's own CO2.",
)
SAID_BY = {
    "range": "a range of tanks of this trade, from memory",
    "balance": "from drip, effluent and the room's air",
    "at_least": "at least what the reactors' gas needs against the room's air, or outdoor air where that was not read",
    "as_asked": "as sent",
}
WANTED = {
    "ph": "How the system's pH moves needs its pH, read within four weeks.",
    "gas": "How the system's pH moves needs the gas this reactor dissolves: the pH in its chamber and of the system.",
    "gas_exchange": "How fast this water exchanges gas with the air is not known well: readings of the room's CO2 "
    "(room_co2) would tell, or send gas_exchange.",
}


def lacks(situation: Situation, sent: ProjectionSent) -> Iterator[dict[str, Any]]:
    """What keeps pH from being told, or makes its band wide."""
    if situation.water.ph is None:
        yield remark("ph", WANTED["ph"], situation.system.id)
        return
    for reactor in situation.reactors:
        if reactor.ahead is not None and reactor.gas_gain_mol_d is None:
            yield remark("gas", WANTED["gas"], reactor.records.reactor.id)
    added = _added(situation, sent)
    if added is not None and added.value != 0.0 and situation.exchange.by in (UNKNOWN_EXCHANGE.by, "at_least"):
        yield remark("gas_exchange", WANTED["gas_exchange"], situation.system.id)


def assumed(exchange: Exchange) -> list[str]:
    """How pH is reckoned, in words."""
    told = f"Gas exchange {exchange.low:.2g} to {exchange.high:.2g} per hour ({SAID_BY[exchange.by]})."
    return [*ASSUMED, told]


def findings(situation: Situation, course: dict[str, Any] | None) -> Iterator[dict[str, Any]]:
    """A pH that the plan takes out of what is usual by day, or further out."""
    if course is None:
        return
    (least, most), now = USUAL_PH, course["value"][0]
    low, high = min(course["value"]), max(course["value"])
    if low < min(least, now - MOVED):
        detail = f"pH falls from {now:.2f} to {low:.2f} under this plan, below the usual {least:g} by day: less gas."
        yield remark("ph_low", detail, situation.system.id)
    if high > max(most, now + MOVED):
        detail = f"pH rises from {now:.2f} to {high:.2f} under this plan, above the usual {most:g} by day: less lime."
        yield remark("ph_high", detail, situation.system.id)


def shown_exchange(exchange: Exchange) -> dict[str, Any]:
    """As it leaves."""
    return {"low": exchange.low, "high": exchange.high, "unit": "/h", "by": exchange.by}


def ph_course(situation: Situation, sent: ProjectionSent, level: Ahead, moved_meq_l: Values) -> dict[str, Any] | None:
    """pH on each day under the plan; None where pH, or the gas of a reactor that is turned, is not known.

    moved_meq_l: by how much the plan's inflows moved the level beyond what it would have been, each day.
    """
    water = situation.water
    added, ph = _added(situation, sent), water.ph
    if added is None or ph is None or water.volume_l is None:
        return None
    sds = np.array([max(ph.sd, TANK_PH_SD), 1.0, 1.0])
    moves = np.vstack([np.zeros(3), np.eye(3) * sds])  # as known; then pH, the level, the gas each by one sd
    tank = tank_of(water, ph_nbs=(ph.value + moves[:, :1]))
    if tank is None:
        return None
    kilogram = mol_kg(1.0, water.salinity, situation.temperature_c)
    band = (level.high - level.low) / (2.0 * Z)
    courses = (level.value + moves[:, 1:2] * band)[:, None, :] * kilogram
    carbon = (added.value + moves[:, 2] * added.sd) / float(tank.mass_kg())
    found = ph_course_nbs(
        tank=tank,
        alkalinity_mol_kg=courses,
        added_mol_kg_d=carbon[:, None, None] * np.ones(len(level.value) - 1),
        moved_mol_kg_d=np.diff(moved_meq_l) * kilogram,
        kla_per_hour=rates_of(situation.exchange),
    )
    return _shown(situation, level, found)


def rates_of(exchange: Exchange) -> Values:
    """Coefficients of gas exchange, per hour, each as likely as the others."""
    low, high = np.log(max(exchange.low, LEAST_EXCHANGE)), np.log(max(exchange.high, LEAST_EXCHANGE))
    return np.asarray(np.exp(low + SHARES * (high - low)))


def _added(situation: Situation, sent: ProjectionSent) -> Number | None:
    """The carbon a plan adds a day beyond half of its alkalinity, mol/d: gas, what is dosed, less what lime binds."""
    gas = [each.gas_gain_mol_d for each in situation.reactors]
    known = [each for each in gas if each is not None]
    if len(known) < len(gas):
        return None
    lime = limewater_meq_d(sent) / 1000.0 * HYDROXIDE_CARBON
    dosed = dosed_meq_d(sent) / 1000.0
    parts = [*known, Number(lime, abs(lime) * LIMEWATER_SD), Number(dosed * DOSED_CARBON, abs(dosed) * DOSED_CARBON_SD)]
    return sum(parts[1:], parts[0])


def _shown(situation: Situation, level: Ahead, found: Values) -> dict[str, Any]:
    """found: (as known and moved, rates, days)."""
    variances = ((found[1:] - found[:1]) ** 2).sum(axis=0)
    share = np.full(len(SHARES), 1.0 / len(SHARES))
    mixed = NormalMixture(share, found[0].T, variances.T)
    low, high = mixed.interval()
    return {
        "at": [situation.at + timedelta(days=float(day)) for day in level.at_days],
        "value": [float(each) for each in mixed.mean()],
        "low": [float(each) for each in low],
        "high": [float(each) for each in high],
        "unit": "[pH]",
    }
