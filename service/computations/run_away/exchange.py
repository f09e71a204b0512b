"""How fast a water exchanges gas with the air: from the balance of a reactor's gas, or from how pH came back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from service.computations.output_balance.numbers import Number, Z
from service.computations.run_away.models import ExchangeSent
from service.computations.run_away.situation import UNKNOWN_EXCHANGE, Exchange
from service.resources.keeping.amounts import refused
from service.science import Values
from service.science.chamber_uncertainty import TANK_PH_SD
from service.science.hazards import Tank, kla_from_balance_per_hour, kla_from_relaxation_per_hour
from service.science.room import OUTDOOR_PPM

LEFT_OUT = 2.0  # photosynthesis and respiration move as much carbon as a reactor adds (a judgement)
ONE_PROBE_SD = 0.01  # of one probe within hours (common practice)
BELIEVABLE = (0.01, 30.0)  # per hour; beyond it something else is wrong (a judgement)


def exchange_as_asked(sent: ExchangeSent) -> Exchange:
    """As sent. Raises Unacceptable for ends in the wrong order."""
    if sent.high < sent.low:
        raise refused("/gas_exchange/high", "The high end is below the low one. Exchange them.")
    return Exchange(sent.low, sent.high, "as_asked")


def exchange_by_balance(
    *, tank: Tank, ph: Number, added_mol_kg: Number, drip_l_d: float, room_co2_ppm: float | None
) -> Exchange:
    """All the gas added leaves through the surface: kLa between what the errors of pH and gas make of it.

    The range of tanks of this trade where the room's air was not read, or where it may hold as much as the water.
    """
    if room_co2_ppm is None or drip_l_d <= 0 or added_mol_kg.value <= 0:
        return UNKNOWN_EXCHANGE
    found = _balances(tank, ph, added_mol_kg, drip_l_d, room_co2_ppm)
    low, high = float(found.min()) / LEFT_OUT, float(found.max()) * LEFT_OUT
    least, most = BELIEVABLE
    if not (np.isfinite(found).all() and low > least and high < most):
        return UNKNOWN_EXCHANGE
    return Exchange(low, high, "balance")


def exchange_at_least(
    *, tank: Tank, ph: Number, added_mol_kg: Number, drip_l_d: float, room_co2_ppm: float = OUTDOOR_PPM
) -> Exchange:
    """What the surface must carry off if the room holds no less than this: unread, no less than outdoor air does.

    A room that holds more leaves it less to work with, so that its kLa is higher: up to what is believable at all. The
    range of tanks of this trade where the water holds as little as that air, or nothing is added.
    """
    if drip_l_d <= 0 or added_mol_kg.value <= 0:
        return UNKNOWN_EXCHANGE
    found = _balances(tank, ph, added_mol_kg, drip_l_d, room_co2_ppm)
    least, most = BELIEVABLE
    if not np.isfinite(found[1, 1]):
        return UNKNOWN_EXCHANGE
    low = float(np.nanmin(found)) / LEFT_OUT
    return Exchange(low, most, "at_least") if least < low < most else UNKNOWN_EXCHANGE


def _balances(tank: Tank, ph: Number, added_mol_kg: Number, drip_l_d: float, room_co2_ppm: float) -> Values:
    """kLa at the ends and in the middle of what pH (rows) and gas (columns) may be."""
    spread = Z * np.array([-1.0, 0.0, 1.0])
    return kla_from_balance_per_hour(
        tank=replace(tank, ph_nbs=(ph.value + spread * max(ph.sd, TANK_PH_SD))[:, None]),
        added_co2_mol_kg=np.maximum(added_mol_kg.value + spread * added_mol_kg.sd, 0.0),
        drip_l_d=drip_l_d,
        room_co2_ppm=room_co2_ppm,
    )


def exchange_by_relaxation(*, tank: Tank, early_ph: float, late_ph: float, hours: float) -> Exchange | None:
    """kLa from how pH came back after a disturbance, between what two readings of one probe may be off.

    None where pH did not come back towards the tank's own, or came back so far that the rest tells nothing.
    """
    off = Z * ONE_PROBE_SD * np.array([-1.0, 0.0, 1.0])
    found = kla_from_relaxation_per_hour(
        tank=tank, early_ph_nbs=early_ph + off[:, None], late_ph_nbs=late_ph + off, hours=hours
    )
    return Exchange(float(found.min()), float(found.max()), "relaxation") if np.isfinite(found).all() else None
