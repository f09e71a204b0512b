"""Every reactor of a site: what it gives against what is asked of it, its gas and its media; all in one gathering."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlmodel import Session

from service.computations.consumption.answer import Scaled
from service.computations.media_forecast.answer import shown as media_shown
from service.computations.media_forecast.gather import gather as gather_media
from service.computations.output_balance.gather import gather
from service.computations.output_balance.routes import shown_all
from service.computations.output_balance.waters import Estimated
from service.reports import wording
from service.resources.equipment.gas_lines.models import REACTOR
from service.resources.equipment.pieces import queries as pieces
from service.resources.equipment.pieces.models import Equipment
from service.resources.places.sites.models import Site
from service.resources.records.queries import Course, courses
from service.science.units import convert
from service.storage.types import instant

LOOKED_AT = timedelta(days=28)  # an older media level says little about today
JUST_AFTER = timedelta(microseconds=1)
IN_USE = ("in_service", "commissioning")
DRIP_UNIT = "mL/min"
HOLD = "hold"


def reactors_of(
    session: Session,
    site: Site,
    at: datetime,
    lines: Sequence[Mapping[str, Any]],
    known: Mapping[UUID, Estimated],
    scaled: Scaled,
) -> list[dict[str, Any]]:
    """A row for each reactor in use, by tag; the number of queries does not grow with them.

    `lines` and `known` are those of the site's systems; `scaled` shows alkalinity in the site's unit.
    """
    reactors = [row for row in pieces.of_site(session, site.id, kind=REACTOR) if row.state in IN_USE]
    if not reactors:
        return []
    gathered = gather(session, reactors, at, known=known)
    levels = courses(session, [row.id for row in reactors], "media_level", start=at - LOOKED_AT, end=at + JUST_AFTER)
    media = gather_media(session, reactors, at)
    zone = ZoneInfo(site.time_zone)
    of_system = {line["system_id"]: line for line in lines}
    answers = shown_all([gathered[row.id] for row in reactors])
    return [
        _row(row, answer, media_shown(media[row.id], zone=zone), levels[row.id], of_system, scaled)
        for row, answer in zip(reactors, answers, strict=True)
    ]


def _row(
    reactor: Equipment,
    answer: dict[str, Any],
    media: dict[str, Any],
    level: Course,
    of_system: Mapping[UUID, Mapping[str, Any]],
    scaled: Scaled,
) -> dict[str, Any]:
    fed = [
        {
            "system_id": each["system_id"],
            "name": of_system[each["system_id"]]["name"],
            "supply_over_demand": each["supply_over_demand"],
            "settles_at": _settles(each["settles_at"], scaled),
        }
        for each in answer["systems"]
    ]
    use, by = _gas_use(answer["gas_check"])
    return {
        "reactor_id": reactor.id,
        "tag": reactor.tag,
        "name": reactor.name or reactor.tag,
        "flow": _converted(answer["effluent"]["flow"], DRIP_UNIT),
        "alkalinity": _converted(answer["effluent"]["alkalinity"], scaled.level_unit),
        "ph": answer["effluent"]["ph"],
        "systems": fed,
        "gas_use": use,
        "gas_use_by": by,
        "gas_finding": answer["gas_check"]["finding"],
        "media_left": _not_below_nothing(media["left"]),
        "media_filled": media["filled"],
        "media_refill_by": media["refill_by"],
        "media_level": _media_level(level),
        "words": _words(fed, of_system),
        "settles": _settles_in_words(fed),
        "findings": [*answer["findings"], *media["findings"]],
        "missing": answer["missing"],
        "advice": [each for each in answer["advice"] if not _is_overruled(each, of_system)],
        "cautions": list(dict.fromkeys([*answer["cautions"], *media["cautions"]])),
    }


def _is_overruled(advice: Mapping[str, Any], of_system: Mapping[UUID, Mapping[str, Any]]) -> bool:
    """Whether to turn nothing is said of a system whose level says otherwise: that shows far smaller differences."""
    line = of_system.get(advice["subject_id"])
    return advice["code"] == HOLD and line is not None and bool(line["advice"])


def _settles(found: dict[str, Any] | None, scaled: Scaled) -> dict[str, Any] | None:
    return None if found is None else {**found, "alkalinity": _converted(found["alkalinity"], scaled.level_unit)}


def _converted(bounds: dict[str, Any] | None, unit: str) -> dict[str, Any] | None:
    """A computed number in another unit."""
    if bounds is None:
        return None
    ends = {
        name: None if bounds[name] is None else float(convert(bounds[name], unit=bounds["unit"], to=unit))
        for name in ("value", "low", "high")
    }
    return {**bounds, **ends, "unit": unit}


def _gas_use(check: dict[str, Any]) -> tuple[dict[str, Any] | None, str | None]:
    """The gas that the reactor uses: weighed if it can be, else by all witnesses together, else by its chemistry."""
    for name, by in (("by_weighing", "weighing"), ("fused", "several"), ("by_chemistry", "chemistry")):
        if check[name] is not None:
            return check[name], by
    return None, None


def _not_below_nothing(bounds: dict[str, Any] | None) -> dict[str, Any] | None:
    """A mass whose interval reaches below zero, which it cannot be."""
    return None if bounds is None else {**bounds, "value": max(bounds["value"], 0.0), "low": max(bounds["low"], 0.0)}


def _media_level(level: Course) -> dict[str, Any] | None:
    if not len(level):
        return None
    return {"value": float(level.value[-1]), "unit": "%", "at": instant(int(level.at_us[-1]))}


def _words(fed: Sequence[dict[str, Any]], of_system: Mapping[UUID, Mapping[str, Any]]) -> str:
    """What it brings each system, over what the system uses."""
    return " ".join(_brings(each, of_system[each["system_id"]]) for each in fed) or "Feeds no system."


def _brings(each: dict[str, Any], line: Mapping[str, Any]) -> str:
    ratio, name = each["supply_over_demand"], each["name"]
    if ratio is None:
        return f"What it brings {name} over what that uses is not known."
    times = f"Brings {wording.figure(ratio)} of what {name} uses ({wording.between(ratio)})"
    if ratio["high"] is not None and ratio["high"] < 1:
        return f"{times}, less than all of it."
    if ratio["low"] is not None and ratio["low"] > 1:
        return f"{times}, more than all of it."
    if line["advice"]:
        return f"{times}: no difference to see here, but {name}'s own level shows one."
    return f"{times}: no difference to see."


def _settles_in_words(fed: Sequence[dict[str, Any]]) -> str:
    said = [_rests(each) for each in fed if each["settles_at"] is not None]
    return " ".join(said) or "Where its systems come to rest cannot be told from these records."


def _rests(each: dict[str, Any]) -> str:
    level, time = each["settles_at"]["alkalinity"], each["settles_at"]["time_constant"]
    least = None if level["low"] is None else max(level["low"], 0.0)
    name = each["name"]
    if least is None or level["high"] is None or level["high"] - least > level["value"]:
        said = wording.between({**level, "low": least})
        return f"Where {name} comes to rest is hardly known: {said} {level['unit']}."
    return (
        f"If nothing is turned {name} comes to rest at {wording.figure(level)} {level['unit']} "
        f"({wording.between(level)}), two thirds of the way in {wording.figure(time)} days ({wording.between(time)})."
    )
