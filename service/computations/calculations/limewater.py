"""POST /v1/calculations/limewater: how limewater and a reactor share one demand, and what one dose does to a tank."""

from __future__ import annotations

import math
from typing import Annotated, Any

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import Answer, remark, sources_of, without_records
from service.computations.calculations.tank_water import (
    EFFLUENT_BELOW_TANK,
    MOST_LITRES,
    BoronFactor,
    Celsius,
    ElectrodePh,
    RelativeSd,
    Salinity,
    amount_within,
    mol_kg_of,
    refuse_impossible,
)
from service.computations.output_balance.numbers import Z, interval
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Bounds, Flag, Number, Shape
from service.resources.keeping.amounts import amount_in, refused
from service.science import Values
from service.science.chamber import chamber_balance
from service.science.chamber_uncertainty import CHAMBER_PH_SD, TANK_PH_SD, TITRATION_RELATIVE_SD
from service.science.limewater import (
    SATURATED_RELATIVE_SD,
    Split,
    limewater_supply,
    ph_nbs_after_dose,
    saturated_mol_l,
    split_binding_all_gas,
    split_for_constant_ph,
)
from service.science.units import convert

router = APIRouter()
DEMAND_RELATIVE_SD = 0.10  # of a demand that was sent bare (common practice)
ALLOWED_MEQ_L_D = float(convert(1.0, unit="dKH", to="meq/L"))  # a day's change of alkalinity (common practice)
LARGE_PH_STEP = 0.2  # of one dose (common practice)
SATURATED_SLACK = 1.10
WEAKEST_MEQ_L = 0.1  # as good as water
CAUTIONS = [
    "Limewater is caustic (pH 12.4): gloves and goggles, and keep the powder's dust out of eyes and lungs.",
    "Never added on top of a reactor that meets the whole demand: the drip comes down with it, as told here.",
    "Dose it slowly, at night, where water moves, and cap it by the day: a failed sensor doses without end.",
    "Mains near salt water: residual-current device and drip loops, by licensed trades; follow local codes.",
]


class LimedTank(Shape):
    """The tank that limewater runs into."""

    alkalinity: Amount
    ph: ElectrodePh
    salinity: Salinity = 35.0
    temperature: Celsius = 25.0
    boron_factor: BoronFactor = 1.0
    water_volume: Amount | None = None


class LimedEffluent(Shape):
    """What the reactor's last chamber gives on an ordinary day."""

    alkalinity: Amount
    ph: ElectrodePh
    temperature: Celsius | None = Field(default=None, description="At which its pH was read; else the tank's.")


class LimewaterSent(Shape):
    """A tank, and a demand that reactor and limewater are to share. Without an effluent, what limewater alone does."""

    tank: LimedTank
    demand: Amount | None = Field(default=None, description="In meq/d, or by volume (meq/L/d, dKH/d).")
    demand_relative_sd: RelativeSd = DEMAND_RELATIVE_SD
    effluent: LimedEffluent | None = None
    strength: Amount | None = Field(
        default=None, description="As titrated: meq/L or mol/L Ca(OH)2. Left out, saturated at its own temperature."
    )
    strength_relative_sd: RelativeSd = SATURATED_RELATIVE_SD
    limewater_temperature: Annotated[Number, Field(ge=0, le=50)] = 25.0
    evaporation: Amount | None = Field(default=None, description="The most that can be dosed, such as 8 L/d.")
    dose: Amount | None = Field(default=None, description="One dose poured in at once, such as 5 L.")


class SplitRead(Shape):
    """Limewater and reactor meeting the demand together."""

    limewater: Bounds
    limewater_volume: Bounds
    reactor: Bounds
    drip: Bounds
    is_limited: Flag = Field(description="No more water evaporates: less than would balance.")


class DoseRead(Shape):
    """The tank after one dose at once, before any gas is exchanged."""

    volume: Amount
    ph_before: float
    ph_after: float | None = Field(description="Null above 12.")
    alkalinity_rise: Amount


class LimewaterRead(Answer):
    """What limewater does. Parts that need what was not sent are null."""

    strength: Amount = Field(description="As alkalinity: 2 meq a mmol Ca(OH)2.")
    carry_over_only: SplitRead | None = Field(
        description="Effluent and limewater together leave the tank's pH where it is, calcification apart."
    )
    all_gas: SplitRead | None = Field(description="Limewater binds all the CO2 that the reactor adds.")
    one_litre: Amount = Field(description="Alkalinity in a litre, meq.")
    binds: Amount = Field(description="CO2 that a litre binds at constant pH of the tank, g.")
    most_a_day: Amount | None = Field(description="A cap: what would raise an idle tank by 1 dKH a day.")
    dose: DoseRead | None


@router.post("/limewater", response_model=LimewaterRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_limewater(sent: LimewaterSent, door: DoorOf) -> Any:
    """How limewater and a reactor share a demand, and what one dose does."""
    door.require()
    tank = sent.tank
    alkalinity = mol_kg_of(tank.alkalinity, "/tank/alkalinity", salinity=tank.salinity, temperature_c=tank.temperature)
    volume = None if tank.water_volume is None else amount_within(
        tank.water_volume, "L", pointer="/tank/water_volume", above=0, most=MOST_LITRES
    )  # fmt: skip
    refuse_impossible(
        "/tank/ph",
        alkalinity_mol_kg=alkalinity,
        ph_nbs=tank.ph,
        salinity=tank.salinity,
        temperature_c=tank.temperature,
        boron_factor=tank.boron_factor,
    )
    strength = _strength(sent)
    shared = _shared(sent, alkalinity, strength, volume)
    dose = _dose(sent, alkalinity, strength, volume)
    supply = limewater_supply(
        volume_l_d=1.0, strength_mol_l=strength, carbon_per_alkalinity_fraction=_carbon(sent, alkalinity)
    )
    return {
        **without_records(
            sources=sources_of(
                saturated_mol_l, split_for_constant_ph, split_binding_all_gas, ph_nbs_after_dose, chamber_balance
            ),
            assumptions=_assumptions(sent),
            findings=[*_of_strength(sent, strength), *_of_split(shared), *_of_dose(dose)],
            cautions=CAUTIONS,
        ),
        "missing": _missing(sent, volume),
        "strength": {"value": 2000 * strength, "unit": "meq/L"},
        "one_litre": {"value": float(supply.alkalinity_meq_d), "unit": "meq"},
        "binds": {"value": float(supply.co2_bound_g_d), "unit": "g"},
        "most_a_day": None
        if volume is None
        else {"value": ALLOWED_MEQ_L_D * volume / (2000 * strength), "unit": "L/d"},
        "carry_over_only": shared.get("carry_over_only"),
        "all_gas": shared.get("all_gas"),
        "dose": dose,
    }


def _strength(sent: LimewaterSent) -> float:
    """Calcium hydroxide, mol/L. Raises Unacceptable for more than a saturated solution can hold."""
    saturated = float(saturated_mol_l(temperature_c=sent.limewater_temperature))
    if sent.strength is None:
        return saturated
    meq_l = amount_in(sent.strength, "meq/L", pointer="/strength", least=WEAKEST_MEQ_L)
    if meq_l > 2000 * saturated * (SATURATED_SLACK + Z * SATURATED_RELATIVE_SD):
        detail = (
            f"Saturated limewater at {sent.limewater_temperature:g} C holds {2000 * saturated:.1f} meq/L: milk of "
            "lime, or another unit? Let it settle and titrate the clear part."
        )
        raise refused("/strength/value", detail, sent.strength.value)
    return meq_l / 2000


def _carbon(sent: LimewaterSent, alkalinity: float) -> float:
    """r = dDIC/dTA at the tank's pH."""
    tank = sent.tank
    same = chamber_balance(
        inflow_alkalinity_mol_kg=alkalinity, inflow_ph_nbs=tank.ph, effluent_alkalinity_mol_kg=alkalinity,
        effluent_ph_nbs=tank.ph, salinity=tank.salinity, inflow_temperature_c=tank.temperature,
        effluent_temperature_c=tank.temperature, boron_factor=tank.boron_factor,
    )  # fmt: skip
    return float(same.carbon_per_alkalinity)


def _shared(
    sent: LimewaterSent, alkalinity: float, strength: float, volume: float | None
) -> dict[str, dict[str, Any] | None]:
    """Both ways of sharing the demand, with what the errors of everything sent make of them."""
    if sent.effluent is None or sent.demand is None:
        return {}
    tank, outlet = sent.tank, sent.effluent
    celsius = tank.temperature if outlet.temperature is None else outlet.temperature
    effluent = mol_kg_of(outlet.alkalinity, "/effluent/alkalinity", salinity=tank.salinity, temperature_c=celsius)
    if effluent <= alkalinity:
        raise refused("/effluent/alkalinity", EFFLUENT_BELOW_TANK, outlet.alkalinity.value)
    evaporation = np.inf
    if sent.evaporation is not None:
        evaporation = amount_in(sent.evaporation, "L/d", pointer="/evaporation", least=0)
    value = np.array([alkalinity, tank.ph, effluent, outlet.ph, _demand(sent, volume), strength])
    sd = np.array(
        [
            TITRATION_RELATIVE_SD * alkalinity,
            TANK_PH_SD,
            TITRATION_RELATIVE_SD * effluent,
            CHAMBER_PH_SD,
            sent.demand_relative_sd * value[4],
            sent.strength_relative_sd * strength,
        ]
    )
    each = np.concatenate([value[None], value + np.diag(sd), value - np.diag(sd)])  # (1 + 2 n, n): as sent, then moved
    inflow, tank_ph, outflow, chamber_ph, demand, lime = each.T
    chamber = chamber_balance(
        inflow_alkalinity_mol_kg=inflow,
        inflow_ph_nbs=tank_ph,
        effluent_alkalinity_mol_kg=outflow,
        effluent_ph_nbs=chamber_ph,
        salinity=tank.salinity,
        inflow_temperature_c=tank.temperature,
        effluent_temperature_c=celsius,
        boron_factor=tank.boron_factor,
    )
    asked = {
        "demand_meq_d": demand,
        "dissolved_mol_kg": chamber.dissolved_mol_kg,
        "strength_mol_l": lime,
        "salinity": tank.salinity,
        "temperature_c": tank.temperature,
        "evaporation_l_d": evaporation,
    }
    carry = split_for_constant_ph(
        excess_co2_mol_kg=chamber.excess_co2_mol_kg,
        carbon_per_alkalinity_fraction=chamber.carbon_per_alkalinity,
        **asked,
    )
    everything = split_binding_all_gas(added_co2_mol_kg=chamber.added_co2_mol_kg, **asked)
    return {
        "carry_over_only": _split(carry) if chamber.excess_co2_mol_kg[0] > 0 else None,
        "all_gas": _split(everything) if chamber.added_co2_mol_kg[0] > 0 else None,
    }


def _demand(sent: LimewaterSent, volume: float | None) -> float:
    """All that the tank takes, meq/d."""
    assert sent.demand is not None
    if sent.demand.unit == "meq/d":
        if sent.demand.value <= 0:
            raise refused("/demand/value", "A demand above 0 is expected.", sent.demand.value)
        return sent.demand.value
    per_litre = amount_in(sent.demand, "meq/L/d", pointer="/demand", above=0)
    if volume is None:
        raise refused("/tank/water_volume", "A demand by volume needs the water volume; or send it in meq/d.")
    return per_litre * volume


def _split(split: Split) -> dict[str, Any]:
    """One way of sharing as it leaves; first order: half the way from minus to plus one sd of each input (JCGM 100)."""
    return {
        "limewater": _bounds(split.limewater_meq_d, "meq/d"),
        "limewater_volume": _bounds(split.limewater_l_d, "L/d"),
        "reactor": _bounds(split.reactor_meq_d, "meq/d"),
        "drip": _bounds(split.drip_l_d, "L/d"),
        "is_limited": bool(split.is_limited[0]),
    }


def _bounds(values: Values, unit: str) -> dict[str, Any]:
    inputs = (len(values) - 1) // 2
    half = Z * math.sqrt(float((((values[1 : 1 + inputs] - values[1 + inputs :]) / 2) ** 2).sum()))
    return interval(float(values[0]), float(values[0]) - half, float(values[0]) + half, unit)


def _dose(sent: LimewaterSent, alkalinity: float, strength: float, volume: float | None) -> dict[str, Any] | None:
    if sent.dose is None:
        return None
    litres = amount_in(sent.dose, "L", pointer="/dose", above=0)
    if volume is None:
        raise refused("/tank/water_volume", "What a dose does depends on the water volume: send it.")
    if litres > volume / 2:
        raise refused("/dose/value", "A dose of less than half the water is expected.", sent.dose.value)
    tank = sent.tank
    after = ph_nbs_after_dose(
        dose_l=litres,
        strength_mol_l=strength,
        tank_volume_l=volume,
        alkalinity_mol_kg=alkalinity,
        ph_nbs=tank.ph,
        salinity=tank.salinity,
        temperature_c=tank.temperature,
        boron_factor=tank.boron_factor,
    )
    return {
        "volume": {"value": litres, "unit": "L"},
        "ph_before": tank.ph,
        "ph_after": float(after) if math.isfinite(float(after)) else None,
        "alkalinity_rise": {"value": 2000 * strength * litres / volume, "unit": "meq/L"},
    }


def _of_strength(sent: LimewaterSent, strength: float) -> list[dict[str, Any]]:
    saturated = float(saturated_mol_l(temperature_c=sent.limewater_temperature))
    if sent.strength is None or strength <= saturated * SATURATED_SLACK:
        return []
    detail = (
        f"{2000 * strength:.1f} meq/L are more than saturated limewater holds ({2000 * saturated:.1f}): was it clear?"
    )
    return [remark("stronger_than_saturated", detail)]


def _of_split(shared: dict[str, dict[str, Any] | None]) -> list[dict[str, Any]]:
    said = []
    if any(part is None for part in shared.values()):
        detail = (
            "The effluent carries no more CO2 than the tank's own pH allows: there is nothing to bind. A sample that "
            "had lost gas reads too high a pH."
        )
        said.append(remark("nothing_to_bind", detail))
    if any(part is not None and part["is_limited"] for part in shared.values()):
        detail = "Less water evaporates than would have to be dosed: the rest of the gas has to leave by the surface."
        said.append(remark("limited_by_evaporation", detail))
    return said


def _of_dose(dose: dict[str, Any] | None) -> list[dict[str, Any]]:
    if dose is None:
        return []
    before, after = dose["ph_before"], dose["ph_after"]
    if after is not None and after - before <= LARGE_PH_STEP:
        return []
    to = "above 12" if after is None else f"to {after:.2f}"
    detail = (
        f"This dose at once lifts pH from {before:.2f} {to}: divide it, drip it in "
        "over the night (common practice: no more than 0.1 to 0.2 a dose)."
    )
    return [remark("large_ph_step", detail)]


def _missing(sent: LimewaterSent, volume: float | None) -> list[dict[str, Any]]:
    said = []
    for name, why in (
        ("effluent", "Send effluent: how reactor and limewater share the demand depends on it."),
        ("demand", "Send demand: without it no volume a day can be told."),
        ("evaporation", "Send evaporation: no more can be dosed than evaporates."),
    ):
        if getattr(sent, name) is None:
            said.append(remark(name, why))
    if volume is None:
        said.append(remark("water_volume", "Send tank.water_volume: a day's cap depends on it."))
    return said


def _assumptions(sent: LimewaterSent) -> list[str]:
    said = [
        "The demand is held; the reactor's effluent stays what it is while the drip is cut.",
        f"One sd: alkalinities {100 * TITRATION_RELATIVE_SD:.0f} %, pH {TANK_PH_SD:g} in the tank and "
        f"{CHAMBER_PH_SD:g} in the chamber, demand {100 * sent.demand_relative_sd:.0f} %, strength "
        f"{100 * sent.strength_relative_sd:.0f} %.",
        "A dose at once: no gas is exchanged, its volume neglected.",
    ]
    if sent.strength is None:
        said.append("The limewater is saturated. Real vats stand at 50 to 100 % of it: titrate; pH cannot tell.")
    return said
