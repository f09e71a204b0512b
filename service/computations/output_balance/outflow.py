"""What runs into a chamber and out of it, as it was last read, and many chambers' readings in columns."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.computations.output_balance.many import column
from service.computations.output_balance.numbers import Number
from service.computations.output_balance.situation import Chamber, Fed
from service.science import Numbers, Values
from service.science.chamber_model import Running
from service.science.chamber_uncertainty import TANK_PH_SD
from service.science.seawater import density

NOMINAL_TANK_PH = 8.1
"""Stands in for an unread tank pH where only the effluent's own saturation is asked, which does not depend on it."""


@dataclass(frozen=True)
class Inflow:
    """The water that runs into the chamber: the systems' by their shares."""

    alkalinity: Number
    ph: Number | None
    temperature_c: float
    salinity: float
    boron_factor: float


@dataclass(frozen=True)
class Outflow:
    """A chamber whose effluent was tested for alkalinity and pH, with the water it draws; the drip may be unknown."""

    inflow: Inflow
    alkalinity: Number
    ph: Number
    celsius: float
    flow: Number | None

    @property
    def drips(self) -> Number | None:
        """The drip, L/d, where water runs."""
        return None if self.flow is None or self.flow.value <= 0 else self.flow

    @property
    def tank_ph(self) -> Number:
        """Of the inflow, or what stands in for it."""
        return self.inflow.ph or Number(NOMINAL_TANK_PH, TANK_PH_SD)


def inflow_of(fed: Sequence[Fed]) -> Inflow | None:
    """The mixture that the reactor draws, by the shares it gives back; None where an alkalinity is not known."""
    known = [(each.share, each.alkalinity) for each in fed]
    if not fed or any(alkalinity is None for _, alkalinity in known):
        return None
    whole = sum(share for share, _ in known)
    weights = [share / whole for share, _ in known]

    def mean(values: Sequence[float]) -> float:
        return float(np.dot(weights, values))

    phs = [each.ph for each in fed]
    mixed_ph = None
    if all(ph is not None for ph in phs):
        mixed_ph = Number(mean([ph.value for ph in phs if ph]), max(ph.sd for ph in phs if ph))
    parts = [alkalinity.times(weight) for weight, (_, alkalinity) in zip(weights, known, strict=True) if alkalinity]
    return Inflow(
        alkalinity=sum(parts[1:], parts[0]),
        ph=mixed_ph,
        temperature_c=mean([each.temperature_c for each in fed]),
        salinity=mean([each.salinity for each in fed]),
        boron_factor=mean([each.boron_factor for each in fed]),
    )


def outflow_of(chamber: Chamber, inflow: Inflow | None) -> Outflow | None:
    """The chamber as it was last read; None without the effluent's alkalinity and pH, or the water it draws."""
    if inflow is None or chamber.alkalinity is None or chamber.ph is None:
        return None
    celsius = inflow.temperature_c if chamber.temperature_c is None else chamber.temperature_c
    return Outflow(inflow, chamber.alkalinity, chamber.ph, celsius, chamber.flow)


def runnings(outflows: Sequence[Outflow]) -> Running:
    """The chambers as they were read, in columns (chambers); an unknown drip is NaN."""
    salinity = column(each.inflow.salinity for each in outflows)
    inflow_c = column(each.inflow.temperature_c for each in outflows)
    celsius = column(each.celsius for each in outflows)
    return Running(
        drip_l_d=column(math.nan if each.flow is None else each.flow.value for each in outflows),
        inflow_alkalinity_mol_kg=mol_kg(column(each.inflow.alkalinity.value for each in outflows), salinity, inflow_c),
        inflow_ph_nbs=column(each.tank_ph.value for each in outflows),
        effluent_alkalinity_mol_kg=mol_kg(column(each.alkalinity.value for each in outflows), salinity, celsius),
        effluent_ph_nbs=column(each.ph.value for each in outflows),
        salinity=salinity,
        inflow_temperature_c=inflow_c,
        effluent_temperature_c=celsius,
        boron_factor=column(each.inflow.boron_factor for each in outflows),
    )


def mol_kg(meq_l: Numbers, salinity: Numbers, celsius: Numbers) -> Values:
    """Alkalinity per kilogram from that per litre."""
    return np.asarray(meq_l / density(salinity=salinity, temperature_c=celsius))


def relative_sd(number: Number) -> float:
    """The standard deviation over the value."""
    return number.sd / number.value
