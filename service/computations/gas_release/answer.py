"""From a room and a mass of gas to screening numbers, beside the exposure limits that hold there."""

from __future__ import annotations

import math
from typing import Any

from service.computations.answers import remark, sources_named, sources_of
from service.computations.gas_release.situation import USUAL_HEIGHT_M, Air, Released, Situation
from service.resources.places.sites.exposure_limits import SHIPPED, ExposureLimit
from service.science.room import OUTDOOR_PPM, closed_room, gas_volume_m3, ventilated_room

CAUTIONS = (
    "CO2 is toxic at a few per cent while oxygen still reads normal (20.1 % at 40,000 ppm): an oxygen monitor does not "
    "protect. Use a carbon dioxide monitor, with an alarm that is heard before the door.",
    "CO2 is heavier than air and gathers in pits, below ground and along floors.",
    "No room number is a clearance: these are for planning. Nobody goes in after a release before it was measured; "
    "follow local codes, the gas supplier and the site's safety officer.",
)
BELOW_GROUND = (
    "The room lies below ground: gas runs in and does not run out. The mixed values say too little there; ask the "
    "site's safety officer for extraction at the floor and a fixed carbon dioxide alarm."
)
WHERE_PASSED = (
    ("release_over_limit", "screening", "mixed through the room"),
    ("pooled_over_limit", "pooled", "in the lowest half metre, if all of it pools there,"),
)


def answered(situation: Situation) -> dict[str, Any]:
    """The answer's own parts and its remarks; `used`, `set_aside` are the caller's to add."""
    releases = [_release(each, situation) for each in situation.released]
    leak = _leak(situation)
    return {
        "air": _air(situation.air),
        "releases": releases,
        "leak": leak,
        "limits": list(situation.limits),
        "missing": _missing(situation),
        "findings": [*_passed(releases, leak, situation.limits), *_of_room(situation.air)],
        "advice": [],
        "assumptions": _assumptions(situation),
        "sources": [*sources_of(closed_room, gas_volume_m3, ventilated_room), *_of_practice()],
        "cautions": list(CAUTIONS),
    }


def screening_percent(air: Air, kg: float) -> float | None:
    """The larger of the two mixed values for a mass of gas, %; None without a free volume."""
    found = _closed(air, kg)
    return None if found is None else 100 * float(found.screening_fraction)


def _closed(air: Air, kg: float) -> Any:
    if air.free_volume_m3 is None:
        return None
    return closed_room(
        gas_kg=kg,
        free_volume_m3=air.free_volume_m3,
        lower_half_metre_m3=air.lower_half_metre_m3 or air.free_volume_m3,
        temperature_c=air.temperature_c,
        supply_air_ppm=air.supply_ppm,
    )


def _release(released: Released, situation: Situation) -> dict[str, Any]:
    air = situation.air
    found = _closed(air, released.kg)
    volume = float(gas_volume_m3(gas_kg=released.kg, temperature_c=air.temperature_c))
    answer: dict[str, Any] = {
        "what": released.what,
        "gas": {"value": released.kg, "unit": "kg"},
        "gas_volume": {"value": volume, "unit": "m3"},
        **{
            name: None if found is None else _percent(float(getattr(found, f"{name}_fraction")))
            for name in ("simple", "displaced", "screening", "pooled", "oxygen")
        },
        "over_limits": [],
    }
    if found is not None:
        answer["over_limits"] = _over(1e6 * float(found.screening_fraction), situation.limits)
    return answer


def _leak(situation: Situation) -> dict[str, Any]:
    air, leak = situation.air, situation.leak
    answer: dict[str, Any] = {
        "rate": {"value": leak.g_h, "unit": "g/h"}, "hours": leak.hours,
        "after": None, "steady": None, "over_limits": [],
    }  # fmt: skip
    if air.free_volume_m3 is None:
        return answer
    found = ventilated_room(
        release_g_h=leak.g_h,
        free_volume_m3=air.free_volume_m3,
        air_changes_per_hour=air.air_changes_per_hour or 0.0,
        elapsed_hours=leak.hours,
        temperature_c=air.temperature_c,
        supply_air_ppm=air.supply_ppm,
    )
    after, steady = min(float(found.after_ppm), 1e6), float(found.steady_ppm)
    answer["after"] = {"value": after, "unit": "ppm"}
    answer["steady"] = {"value": min(steady, 1e6), "unit": "ppm"} if math.isfinite(steady) else None
    answer["over_limits"] = _over(after, situation.limits)
    return answer


def _over(ppm: float, limits: Any) -> list[dict[str, Any]]:
    return [{"name": limit.name, "ratio": ppm / limit.ppm} for limit in limits]


def _percent(fraction: float) -> dict[str, Any]:
    return {"value": 100 * fraction, "unit": "%"}


def _air(air: Air) -> dict[str, Any]:
    half = air.lower_half_metre_m3
    return {
        "free_volume": None if air.free_volume_m3 is None else {"value": air.free_volume_m3, "unit": "m3"},
        "lower_half_metre": None if half is None else {"value": half, "unit": "m3"},
        "air_changes_per_hour": air.air_changes_per_hour,
        "below_ground": air.below_ground,
        "temperature": {"value": air.temperature_c, "unit": "Cel"},
        "supply_air": {"value": air.supply_ppm, "unit": "ppm"},
    }


def _missing(situation: Situation) -> list[dict[str, Any]]:
    said = []
    if situation.air.free_volume_m3 is None:
        said.append(remark("free_volume", "The room's free volume: without it nothing can be said of the air."))
    if situation.air.air_changes_per_hour is None:
        said.append(
            remark("air_changes", "How often the air is changed an hour, as measured: until then none is counted.")
        )
    if not situation.released:
        said.append(remark("gas_mass", "How much gas may get out: no cylinder with a known charge stands here."))
    return said


def _value(amount: dict[str, Any] | None) -> float:
    return 0.0 if amount is None else float(amount["value"])


def _passed(releases: list[dict[str, Any]], leak: dict[str, Any], limits: Any) -> list[dict[str, Any]]:
    """Which limits a release or a leak goes beyond, by name. Nothing is said of those it stays under."""
    said = []
    for release in releases:
        for code, part, where in WHERE_PASSED:
            names = [limit.name for limit in limits if 1e4 * _value(release[part]) >= limit.ppm]
            if names:
                gas, value = release["gas"]["value"], _value(release[part])
                said.append(remark(code, f"{gas:g} kg of gas: {value:.1f} % {where} passes {', '.join(names)}."))
    names = [each["name"] for each in leak["over_limits"] if each["ratio"] >= 1]
    if names:
        detail = (
            f"A leak of {leak['rate']['value']:g} g/h stands at {leak['after']['value']:.0f} ppm after "
            f"{leak['hours']:g} h and passes {', '.join(names)}."
        )
        said.append(remark("leak_over_limit", detail))
    return said


def _of_room(air: Air) -> list[dict[str, Any]]:
    return [remark("below_ground", BELOW_GROUND)] if air.below_ground else []


def _assumptions(situation: Situation) -> list[str]:
    air, leak = situation.air, situation.leak
    said = [
        "Carbon dioxide as an ideal gas at one atmosphere, mixed through the free volume; the pooled value lets all of "
        "it lie in the lowest half metre.",
        "A release at once counts no air changes.",
        f"The leak is {leak.g_h:g} g/h for {leak.hours:g} h (a judgement: a valve left open passes from tens to "
        "thousands of grams an hour); say otherwise.",
    ]
    if air.height_m is None:
        said.append(f"The room is {USUAL_HEIGHT_M:g} m high.")
    if air.supply_ppm == OUTDOOR_PPM:
        said.append("The incoming air holds 420 ppm as outdoors; in occupied rooms it is 800 to 1500.")
    if _are_shipped(situation.limits):
        said.append(
            "The limits are those of the United States shipped with the service. Put the ones that hold where you are "
            "into the site's exposure_limits."
        )
    return said


def _are_shipped(limits: Any) -> bool:
    shipped = sorted((ExposureLimit.model_validate(each) for each in SHIPPED), key=lambda limit: limit.ppm)
    return list(limits) == shipped


def _of_practice() -> list[dict[str, Any]]:
    return sources_named(["PRACTICE"])
