"""What a release into a room is computed from, whether it came from records or with the request."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.resources.places.sites.exposure_limits import ExposureLimit
from service.science.room import OUTDOOR_PPM

USUAL_HEIGHT_M = 2.5
HALF_METRE_M = 0.5
USUAL_ROOM_C = 20.0
USUAL_LEAK_G_H = 100.0  # a needle valve left open (a judgement: real ones pass from tens to thousands of g/h)
USUAL_LEAK_HOURS = 8.0  # a shift


@dataclass(frozen=True)
class Released:
    """A mass of gas that may get out at once, and what it is."""

    what: str
    kg: float


@dataclass(frozen=True)
class Air:
    """The room and its air. `free_volume_m3` None: nobody said; `supply_ppm` is what the incoming air holds."""

    free_volume_m3: float | None
    height_m: float | None = None
    air_changes_per_hour: float | None = None
    below_ground: bool = False
    temperature_c: float = USUAL_ROOM_C
    supply_ppm: float = OUTDOOR_PPM

    @property
    def lower_half_metre_m3(self) -> float | None:
        """The part of the free volume in the lowest half metre, as if the floor were even."""
        if self.free_volume_m3 is None:
            return None
        return self.free_volume_m3 * min(1.0, HALF_METRE_M / (self.height_m or USUAL_HEIGHT_M))


@dataclass(frozen=True)
class Leak:
    """Gas that keeps coming, and for how long."""

    g_h: float = USUAL_LEAK_G_H
    hours: float = USUAL_LEAK_HOURS


@dataclass(frozen=True)
class Situation:
    """Everything one answer is computed from."""

    air: Air
    released: Sequence[Released]
    leak: Leak
    limits: Sequence[ExposureLimit]
