"""The days of the demonstration's season as instants, who was on duty, and how its numbers are written down."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from service.cli.demo_description import Described
from service.cli.demo_places import SITE
from service.science.units import convert

NAMESPACE = UUID("6f0f9b0e-7a53-4e0c-9a55-0c1d5b3a2f11")
ZONE = ZoneInfo(SITE["time_zone"])
SHOWN_IN = {
    ("alkalinity", "meq/L"): ("dKH", 2),
    ("effluent_alkalinity", "meq/L"): ("dKH", 1),
    ("effluent_flow", "L/d"): ("mL/min", 1),
}
SPELT = {"/min": "{bubble}/min"}


def begin_season(today: date, days: int) -> datetime:
    """The instant so many days of 24 hours before today's midnight at the site, in UTC.

    The water does not know of daylight saving time: half a year has its hours, and people test an hour later by the
    clock in summer than in winter.
    """
    return datetime(today.year, today.month, today.day, tzinfo=ZONE).astimezone(ZoneInfo("UTC")) - timedelta(days=days)


class Season:
    """What of a season is the same for every record."""

    def __init__(self, described: Described, start: datetime) -> None:
        self.described, self._start = described, start
        self._staff = list(described.staff)

    @property
    def supervisor(self) -> UUID:
        """Who corrects, and sets pumps and drips."""
        return self._staff[0]

    @property
    def life_support(self) -> UUID:
        """Who writes up additions and swaps cylinders."""
        return self._staff[1]

    def at(self, days: float) -> datetime:
        """The instant so many days after the season began, by the site's clock."""
        return (self._start + timedelta(days=days)).astimezone(ZONE)

    def on_duty(self, room: str, at: datetime) -> UUID:
        """Who did the round of a room that day: drawn, and the same every time."""
        day = (at - self._start).days
        return random.Random(f"{room} {day}").choice(self._staff[1:])  # noqa: S311

    def name_of(self, person_id: UUID) -> str:
        """A person's name."""
        return self.described.staff[person_id].name

    def record_id(self, *parts: object) -> UUID:
        """An id for a record of these parts: the same on the same site."""
        return uuid5(NAMESPACE, f"{self.described.site_id} {' '.join(map(str, parts))}")


def as_printed(quantity: str, value: float, unit: str) -> tuple[float, str]:
    """A value in the unit that kit or instrument prints."""
    if quantity == "ph" or quantity.endswith("_ph"):
        return value, "[pH]"
    unit = SPELT.get(unit, unit)
    if (quantity, unit) not in SHOWN_IN:
        return value, unit
    shown, digits = SHOWN_IN[quantity, unit]
    return round(float(convert(value, unit=unit, to=shown)), digits), shown
