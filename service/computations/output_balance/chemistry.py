"""The chamber's chemistry with its errors: Omega and ceiling of the effluent, CO2 added, used and carried over."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from service.computations.output_balance.numbers import Number, Z, interval
from service.computations.output_balance.situation import Chamber, Fed
from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.chamber import ceiling_by_ph, effluent_ph_for_added_co2
from service.science.chamber_model import Running, least_added_co2
from service.science.chamber_uncertainty import (
    TANK_PH_SD,
    ChamberUncertainty,
    Interval,
    chamber_balance_with_errors,
)
from service.science.reactor_output import gas_use_g_d
from service.science.seawater import density

CEILING_SD = 0.05
AgainstCeiling = Literal["below", "perhaps_above", "above"]
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
class Chemistry:
    """What the chamber did. `added_g_d` is None without a tank pH, a drip, or gas to be seen."""

    inflow: Inflow
    found: ChamberUncertainty
    ceiling_meq_l: dict[str, Any] | None
    added_g_d: Number | None
    gas: dict[str, Any]
    least_g_d: Number | None = None
    """The least CO2 with which water of this alkalinity can be had, whatever its pH."""

    @property
    def omega(self) -> Interval:
        """Of aragonite, in the effluent."""
        return self.found.omega_aragonite


NO_GAS: dict[str, Any] = {"added": None, "use_fraction": None, "carry_over": None}


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


def chemistry(chamber: Chamber, inflow: Inflow) -> Chemistry | None:
    """The chemistry of one chamber; None without the effluent's alkalinity and pH."""
    if (
        chamber.alkalinity is None
        or chamber.ph is None
        or chamber.alkalinity.value <= 0
        or inflow.alkalinity.value <= 0
    ):
        return None
    celsius = inflow.temperature_c if chamber.temperature_c is None else chamber.temperature_c
    tank_ph = inflow.ph or Number(NOMINAL_TANK_PH, TANK_PH_SD)
    found = chamber_balance_with_errors(
        inflow_alkalinity_mol_kg=mol_kg(inflow.alkalinity.value, inflow.salinity, inflow.temperature_c),
        inflow_ph_nbs=tank_ph.value,
        effluent_alkalinity_mol_kg=mol_kg(chamber.alkalinity.value, inflow.salinity, celsius),
        effluent_ph_nbs=chamber.ph.value,
        salinity=inflow.salinity,
        inflow_temperature_c=inflow.temperature_c,
        effluent_temperature_c=celsius,
        boron_factor=inflow.boron_factor,
        inflow_alkalinity_relative_sd=inflow.alkalinity.sd / inflow.alkalinity.value,
        inflow_ph_sd=tank_ph.sd,
        effluent_alkalinity_relative_sd=chamber.alkalinity.sd / chamber.alkalinity.value,
        effluent_ph_sd=chamber.ph.sd,
    )
    added, gas = _gas(chamber, inflow, found, celsius)
    return Chemistry(inflow, found, _ceiling(chamber.ph, inflow, celsius), added, gas, _least(chamber, inflow, celsius))


def mol_kg(meq_l: float, salinity: float, celsius: float) -> float:
    """Alkalinity per kilogram from that per litre."""
    return meq_l / float(density(salinity=salinity, temperature_c=celsius))


def omega_per_meq_l(fed: Fed) -> float | None:
    """How a system's aragonite saturation rises with its alkalinity at its pH: a straight line, so two points tell."""
    if fed.ph is None:
        return None
    water = {"salinity": fed.salinity, "temperature_c": fed.temperature_c, "boron_factor": fed.boron_factor}
    total = ph_total_from_nbs(ph_nbs=fed.ph.value, salinity=fed.salinity, temperature_c=fed.temperature_c)
    two = np.array([mol_kg(meq_l, fed.salinity, fed.temperature_c) for meq_l in (3.0, 4.0)])
    low, high = carbonate_system(alkalinity_mol_kg=two, ph_total=total, **water).omega_aragonite
    return float(high - low)


def ph_as_weighed(chamber: Chamber, inflow: Inflow, weighed_g_d: float) -> float | None:
    """The chamber pH at which the chemistry would show the gas that was weighed out."""
    if inflow.ph is None or chamber.alkalinity is None or chamber.flow is None or chamber.flow.value <= 0:
        return None
    celsius = inflow.temperature_c if chamber.temperature_c is None else chamber.temperature_c
    one = gas_use_g_d(
        drip_l_d=chamber.flow.value, added_co2_mol_kg=1.0, salinity=inflow.salinity, temperature_c=celsius
    )
    found = effluent_ph_for_added_co2(
        added_co2_mol_kg=weighed_g_d / float(one),
        inflow_alkalinity_mol_kg=mol_kg(inflow.alkalinity.value, inflow.salinity, inflow.temperature_c),
        inflow_ph_nbs=inflow.ph.value,
        effluent_alkalinity_mol_kg=mol_kg(chamber.alkalinity.value, inflow.salinity, celsius),
        salinity=inflow.salinity,
        inflow_temperature_c=inflow.temperature_c,
        effluent_temperature_c=celsius,
        boron_factor=inflow.boron_factor,
    )
    return float(found) if math.isfinite(float(found)) else None


def _gas(
    chamber: Chamber, inflow: Inflow, found: ChamberUncertainty, celsius: float
) -> tuple[Number | None, dict[str, Any]]:
    """CO2 added and carried over, g/d, and the part of it that dissolved media."""
    if inflow.ph is None:
        return None, NO_GAS
    fraction = found.used_fraction
    seen = math.isfinite(float(fraction.value)) and float(found.dissolved_mol_kg.value) > 0
    gas = {**NO_GAS, "use_fraction": _shown(fraction, "1") if seen else None}
    if chamber.flow is None or chamber.flow.value <= 0:
        return None, gas
    one = gas_use_g_d(drip_l_d=1.0, added_co2_mol_kg=1.0, salinity=inflow.salinity, temperature_c=celsius)
    added = found.added_co2_mol_kg
    gas["added"] = _daily(added, chamber.flow, float(one))
    gas["carry_over"] = _daily(found.excess_co2_mol_kg, chamber.flow, float(one))
    number = Number(float(added.value), float(added.sd)) * chamber.flow
    return number.times(float(one)), gas


def _least(chamber: Chamber, inflow: Inflow, celsius: float) -> Number | None:
    """The least CO2 that the supply needs, g/d: effluent at its ceiling, the errors of each reading in quadrature.

    The ceiling itself is taken to 5 %, one sd: media differ in what they dissolve to (a judgement).
    """
    flow, alkalinity = chamber.flow, chamber.alkalinity
    if inflow.ph is None or flow is None or flow.value <= 0 or alkalinity is None:
        return None
    into, out = inflow.alkalinity, alkalinity
    moved = np.vstack([np.zeros(4), np.eye(4)]).T  # as read, then each by one sd
    needed = least_added_co2(
        running=Running(
            drip_l_d=flow.value,
            inflow_alkalinity_mol_kg=mol_kg(1.0, inflow.salinity, inflow.temperature_c)
            * (into.value + moved[0] * into.sd),
            inflow_ph_nbs=inflow.ph.value + moved[1] * inflow.ph.sd,
            effluent_alkalinity_mol_kg=mol_kg(1.0, inflow.salinity, celsius) * (out.value + moved[2] * out.sd),
            effluent_ph_nbs=np.nan,
            salinity=inflow.salinity,
            inflow_temperature_c=inflow.temperature_c,
            effluent_temperature_c=celsius,
            boron_factor=inflow.boron_factor,
        ),
        solubility=1.0 + moved[3] * CEILING_SD,
    )
    if not np.all(np.isfinite(needed)) or needed[0] <= 0:
        return None
    one = gas_use_g_d(drip_l_d=1.0, added_co2_mol_kg=1.0, salinity=inflow.salinity, temperature_c=celsius)
    return (Number(float(needed[0]), float(np.linalg.norm(needed[1:] - needed[0]))) * flow).times(float(one))


def _daily(per_kg: Interval, flow: Number, g_l: float) -> dict[str, Any]:
    """An amount a kilogram times the drip, g/d, its two sides apart."""
    value = float(per_kg.value)
    of_flow = Z * flow.sd * value
    below = math.hypot((value - float(per_kg.low)) * flow.value, of_flow)
    above = math.hypot((float(per_kg.high) - value) * flow.value, of_flow)
    middle = value * flow.value
    return interval(middle * g_l, (middle - below) * g_l, (middle + above) * g_l, "g/d")


def _shown(found: Interval, unit: str) -> dict[str, Any]:
    return interval(float(found.value), float(found.low), float(found.high), unit)


def omega_shown(found: Interval) -> dict[str, Any] | None:
    """Omega as it leaves."""
    return _shown(found, "1") if math.isfinite(float(found.value)) else None


def against_ceiling(omega: Interval) -> AgainstCeiling | None:
    """Where the effluent stands against its ceiling: an interval that holds 1 cannot tell, and is no finding."""
    if not math.isfinite(float(omega.value)):
        return None
    if float(omega.value) <= 1.0:
        return "below"
    return "above" if float(omega.low) > 1.0 else "perhaps_above"


def _ceiling(ph: Number, inflow: Inflow, celsius: float) -> dict[str, Any] | None:
    """The alkalinity at saturation 1 and this pH, meq/L: between what the error of the pH makes of it."""
    found = ceiling_by_ph(
        chamber_ph_nbs=np.array([ph.value, ph.value + Z * ph.sd, ph.value - Z * ph.sd]),
        inflow_alkalinity_mol_kg=mol_kg(inflow.alkalinity.value, inflow.salinity, inflow.temperature_c),
        salinity=inflow.salinity,
        temperature_c=celsius,
        boron_factor=inflow.boron_factor,
    )
    value, low, high = found.alkalinity_mol_kg * float(density(salinity=inflow.salinity, temperature_c=celsius))
    if not math.isfinite(value):
        return None
    stretched = value * float(found.relative_error[0])
    return interval(
        value, value - math.hypot(value - low, stretched), value + math.hypot(high - value, stretched), "meq/L"
    )
