"""Generated tables: good rows, and bad rows of fifteen kinds whose true reason is known."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

HEADINGS = "date,time,tank,quantity,value,unit,initials"
COLUMNS = HEADINGS.split(",")
GOOD = {"alkalinity": ("dKH", 7.0, 9.5), "calcium": ("mg/L", 390.0, 450.0), "magnesium": ("mg/L", 1250.0, 1400.0)}


@dataclass(frozen=True)
class Spoiling:
    """One kind of bad row: which cell is spoilt and how, and words of the one true reason, by its column."""

    name: str
    column: str
    cell: str
    reason: str
    told_of: str | None = ""

    @property
    def blamed(self) -> str | None:
        """The column that the reason names; None for the row as a whole."""
        return self.column if self.told_of == "" else self.told_of


SPOILINGS = (
    Spoiling("no date", "date", "", "the date is empty"),
    Spoiling("words for a date", "date", "Tuesday", "a date is expected"),
    Spoiling("no such day", "date", "2026-02-30", "there is no such day"),
    Spoiling("a date ahead", "date", "2031-01-01", "ahead of the service's clock"),
    Spoiling("no such time", "time", "25:10", "a time of day is expected"),
    Spoiling("an unknown tank", "tank", "tnak-1", "no system, tank, equipment or room"),
    Spoiling("no tank", "tank", "", "it is not said what the row is about"),
    Spoiling("an unknown quantity", "quantity", "sparkle", "no quantity known here"),
    Spoiling("words for a value", "value", "fine", "a number is expected"),
    Spoiling("no value", "value", "", "nothing to record", None),
    Spoiling("a decimal comma", "value", '"8,2"', "decimal point"),
    Spoiling("below a limit", "value", "<0.1", "a limit is none"),
    Spoiling("a unit in the value", "value", "8.2 dKH", "its unit belongs to the column"),
    Spoiling("an impossible value", "value", "900000", "lies between"),
    Spoiling("an unknown unit", "unit", "furlong", "no unit known here"),
)


def rows(count: int, *, bad: int = 0, seed: int = 7, tanks: int = 4) -> Iterator[tuple[str, Spoiling | None]]:
    """Lines of a table in the long form, a few minutes apart, each with what is wrong with it."""
    chance = random.Random(seed)
    spoilt = set(chance.sample(range(count), bad))
    order = [SPOILINGS[index % len(SPOILINGS)] for index in range(bad)]
    chance.shuffle(order)
    start = datetime(2025, 1, 6, 8, 0)  # noqa: DTZ001 - a wall clock
    for index in range(count):
        at = start + timedelta(minutes=40 * index) if count <= 20_000 else start + timedelta(seconds=30 * index)
        quantity = chance.choice(list(GOOD))
        unit, low, high = GOOD[quantity]
        cells = {
            "date": f"{at:%Y-%m-%d}",
            "time": f"{at:%H:%M:%S}",
            "tank": f"tank-{chance.randint(1, tanks)}",
            "quantity": quantity,
            "value": f"{chance.uniform(low, high):.2f}",
            "unit": unit,
            "initials": chance.choice(["AB", "CD", "AB; CD"]),
        }
        spoiling = order.pop() if index in spoilt else None
        if spoiling is not None:
            cells[spoiling.column] = spoiling.cell
        yield ",".join(cells[column] for column in COLUMNS) + "\n", spoiling
