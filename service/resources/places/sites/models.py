"""A site: one house with one clock, whose records are kept and audited together."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any
from uuid import UUID
from zoneinfo import available_timezones

from pydantic import AfterValidator, StringConstraints
from pydantic import Field as ShapeField
from sqlmodel import Field

from service.http.shapes import Code, Line, Shape, Tag, UnitName, Whole
from service.resources.keeping.kept import Kept, KeptRow, register
from service.resources.places.sites.exposure_limits import Country, ExposureLimit
from service.storage.types import Document, Instant


def _known_zone(name: str) -> str:
    if name not in available_timezones():
        raise ValueError("an IANA time zone is expected, such as Europe/Oslo or Pacific/Auckland")
    return name


Zone = Annotated[str, StringConstraints(max_length=64, strict=True), AfterValidator(_known_zone)]
Years = Annotated[Whole, ShapeField(ge=0, le=1000)]
Limits = Annotated[
    list[ExposureLimit],
    ShapeField(
        min_length=1, max_length=20, description="For carbon dioxide in room air. Null: those shipped with the service."
    ),
]


class SiteSent(Shape):
    """A site as described."""

    tag: Tag | None = None
    name: Line
    time_zone: Zone
    country: Country | None = None
    units: dict[Code, UnitName] = {}
    retention_years: dict[Code, Years] = {}
    exposure_limits: Limits | None = None


class SitePatch(Shape):
    """What may change of a site."""

    name: Line | None = None
    time_zone: Zone | None = None
    country: Country | None = None
    units: dict[Code, UnitName] | None = None
    retention_years: dict[Code, Years] | None = None
    exposure_limits: Limits | None = None


class SiteRead(Shape):
    """A site as it stands."""

    id: UUID
    version: int
    tag: str
    name: str
    time_zone: str
    country: str | None
    units: dict[str, str]
    retention_years: dict[str, int]
    exposure_limits: Limits | None
    described_at: datetime


class Site(KeptRow, table=True):
    """The stored row."""

    __tablename__ = "sites"

    tag: str = Field(max_length=40, unique=True)
    name: str = Field(max_length=200)
    time_zone: str = Field(max_length=64)
    country: str | None = Field(default=None, max_length=2)
    units: Any = Field(sa_type=Document)
    retention_years: Any = Field(sa_type=Document)
    exposure_limits: Any = Field(default=None, nullable=True, sa_type=Document)
    described_at: datetime = Field(sa_type=Instant)


def body(row: Site) -> dict[str, Any]:
    """A site's answer."""
    return {
        "id": row.id,
        "version": row.version,
        "tag": row.tag,
        "name": row.name,
        "time_zone": row.time_zone,
        "country": row.country,
        "units": row.units,
        "retention_years": row.retention_years,
        "exposure_limits": row.exposure_limits,
        "described_at": row.described_at,
    }


SITE = register(Kept("site", Site, body))
