"""The system's pH under a plan, from today's: what the air takes off tells how far more gas or lime moves it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from service.computations.answers import remark
from service.computations.output_balance.numbers import Number, Z, interval
from service.computations.output_balance.outflow import mol_kg
from service.computations.projection.situation import Situation, tank_of
from service.computations.projection.steps import Step, on_days
from service.computations.run_away.situation import UNKNOWN_EXCHANGE, Exchange
from service.science import Values
from service.science.chamber_uncertainty import TANK_PH_SD
from service.science.hazards import Tank
from service.science.mixture import NormalMixture
from service.science.ph_course import ph_course_nbs, ph_nbs_at_share, share_at_rest
from service.science.projection import Ahead

SHARES = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Where between the ends of gas exchange, by its logarithm, the five rates lie, each as likely as the others."""
LEAST_EXCHANGE = 0.01
USUAL_PH, MOVED = (7.8, 8.5), 0.02
"""By day (common practice), and what is no change."""
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
    "alkalinity": "This plan takes alkalinity to where no open water has a pH: plan less, and pH is told.",
    "gas": "How the system's pH moves needs the gas this reactor dissolves: the pH in its chamber and of the system.",
    "gas_exchange": "How fast this water exchanges gas with the air is not known well: readings of the room's CO2 "
    "(room_co2) would tell, or send gas_exchange.",
}


def lacks(situation: Situation, step: Step) -> Iterator[dict[str, Any]]:
    """What keeps pH from being told under the whole plan, or makes its band wide."""
    if situation.water.ph is None:
        yield remark("ph", WANTED["ph"], situation.system.id)
        return
    for reactor in step.reactors:
        if reactor.ahead is not None and reactor.gas_gain_mol_d is None:
            yield remark("gas", WANTED["gas"], reactor.records.reactor.id)
    added = step.added_mol_d
    if added is not None and added.value != 0.0 and situation.exchange.by in (UNKNOWN_EXCHANGE.by, "at_least"):
        yield remark("gas_exchange", WANTED["gas_exchange"], situation.system.id)


def beyond(situation: Situation, step: Step, ph: NormalMixture | None) -> Iterator[dict[str, Any]]:
    """Why pH is not told although all is known that tells it."""
    if ph is None and situation.water.ph is not None and step.added_mol_d is not None:
        yield remark("ph", WANTED["alkalinity"], situation.system.id)


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


def ph_course(situation: Situation, steps: Sequence[Step], level: Ahead, moved_meq_l: Values) -> NormalMixture | None:
    """pH on each day under the plan; None where pH, or the gas of a reactor that is turned, is not known, or the plan
    takes alkalinity to where no open water has a pH.

    moved_meq_l: by how much the plan's inflows moved the level beyond what it would have been, each day.
    """
    added = [step.added_mol_d for step in on_days(steps, len(level.value) - 1)]
    known = [each for each in added if each is not None]
    moved = _moved(situation)
    if moved is None or len(known) < len(added):
        return None
    kilogram = mol_kg(1.0, situation.water.salinity, situation.temperature_c)
    band = (level.high - level.low) / (2.0 * Z)
    found = ph_course_nbs(
        tank=moved.tank,
        alkalinity_mol_kg=((level.value + moved.level[:, None] * band) * kilogram)[:, None, :],
        added_mol_kg_d=moved.carbon(known)[:, None, :] / float(moved.tank.mass_kg()),
        moved_mol_kg_d=np.diff(moved_meq_l) * kilogram,
        kla_per_hour=rates_of(situation.exchange),
    )
    return _mixed(found) if np.isfinite(found).all() else None


def ph_at_rest(situation: Situation, step: Step) -> dict[str, Any] | None:
    """pH when the air has come to take what a step adds, the level as it is now; None where pH or gas is not known, or
    the air never gives what lime binds.

    high is None where, within what is known, the air may never give what lime binds.
    """
    moved, added, level = _moved(situation), step.added_mol_d, situation.water.alkalinity
    if moved is None or added is None or level is None:
        return None
    share = share_at_rest(tank=moved.tank, added_mol_d=moved.carbon([added]), kla_per_hour=rates_of(situation.exchange))
    alkalinity = mol_kg(level.value + moved.level * level.sd, situation.water.salinity, situation.temperature_c)
    rests = np.isfinite(share)
    if not rests[0].all():
        return None
    least = np.where(rests, share, np.nanmin(share))
    found = ph_nbs_at_share(tank=moved.tank, alkalinity_mol_kg=alkalinity[:, None, None], co2_share=least[..., None])
    mixed = _mixed(found)
    low, high = mixed.interval()
    top = float(high[0]) if rests.all() else None
    return interval(float(mixed.mean()[0]), float(low[0]), top, "[pH]")


@dataclass(frozen=True)
class _Moved:
    """As known, and with today's pH, the level, and the carbon added each moved by one sd: rows of four.

    tank: (4, 1); level and added: by how many sds each is moved, (4).
    """

    tank: Tank
    level: Values
    added: Values

    def carbon(self, added: Sequence[Number]) -> Values:
        """mol/d as known and moved, (4, those given)."""
        value, sd = (np.array([getattr(each, name) for each in added]) for name in ("value", "sd"))
        return np.asarray(value + self.added[:, None] * sd)


def _moved(situation: Situation) -> _Moved | None:
    ph = situation.water.ph
    if ph is None:
        return None
    off = np.array([0.0, max(ph.sd, TANK_PH_SD), 0.0, 0.0])
    tank = tank_of(situation.water, ph_nbs=(ph.value + off)[:, None])
    return None if tank is None else _Moved(tank, np.array([0.0, 0.0, 1.0, 0.0]), np.array([0.0, 0.0, 0.0, 1.0]))


def rates_of(exchange: Exchange) -> Values:
    """Coefficients of gas exchange, per hour, each as likely as the others."""
    low, high = np.log(max(exchange.low, LEAST_EXCHANGE)), np.log(max(exchange.high, LEAST_EXCHANGE))
    return np.asarray(np.exp(low + SHARES * (high - low)))


def _mixed(found: Values) -> NormalMixture:
    """What gas exchange may be, each as likely as the others. found: (as known and moved, rates, days)."""
    variances = ((found[1:] - found[:1]) ** 2).sum(axis=0)
    return NormalMixture(np.full(len(SHARES), 1.0 / len(SHARES)), found[0].T, variances.T)


def shown_ph(mixed: NormalMixture | None, at: datetime) -> dict[str, Any] | None:
    """The course as it leaves, a value a day from an instant on."""
    if mixed is None:
        return None
    low, high = mixed.interval()
    return {
        "at": [at + timedelta(days=day) for day in range(len(low))],
        "value": [float(each) for each in mixed.mean()],
        "low": [float(each) for each in low],
        "high": [float(each) for each in high],
        "unit": "[pH]",
    }
