"""The chambers' chemistry with its errors: Omega and ceiling of the effluent, CO2 added, used and carried over.

All chambers are asked at once: what was read of them stands in columns, and science is called once for all of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from service.computations.output_balance.many import column, of_known, rows
from service.computations.output_balance.numbers import Number, Z, interval
from service.computations.output_balance.outflow import Inflow, Outflow, mol_kg, outflow_of, relative_sd, runnings
from service.computations.output_balance.situation import Chamber, Fed
from service.science import Values
from service.science.carbonate import carbonate_system, ph_total_from_nbs
from service.science.chamber import ceiling_by_ph, effluent_ph_for_added_co2
from service.science.chamber_model import Running, least_added_co2
from service.science.chamber_uncertainty import ChamberUncertainty, Interval, chamber_balance_with_errors
from service.science.reactor_output import gas_use_g_d
from service.science.seawater import density

CEILING_SD = 0.05
AgainstCeiling = Literal["below", "perhaps_above", "above"]


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


def chemistry(chamber: Chamber, inflow: Inflow) -> Chemistry | None:
    """The chemistry of one chamber; None without the effluent's alkalinity and pH."""
    return chemistries([outflow_of(chamber, inflow)])[0]


def chemistries(outflows: Iterable[Outflow | None]) -> list[Chemistry | None]:
    """The chemistry of each chamber; None where it was not read, or an alkalinity is not above zero."""
    return of_known((each if each is not None and _is_water(each) else None for each in outflows), _chemistries)


def omegas_per_meq_l(fed: Iterable[Fed]) -> list[float | None]:
    """How each system's aragonite saturation rises with its alkalinity at its pH: a straight line, so two points tell.

    None where its pH is not known.
    """
    return of_known(((each, each.ph) if each.ph is not None else None for each in fed), _omegas_per_meq_l)


def _omegas_per_meq_l(known: Sequence[tuple[Fed, Number]]) -> list[float]:
    water = {
        "salinity": column(fed.salinity for fed, _ in known),
        "temperature_c": column(fed.temperature_c for fed, _ in known),
    }
    total = ph_total_from_nbs(ph_nbs=column(ph.value for _, ph in known), **water)
    two = mol_kg(np.array([[3.0], [4.0]]), water["salinity"], water["temperature_c"])
    boron = column(fed.boron_factor for fed, _ in known)
    low, high = carbonate_system(alkalinity_mol_kg=two, ph_total=total, boron_factor=boron, **water).omega_aragonite
    return [float(each) for each in high - low]


def phs_as_weighed(weighed: Sequence[tuple[Outflow, float]]) -> list[float | None]:
    """The chamber pH at which the chemistry would show the gas that was weighed out of each, g/d; None where none does.

    Of chambers that drip, and draw water of a known pH.
    """
    outflows, g_d = [each for each, _ in weighed], column(each for _, each in weighed)
    running = runnings(outflows)
    found = effluent_ph_for_added_co2(
        added_co2_mol_kg=g_d / (running.drip_l_d * _grams_of(running)),
        inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
        inflow_ph_nbs=running.inflow_ph_nbs,
        effluent_alkalinity_mol_kg=running.effluent_alkalinity_mol_kg,
        salinity=running.salinity,
        inflow_temperature_c=running.inflow_temperature_c,
        effluent_temperature_c=running.effluent_temperature_c,
        boron_factor=running.boron_factor,
    )
    return [float(each) if math.isfinite(each) else None for each in found]


def _is_water(outflow: Outflow) -> bool:
    return outflow.alkalinity.value > 0 and outflow.inflow.alkalinity.value > 0


def _chemistries(outflows: Sequence[Outflow]) -> list[Chemistry]:
    running = runnings(outflows)
    balances = chamber_balance_with_errors(
        inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
        inflow_ph_nbs=running.inflow_ph_nbs,
        effluent_alkalinity_mol_kg=running.effluent_alkalinity_mol_kg,
        effluent_ph_nbs=running.effluent_ph_nbs,
        salinity=running.salinity,
        inflow_temperature_c=running.inflow_temperature_c,
        effluent_temperature_c=running.effluent_temperature_c,
        boron_factor=running.boron_factor,
        inflow_alkalinity_relative_sd=column(relative_sd(each.inflow.alkalinity) for each in outflows),
        inflow_ph_sd=column(each.tank_ph.sd for each in outflows),
        effluent_alkalinity_relative_sd=column(relative_sd(each.alkalinity) for each in outflows),
        effluent_ph_sd=column(each.ph.sd for each in outflows),
    )
    grams = _grams_of(running).tolist()
    least = _least(outflows, running, grams)
    told = []
    for outflow, found, ceiling, gram, needed in zip(
        outflows, rows(balances), _ceilings(outflows, running), grams, least, strict=True
    ):
        added, gas = _gas(outflow, found, gram)
        told.append(Chemistry(outflow.inflow, found, ceiling, added, gas, needed))
    return told


def _grams_of(running: Running) -> Values:
    """What a drip of 1 L/d carries of CO2 in g/d at 1 mol/kg, (chambers)."""
    return gas_use_g_d(
        drip_l_d=1.0,
        added_co2_mol_kg=1.0,
        salinity=running.salinity,
        temperature_c=running.effluent_temperature_c,
    )


def _gas(outflow: Outflow, found: ChamberUncertainty, grams: float) -> tuple[Number | None, dict[str, Any]]:
    """CO2 added and carried over, g/d, and the part of it that dissolved media."""
    if outflow.inflow.ph is None:
        return None, NO_GAS
    fraction, flow = found.used_fraction, outflow.drips
    seen = math.isfinite(float(fraction.value)) and float(found.dissolved_mol_kg.value) > 0
    gas = {**NO_GAS, "use_fraction": _shown(fraction, "1") if seen else None}
    if flow is None:
        return None, gas
    added = found.added_co2_mol_kg
    gas["added"] = _daily(added, flow, grams)
    gas["carry_over"] = _daily(found.excess_co2_mol_kg, flow, grams)
    return (Number(float(added.value), float(added.sd)) * flow).times(grams), gas


def _least(outflows: Sequence[Outflow], running: Running, grams: Sequence[float]) -> list[Number | None]:
    """The least CO2 that each supply needs, g/d: effluent at its ceiling, the errors of each reading in quadrature.

    The ceiling itself is taken to 5 %, one sd: media differ in what they dissolve to (a judgement).
    """
    if all(each.inflow.ph is None or each.drips is None for each in outflows):
        return [None] * len(outflows)
    moved = np.vstack([np.zeros(4), np.eye(4)])[:, :, None]  # as read, then each by one sd
    into, out = (
        1.0 + moved[:, place] * column(relative_sd(each) for each in read)
        for place, read in (
            (0, [each.inflow.alkalinity for each in outflows]),
            (2, [each.alkalinity for each in outflows]),
        )
    )
    needed = least_added_co2(
        running=replace(
            running,
            inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg * into,
            inflow_ph_nbs=running.inflow_ph_nbs + moved[:, 1] * column(each.tank_ph.sd for each in outflows),
            effluent_alkalinity_mol_kg=running.effluent_alkalinity_mol_kg * out,
            effluent_ph_nbs=np.nan,
        ),
        solubility=1.0 + moved[:, 3] * CEILING_SD,
    )
    return [_needed(*each) for each in zip(outflows, needed.T, grams, strict=True)]


def _needed(outflow: Outflow, needed: Values, grams: float) -> Number | None:
    """From the least CO2 as read and with each reading moved, mol/kg."""
    if outflow.inflow.ph is None or outflow.drips is None or not np.all(np.isfinite(needed)) or needed[0] <= 0:
        return None
    return (Number(float(needed[0]), float(np.linalg.norm(needed[1:] - needed[0]))) * outflow.drips).times(grams)


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


def _ceilings(outflows: Sequence[Outflow], running: Running) -> list[dict[str, Any] | None]:
    """The alkalinity at saturation 1 and each pH, meq/L: between what the error of the pH makes of it."""
    step = Z * column(each.ph.sd for each in outflows)
    found = ceiling_by_ph(
        chamber_ph_nbs=running.effluent_ph_nbs + np.array([[0.0], [1.0], [-1.0]]) * step,
        inflow_alkalinity_mol_kg=running.inflow_alkalinity_mol_kg,
        salinity=running.salinity,
        temperature_c=running.effluent_temperature_c,
        boron_factor=running.boron_factor,
    )
    litre = density(salinity=running.salinity, temperature_c=running.effluent_temperature_c)
    ends = (found.alkalinity_mol_kg * litre).tolist()
    return [_ceiling(*each) for each in zip(*ends, found.relative_error[0].tolist(), strict=True)]


def _ceiling(value: float, low: float, high: float, relative_error: float) -> dict[str, Any] | None:
    if not math.isfinite(value):
        return None
    stretched = value * relative_error
    return interval(
        value, value - math.hypot(value - low, stretched), value + math.hypot(high - value, stretched), "meq/L"
    )
