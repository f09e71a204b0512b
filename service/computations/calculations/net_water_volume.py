"""POST /v1/calculations/net-water-volume: how much water there is, from what a known addition did to it."""

from __future__ import annotations

import math
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import Field

from service.computations.answers import LEVEL, Answer, remark, sources_of, without_records
from service.computations.calculations.tank_water import Celsius, RelativeSd, Salinity
from service.errors import Fault, TooLarge, Unacceptable
from service.http.caller import DoorOf
from service.http.problems import may_refuse
from service.http.shapes import Amount, Bounds, Number, Shape, UnitName, Whole
from service.resources.keeping.amounts import amount_in, refused
from service.science.fieller import RatioInterval
from service.science.tracer import volume_by_salt, volume_by_tracer
from service.science.units import UnitError, unit_named

router = APIRouter()
READING_RELATIVE_SD = 0.02  # of a concentration whose error was not sent (common practice)
SALINITY_SD = 0.1  # of a salinity whose error was not sent (common practice)
AMOUNT_RELATIVE_SD = 0.01  # of what was weighed or measured out (common practice)
WIDE = 0.25
Replicates = Annotated[Whole, Field(ge=1, le=100, description="Readings that `value` is the mean of.")]


class ConcentrationSent(Shape):
    """A concentration, one sd of a single reading in the same unit, and how many readings were averaged."""

    value: Number
    unit: UnitName
    sd: Annotated[Number, Field(ge=0)] | None = None
    replicates: Replicates = 1


class SalinityReading(Shape):
    """A practical salinity, one sd of a single reading, and how many readings were averaged."""

    value: Salinity
    sd: Annotated[Number, Field(ge=0, le=10)] | None = None
    replicates: Replicates = 1


class TracerSent(Shape):
    """Something dosed in a known amount (mg, g, meq) and its concentration before and after (mg/L, meq/L, dKH)."""

    added: Amount
    added_relative_sd: RelativeSd = AMOUNT_RELATIVE_SD
    before: ConcentrationSent
    after: ConcentrationSent


class SaltSent(Shape):
    """Sea salt in a known mass, and salinity before and after. `dry_part` leaves out the water that a mix holds."""

    added: Amount
    added_relative_sd: RelativeSd = AMOUNT_RELATIVE_SD
    dry_part: Annotated[Number, Field(gt=0.3, le=1)] = 1.0
    before: SalinityReading
    after: SalinityReading
    temperature: Celsius = 25.0


class NetWaterVolumeSent(Shape):
    """Exactly one of a tracer and salt."""

    tracer: TracerSent | None = None
    salt: SaltSent | None = None


class NetWaterVolumeRead(Answer):
    """The net water volume; a null `high` has no upper end: the readings do not surely tell a rise from none."""

    water_volume: Bounds
    relative_sd: float | None = Field(description="About a quarter of the interval's width over the value.")


@router.post("/net-water-volume", response_model=NetWaterVolumeRead, responses=may_refuse(Unacceptable, TooLarge))
def calculate_net_water_volume(sent: NetWaterVolumeSent, door: DoorOf) -> Any:
    """How much water there is, from a known addition and what was read before and after."""
    door.require()
    if (sent.tracer is None) == (sent.salt is None):
        detail = "Send exactly one of tracer and salt."
        raise Unacceptable(detail, (Fault("/tracer", detail), Fault("/salt", detail)))
    found = _by_tracer(sent.tracer) if sent.tracer is not None else _by_salt(sent.salt)
    bounds = _bounds(found)
    sd = None
    if bounds["high"] is not None and bounds["low"] is not None:
        sd = (bounds["high"] - bounds["low"]) / 4 / bounds["value"]
    return {
        **without_records(
            sources=sources_of(volume_by_tracer if sent.salt is None else volume_by_salt),
            assumptions=_assumptions(sent),
            findings=_findings(sd),
            cautions=[
                "Dose what the animals bear: a change of alkalinity, salinity or an ion beyond common practice is a "
                "harm, not a measurement.",
            ],
        ),
        "missing": [] if sd is not None and sd <= WIDE / 4 else [remark("replicates", _WIDE_DETAIL)],
        "water_volume": bounds,
        "relative_sd": sd,
    }


_WIDE_DETAIL = "Read before and after several times, by the better method, or add more: the rise is known too poorly."


def _by_tracer(sent: TracerSent) -> RatioInterval:
    """Mass over mass per litre, or charge over charge per litre. Raises Unacceptable where they do not go together."""
    base, per_litre = _tracer_units(sent.added.unit)
    added = amount_in(sent.added, base, pointer="/tracer/added", above=0)
    before, before_sd = _concentration(sent.before, per_litre, "/tracer/before")
    after, after_sd = _concentration(sent.after, per_litre, "/tracer/after")
    _refuse_no_rise(before, after, "/tracer/after/value", sent.after.value)
    return volume_by_tracer(
        added_mg=added,
        before_mg_l=before,
        after_mg_l=after,
        added_sd=added * sent.added_relative_sd,
        before_sd=before_sd,
        after_sd=after_sd,
    )


def _tracer_units(unit: str) -> tuple[str, str]:
    try:
        dimension = unit_named(unit).dimension
    except UnitError as error:
        raise refused("/tracer/added/unit", str(error), unit) from error
    if dimension == "mass":
        return "mg", "mg/L"
    if unit_named(unit).code == "meq":
        return "meq", "meq/L"
    raise refused("/tracer/added/unit", "A mass (mg, g) or meq is expected.", unit)


def _concentration(sent: ConcentrationSent, unit: str, pointer: str) -> tuple[float, float]:
    """A concentration and the sd of its mean, in one unit."""
    value = amount_in(Amount(value=sent.value, unit=sent.unit), unit, pointer=pointer, least=0)
    sd = READING_RELATIVE_SD * value
    if sent.sd is not None:
        sd = amount_in(Amount(value=sent.sd, unit=sent.unit), unit, pointer=pointer)
    return value, sd / math.sqrt(sent.replicates)


def _by_salt(sent: SaltSent | None) -> RatioInterval:
    assert sent is not None
    grams = 1000 * amount_in(sent.added, "kg", pointer="/salt/added", above=0) * sent.dry_part
    _refuse_no_rise(sent.before.value, sent.after.value, "/salt/after/value", sent.after.value)
    before_sd, after_sd = (
        (SALINITY_SD if each.sd is None else each.sd) / math.sqrt(each.replicates) for each in (sent.before, sent.after)
    )
    return volume_by_salt(
        added_g=grams,
        before_salinity=sent.before.value,
        after_salinity=sent.after.value,
        temperature_c=sent.temperature,
        added_sd=grams * sent.added_relative_sd,
        before_sd=before_sd,
        after_sd=after_sd,
    )


def _refuse_no_rise(before: float, after: float, pointer: str, sent: float) -> None:
    if after <= before:
        detail = "More than before is expected: were the two exchanged, was it mixed in, did something take it up?"
        raise refused(pointer, detail, sent)


def _bounds(found: RatioInterval) -> dict[str, Any]:
    """The interval as far as it can be water: nothing below 0; of two rays the upper one is meant."""
    low, high = float(found.low), float(found.high)
    if bool(found.is_two_rays):
        low, high = high, math.inf
    elif not bool(found.is_bounded):
        low, high = 0.0, math.inf
    return {
        "value": float(found.value),
        "low": max(low, 0.0),
        "high": high if math.isfinite(high) else None,
        "level": LEVEL,
        "unit": "L",
    }


def _findings(sd: float | None) -> list[dict[str, Any]]:
    if sd is not None:
        return []
    detail = "The readings do not surely tell a rise from none: there is no upper end to the volume."
    return [remark("no_upper_end", detail)]


def _assumptions(sent: NetWaterVolumeSent) -> list[str]:
    said = ["Well mixed; nothing of it was taken up, added or lost between the two readings, and no water either."]
    if sent.salt is not None:
        said.append("Salinity by salt of seawater's proportions; a mix may hold water of its own: dry_part.")
        said.append(f"A salinity whose sd was not sent is known to {SALINITY_SD:g} (common practice).")
    else:
        said.append(
            f"A concentration whose sd was not sent is known to {100 * READING_RELATIVE_SD:.0f} % (common practice)."
        )
    return said
