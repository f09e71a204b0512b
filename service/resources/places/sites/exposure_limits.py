"""Exposure limits for carbon dioxide in room air: data with country, source and date, the site's own or those shipped.

The shipped ones are those of the United States, as far as they could be read. They are no advice on which law holds.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from service.http.shapes import Line, Number, Shape

Country = Annotated[str, StringConstraints(pattern=r"^[A-Z]{2}$", strict=True)]
AsOf = Annotated[str, StringConstraints(pattern=r"^\d{4}(-(0[1-9]|1[0-2])(-(0[1-9]|[12]\d|3[01]))?)?$", strict=True)]
LimitKind = Literal["long_term_mean", "short_term", "immediate_danger", "ceiling"]


class ExposureLimit(Shape):
    """One limit for carbon dioxide in air: how much, over how long, by whom, and where and when that was read."""

    name: Line
    kind: LimitKind = Field(
        description="long_term_mean over a shift, short_term over minutes, a ceiling never to be passed, or "
        "immediate_danger to life or health."
    )
    ppm: Annotated[Number, Field(gt=0, le=1_000_000)]
    minutes: Annotated[Number, Field(gt=0, le=7 * 24 * 60)] | None = Field(
        default=None, description="Over which it is averaged; null for a ceiling or an immediate danger."
    )
    country: Country | None = None
    source: Line
    as_of: AsOf = Field(description="The date of the source: a year, a month or a day.", examples=["1994-05"])


DOCUMENTATION = "NIOSH documentation for immediately dangerous concentrations, 124389"

SHIPPED: tuple[dict[str, Any], ...] = (
    {
        "name": "OSHA PEL (8 h mean)", "kind": "long_term_mean", "ppm": 5000.0, "minutes": 480.0, "country": "US",
        "source": f"29 CFR 1910.1000 Table Z-1, as quoted in {DOCUMENTATION}", "as_of": "1994-05",
    },
    {
        "name": "NIOSH and ACGIH short-term limit (15 min)", "kind": "short_term", "ppm": 30_000.0, "minutes": 15.0,
        "country": "US", "source": DOCUMENTATION, "as_of": "1994-05",
    },
    {
        "name": "NIOSH IDLH", "kind": "immediate_danger", "ppm": 40_000.0, "minutes": None, "country": "US",
        "source": f"{DOCUMENTATION}: the revised value", "as_of": "1994-05",
    },
)  # fmt: skip
"""Source: NIOSH94."""


def limits_of(stored: list[dict[str, Any]] | None) -> list[ExposureLimit]:
    """The limits that a site has stated, else those shipped, from the lowest up."""
    said = [ExposureLimit.model_validate(each) for each in (SHIPPED if stored is None else stored)]
    return sorted(said, key=lambda limit: limit.ppm)
