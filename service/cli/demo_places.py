"""The invented holding hall as data: its people, rooms, tanks, reactors, pumps, and what is to be done regularly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from service.access.rights import Role

SITE: dict[str, Any] = {
    "tag": "holding-hall",
    "name": "The Holding Hall",
    "time_zone": "Europe/Berlin",
    "units": {"alkalinity": "dKH"},
}
STAFF = (
    ("Ner Tidewell", Role.SUPERVISOR),
    ("Oska Brine", Role.LIFE_SUPPORT),
    ("Imre Shoal", Role.KEEPER),
    ("Tam Eddy", Role.KEEPER),
    ("Lio Spindrift", Role.KEEPER),
)
ROOMS: tuple[dict[str, Any], ...] = (
    {"tag": "hall", "name": "Hall", "free_volume": {"value": 310, "unit": "m3"}, "air_changes_per_hour": 1.5},
    {"tag": "side-hall", "name": "Side hall", "free_volume": {"value": 120, "unit": "m3"}, "air_changes_per_hour": 1.0},
    {"tag": "back-room", "name": "Back room", "free_volume": {"value": 38, "unit": "m3"}, "below_ground": True},
)


@dataclass(frozen=True)
class Place:
    """Where a system stands, what its water stands in (tag, name, litres), and which of the two it is dosed by."""

    room: str
    tanks: tuple[tuple[str, str, float], ...]
    quarantine_class: str = "clean"
    dosing_pump: str | None = None
    stirrer: str | None = None


PLACES: dict[str, Place] = {
    "LAGOON": Place("hall", (("lagoon-1", "Lagoon", 2100), ("lagoon-2", "Lagoon shelf", 260))),
    "TERRACE": Place("hall", (("terrace-1", "Terrace upper", 420), ("terrace-2", "Terrace lower", 420))),
    "BENCH": Place("hall", tuple((f"bench-{number}", f"Long bench {number}", 330) for number in (1, 2, 3))),
    "NURSERY": Place(
        "hall",
        (("nursery-1", "Nursery left", 300), ("nursery-2", "Nursery right", 300)),
        dosing_pump="dosing-1",
    ),
    "WINDOW": Place("hall", (("window-1", "Window", 3200),)),
    "OVERHANG": Place("side-hall", (("overhang-1", "Overhang", 1350),)),
    "SHALLOWS": Place("side-hall", (("shallows-1", "Shallows", 740),), dosing_pump="dosing-2"),
    "RACKS": Place("side-hall", (("racks-1", "Rack one", 230), ("racks-2", "Rack two", 230)), dosing_pump="dosing-3"),
    "DROPOFF": Place("side-hall", (("drop-off-1", "Drop-off", 1200),)),
    "QUARANTINE": Place("back-room", (("quarantine-1", "Quarantine", 280),), "quarantine", stirrer="lime-1"),
    "ARRIVALS": Place("back-room", (("arrivals-1", "Arrivals", 370),), "observation", dosing_pump="dosing-4"),
    "ANNEX": Place("back-room", (("annex-1", "Annex", 320),), "observation", stirrer="lime-2"),
}
REACTORS = {"LAGOON": "reactor-1", "TERRACE": "reactor-2", "BENCH": "reactor-3", "OVERHANG": "reactor-4"}


@dataclass(frozen=True)
class Line:
    """A gas line: its tag, room and regulator, and its cylinders in the order they hang on it.

    What is empty is away until it is refilled; `refilled_after` says after how many days the first one stands there
    again, full.
    """

    tag: str
    room: str
    regulator: str
    cylinders: tuple[str, ...]
    water_capacity_l: float
    refilled_after: float | None = None


LINES: dict[str, Line] = {
    "GAS-1": Line("gas-1", "hall", "regulator-1", ("cylinder-a", "cylinder-b"), 8.85),
    "GAS-2": Line("gas-2", "hall", "regulator-2", ("cylinder-c", "cylinder-d"), 14.7),
    "GAS-3": Line("gas-3", "side-hall", "regulator-3", ("cylinder-e", "cylinder-f"), 6.62, refilled_after=20.0),
}
MONITORED = ("hall", "side-hall")
CO2_ALARM = {"value": 5000, "unit": "ppm"}  # OSHA's 8 h limit; what holds here is for local codes to say
