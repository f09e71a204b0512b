"""POST /v1/calculations/correction: salts for a wanted change, in days that none exceeds what is allowed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import numpy as np
from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import Answer, remark, sources_of, without_records
from service.computations.calculations.tank_water import (
    BoronFactor,
    Celsius,
    ElectrodePh,
    Salinity,
    VolumeSent,
    refuse_impossible,
)
from service.computations.output_balance.numbers import Z, interval
from service.computations.timeframe import UNSTATED_VOLUME_SD
from service.errors import TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Bounds, Number, Shape
from service.resources.keeping.amounts import refused
from service.science.constants import MOLAR_MASS_G_MOL
from service.science.corrections import (
    SALTS,
    days_needed,
    dosed_at_once,
    left_behind,
    ph_nbs_at_same_gas,
    salt_g,
)
from service.science.seawater import density
from service.science.units import UnitError, convert

router = APIRouter()
SaltName = Literal["NaHCO3", "Na2CO3", "CaCl2", "CaCl2.2H2O", "CaCl2.6H2O", "MgCl2.6H2O", "MgSO4.7H2O"]
UNITS = {"alkalinity": "meq/L", "calcium": "mg/L", "magnesium": "mg/L"}
ELEMENTS = {"calcium": "Ca", "magnesium": "Mg"}
MOST_DAYS = 366
LARGE_PH_STEP = 0.2
ALLOWED = {
    "alkalinity": Amount(value=1.0, unit="dKH"),
    "calcium": Amount(value=20.0, unit="mg/L"),
    "magnesium": Amount(value=100.0, unit="mg/L"),
}
"""The change of a day (common practice, no source); say otherwise with allowed_per_day."""
CAUTIONS = [
    "Dissolve each salt by itself in fresh water and add it slowly where water moves; never pour calcium and "
    "alkalinity salts in together: they precipitate.",
    "Sodium carbonate is caustic and calcium chloride heats the water it dissolves in: gloves and goggles.",
    "Weigh a day's part, test again before the next, and stop when the test disagrees with what is told here.",
    "Use salts of a grade meant for food or analysis; follow the supplier's safety data sheet and local codes.",
]


class CorrectedWater(Shape):
    """The water that is corrected."""

    ph: ElectrodePh | None = None
    salinity: Salinity = 35.0
    temperature: Celsius = 25.0
    boron_factor: BoronFactor = 1.0


class CorrectionWanted(Shape):
    """One salt, and the level it is to bring from and to."""

    salt: SaltName
    from_: Amount = Field(alias="from")
    to: Amount
    allowed_per_day: Amount | None = None
    purity: Annotated[Number, Field(gt=0.1, le=1)] = 1.0


class CorrectionSent(Shape):
    """A net water volume and one or several corrections of it."""

    water_volume: VolumeSent
    water: CorrectedWater = CorrectedWater()
    corrections: Annotated[list[CorrectionWanted], Field(min_length=1, max_length=10)]


class StageRead(Shape):
    """One day's part. pH is told for alkalinity alone, where the water's pH was sent: other salts do not move it."""

    day: int
    mass: Amount
    level: Amount = Field(description="After it.")
    ph_before: float | None
    ph_after: float | None = Field(description="Stirred in, before any gas is exchanged.")
    omega_aragonite: float | None


class LeftRead(Shape):
    """What the salt leaves in the water beside what it is dosed for."""

    sodium: Amount
    chloride: Amount
    sulphate: Amount
    as_sodium_chloride: Amount = Field(description="Once the other ion has come with the other salt.")


class CorrectionDone(Shape):
    """One salt's part of the answer."""

    salt: str
    quantity: str
    change: Amount
    total: Bounds = Field(description="The mass to weigh; its interval is that of the volume.")
    reaches: Bounds = Field(description="The level that this mass brings, whatever the volume really is.")
    days: int
    stages: list[StageRead]
    left_behind: LeftRead


class CorrectionRead(Answer):
    """How much of each salt, in which days, what pH does, what stays behind."""

    corrections: list[CorrectionDone]


@dataclass(frozen=True)
class _Asked:
    """One correction in canonical units: meq/L, or mg/L and mmol/L."""

    salt: str
    quantity: str
    low: float
    high: float
    mmol_l: float  # of the change, alkalinity in meq/L
    days: int


@router.post("/correction", response_model=CorrectionRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_correction(sent: CorrectionSent, door: DoorOf) -> Any:
    """Salts for a wanted change of alkalinity, calcium or magnesium, staged by day."""
    door.require()
    litres = sent.water_volume.litres("/water_volume")
    asked = [_asked(sent, n) for n in range(len(sent.corrections))]
    done = [_done(sent, each, wanted, litres) for each, wanted in zip(asked, sent.corrections, strict=True)]
    needs_ph = sent.water.ph is None and any(each.quantity == "alkalinity" for each in asked)
    return {
        **without_records(
            sources=sources_of(salt_g, left_behind, days_needed, dosed_at_once, ph_nbs_at_same_gas),
            assumptions=_assumptions(sent),
            findings=[*_of_ph(done), *_of_both(asked)],
            cautions=CAUTIONS,
        ),
        "missing": [remark("ph", "Send water.ph: without it what a stage does to pH is not told.")] if needs_ph else [],
        "corrections": done,
    }


def _asked(sent: CorrectionSent, place: int) -> _Asked:
    """What is wanted, in one unit. Raises Unacceptable for a fall, or for more than a year of days."""
    wanted = sent.corrections[place]
    pointer, quantity = f"/corrections/{place}", SALTS[wanted.salt].raises
    low, high = (
        _level(sent, quantity, amount, f"{pointer}/{name}")
        for name, amount in (("from", wanted.from_), ("to", wanted.to))
    )
    if high <= low:
        detail = f"More than the present {quantity} is expected: salts only raise it, a change of water lowers it."
        raise refused(f"{pointer}/to/value", detail, wanted.to.value)
    allowed = _level(sent, quantity, wanted.allowed_per_day or ALLOWED[quantity], f"{pointer}/allowed_per_day")
    if allowed <= 0:
        raise refused(f"{pointer}/allowed_per_day/value", "More than 0 a day is expected.")
    # A volume known to be uncertain may be smaller than stated: its small end decides.
    surely = 1.0 if sent.water_volume.relative_sd is None else 1.0 / max(1.0 - Z * sent.water_volume.relative_sd, 0.1)
    if (high - low) * surely / allowed > MOST_DAYS:
        detail = f"At most {MOST_DAYS} days are told: allow more a day, or correct less."
        raise refused(f"{pointer}/to/value", detail, wanted.to.value)
    element = ELEMENTS.get(quantity)
    per_mmol = 1.0 if element is None else MOLAR_MASS_G_MOL[element]
    days = days_needed(change_mmol_l=(high - low) * surely / per_mmol, allowed_mmol_l=allowed / per_mmol)
    return _Asked(wanted.salt, quantity, low, high, (high - low) / per_mmol, int(days))


def _level(sent: CorrectionSent, quantity: str, amount: Amount, pointer: str) -> float:
    try:
        value = float(
            convert(
                amount.value,
                unit=amount.unit,
                to=UNITS[quantity],
                substance=ELEMENTS.get(quantity),
                salinity=sent.water.salinity,
                temperature_c=sent.water.temperature,
            )
        )
    except UnitError as error:
        raise refused(f"{pointer}/unit", str(error), amount.unit) from error
    if value < 0:
        raise refused(f"{pointer}/value", "At least 0 is expected.", amount.value)
    return value


def _done(sent: CorrectionSent, asked: _Asked, wanted: CorrectionWanted, litres: float) -> dict[str, Any]:
    unit = UNITS[asked.quantity]
    total = float(salt_g(salt=asked.salt, change_mmol_l=asked.mmol_l, volume_l=litres, purity=wanted.purity))
    half = Z * (sent.water_volume.relative_sd or UNSTATED_VOLUME_SD)
    change = asked.high - asked.low
    left = left_behind(salt=asked.salt, change_mmol_l=asked.mmol_l)
    return {
        "salt": asked.salt,
        "quantity": asked.quantity,
        "change": {"value": change, "unit": unit},
        "total": interval(total, total * max(1 - half, 0.0), total * (1 + half), "g"),
        "reaches": interval(
            asked.high, asked.low + change / (1 + half), asked.low + change / (1 - half) if half < 1 else None, unit
        ),
        "days": asked.days,
        "stages": _stages(sent, asked, total),
        "left_behind": {
            name: {"value": float(value), "unit": "mg/L"}
            for name, value in (
                ("sodium", left.sodium_mg_l),
                ("chloride", left.chloride_mg_l),
                ("sulphate", left.sulphate_mg_l),
                ("as_sodium_chloride", left.as_nacl_mg_l),
            )
        },
    }


def _stages(sent: CorrectionSent, asked: _Asked, total_g: float) -> list[dict[str, Any]]:
    """Equal parts, a day apart; between them gas exchange brings the water's pCO2 back."""
    days = np.arange(1, asked.days + 1)
    step = (asked.high - asked.low) / asked.days
    levels = asked.low + step * days
    unknown: list[float | None] = [None] * asked.days
    before, after, omega = unknown, unknown, unknown
    if asked.quantity == "alkalinity" and sent.water.ph is not None and asked.low > 0:
        before, after, omega = _ph_of_stages(sent, asked, step, levels)
    return [
        {
            "day": int(day),
            "mass": {"value": total_g / asked.days, "unit": "g"},
            "level": {"value": float(level), "unit": UNITS[asked.quantity]},
            "ph_before": ph_before,
            "ph_after": ph_after,
            "omega_aragonite": saturation,
        }
        for day, level, ph_before, ph_after, saturation in zip(days, levels, before, after, omega, strict=True)
    ]


def _ph_of_stages(sent: CorrectionSent, asked: _Asked, step: float, levels: Any) -> tuple[list[float | None], ...]:
    water = sent.water
    assert water.ph is not None
    place = {"salinity": water.salinity, "temperature_c": water.temperature}
    kilogram = float(density(**place))  # meq/L over kg/m3 is mol/kg
    same = {**place, "boron_factor": water.boron_factor}
    refuse_impossible("/water/ph", alkalinity_mol_kg=asked.low / kilogram, ph_nbs=water.ph, **same)
    starts = (levels - step) / kilogram
    ph_before = ph_nbs_at_same_gas(
        alkalinity_mol_kg=asked.low / kilogram, ph_nbs=water.ph, new_alkalinity_mol_kg=starts, **same
    )
    found = dosed_at_once(
        salt=asked.salt, change_mol_kg=step / kilogram, alkalinity_mol_kg=starts, ph_nbs=ph_before, **same
    )
    return tuple(  # null where no pH from 3 to 12 is reached
        [value if math.isfinite(value) else None for value in each.tolist()]
        for each in (found.ph_before_nbs, found.ph_after_nbs, found.omega_after)
    )


def _of_ph(done: list[dict[str, Any]]) -> list[dict[str, Any]]:
    said = []
    for each in done:
        steps = [stage["ph_after"] - stage["ph_before"] for stage in each["stages"] if stage["ph_after"] is not None]
        if steps and max(steps) > LARGE_PH_STEP:
            detail = (
                f"A day's {each['salt']} at once lifts pH by {max(steps):.2f}: divide the day's part, or take NaHCO3 "
                "(common practice: no more than 0.1 to 0.2 a dose)."
            )
            said.append(remark("large_ph_step", detail))
    return said


def _of_both(asked: list[_Asked]) -> list[dict[str, Any]]:
    if len({each.quantity for each in asked}) < 2:
        return []
    detail = "Several are corrected: magnesium first, then calcium, then alkalinity, hours apart (common practice)."
    return [remark("one_after_another", detail)]


def _assumptions(sent: CorrectionSent) -> list[str]:
    said = [
        "Nothing is used up or added meanwhile; the demand goes on and is not part of this.",
        "Between days gas exchange brings the water's pCO2 back to what it was; a day's part is stirred in at once.",
        "A day's change, where not sent: 1 dKH, 20 mg/L calcium, 100 mg/L magnesium (common practice).",
    ]
    if sent.water_volume.relative_sd is None:
        said.append(
            f"The volume is staged as stated; intervals take it as known to {100 * UNSTATED_VOLUME_SD:.0f} % (common "
            "practice). With water_volume.relative_sd the days hold at its small end, too."
        )
    else:
        said.append("The days hold at the small end of the volume's interval, too.")
    return said
