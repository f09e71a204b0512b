"""Describing and changing sites."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from service.access.caller import Work
from service.access.rights import Right
from service.resources.keeping.amounts import refused
from service.resources.keeping.things import Thing, bodies, refuse_taken
from service.resources.places.sites.exposure_limits import ExposureLimit
from service.resources.places.sites.models import SITE, Site, SitePatch, SiteRead, SiteSent
from service.science.quantities import QUANTITIES
from service.storage.types import new_id


def describe(work: Work, sent: SiteSent) -> Site:
    """The new site. Only whoever administers the installation may add one."""
    work.caller.require(Right.ADMINISTER, None)
    _check_units(sent.units)
    tag = sent.tag or _tag_from(sent.name)
    refuse_taken(work.session, Site, field="tag", value=tag, what="site")
    return Site(
        id=new_id(),
        tag=tag,
        name=sent.name,
        time_zone=sent.time_zone,
        country=sent.country,
        units=sent.units,
        retention_years=sent.retention_years,
        exposure_limits=_stored(sent.exposure_limits),
        described_at=work.at,
    )


def amend(work: Work, site: Site, patch: SitePatch) -> None:
    """Change what the patch names."""
    _check_units(patch.units or {})
    for name in patch.model_fields_set:
        value = getattr(patch, name)
        if name == "exposure_limits":
            value = _stored(value)
        if value is not None or name in {"country", "exposure_limits"}:
            setattr(site, name, value)


def _stored(limits: Sequence[ExposureLimit] | None) -> list[dict[str, Any]] | None:
    return None if limits is None else [limit.model_dump(mode="json") for limit in limits]


def _check_units(units: Mapping[str, str]) -> None:
    """Refuse a unit that the quantity cannot be shown in, naming it."""
    for code, unit in units.items():
        quantity = QUANTITIES.get(code)
        if quantity is None:
            raise refused(f"/units/{code}", f"Not a quantity known here. Known: {', '.join(QUANTITIES)}.", unit)
        if unit not in quantity.units or quantity.needs_conditions(unit):
            shown = ", ".join(known for known in quantity.units if not quantity.needs_conditions(known))
            raise refused(f"/units/{code}", f"{quantity.title} is shown in {shown}.", unit)


def _tag_from(name: str) -> str:
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
    return plain[:40].strip("-") or "site"


SITES = Thing(
    kept=SITE,
    singular="site",
    plural="sites",
    sent=SiteSent,
    patch=SitePatch,
    read=SiteRead,
    describe=describe,
    amend=amend,
    show=bodies(SITE),
    describes=Right.ADMINISTER,
)
