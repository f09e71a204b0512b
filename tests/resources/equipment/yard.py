"""A site with equipment on it, described through the API as its callers do."""

from __future__ import annotations

import itertools
from datetime import datetime, timedelta, timezone
from typing import Any
from uuid import UUID

from sqlmodel import col, select
from support.house import House

from service.storage.trail import Event

WALL = timezone(timedelta(hours=1))
CYLINDER = {
    "stamped_tare": {"value": 6.85, "unit": "kg"},
    "water_capacity": {"value": 6.7, "unit": "L"},
    "charge": {"value": 4.5, "unit": "kg"},
}


class Yard:
    """One site, and short ways to describe equipment on it."""

    def __init__(self, house: House) -> None:
        self.house = house
        self.site = house.a_site()
        self._numbers = itertools.count(1)

    def at(self, **ago: float) -> str:
        """An instant so long before now, such as `at(days=3)`, with the offset of a clock on the wall."""
        return (self.house.now - timedelta(**ago)).astimezone(WALL).isoformat()

    def describe(self, path: str, content: dict[str, Any], **options: Any) -> Any:
        """POST, as the administrator unless `token` says otherwise."""
        return self.house.call("POST", f"/v1/{path}", content, **options)

    def refusal(self, path: str, content: dict[str, Any], status: int, **options: Any) -> tuple[str, str]:
        """The pointer and the words of a refused POST."""
        return told(self.describe(path, content, status=status, **options))

    def change(self, path: str, row: dict[str, Any], patch: dict[str, Any], **options: Any) -> Any:
        """PATCH of the version that was read."""
        headers = {"If-Match": f'"{row["version"]}"'}
        return self.house.call("PATCH", f"/v1/{path}/{row['id']}", patch, headers=headers, **options)

    def piece(self, kind: str, **fields: Any) -> dict[str, Any]:
        """A piece of equipment of this kind."""
        content = {"site_id": self.site["id"], "tag": f"piece-{next(self._numbers)}", "kind": kind, **fields}
        return self.describe("equipment", content)

    def cylinder(self, **fields: Any) -> dict[str, Any]:
        """A CO2 cylinder."""
        return self.piece("co2_cylinder", **{"specification": CYLINDER, **fields})

    def reactor(self, **fields: Any) -> dict[str, Any]:
        """A calcium reactor."""
        return self.piece("calcium_reactor", **fields)

    def line(self, cylinders: list[Any], reactors: list[Any], **fields: Any) -> dict[str, Any]:
        """A gas line that has held these for ten days."""
        return self.describe("gas-lines", self.line_sent(cylinders, reactors, **fields))

    def line_sent(self, cylinders: list[Any], reactors: list[Any], **fields: Any) -> dict[str, Any]:
        """The content that describes such a line."""
        return {
            "site_id": self.site["id"],
            "tag": f"line-{next(self._numbers)}",
            "cylinder_ids": [piece["id"] for piece in cylinders],
            "reactor_ids": [piece["id"] for piece in reactors],
            "from": self.at(days=10),
            **fields,
        }

    def mount(self, piece: dict[str, Any], host: dict[str, Any], **fields: Any) -> dict[str, Any]:
        """An installation of ten days."""
        return self.describe("installations", self.mount_sent(piece, host, **fields))

    def mount_sent(self, piece: dict[str, Any], host: dict[str, Any], **fields: Any) -> dict[str, Any]:
        """The content that describes such an installation."""
        return {"equipment_id": piece["id"], "host_id": host["id"], "from": self.at(days=10), **fields}

    def feed(self, reactor: dict[str, Any], system: dict[str, Any], **fields: Any) -> dict[str, Any]:
        """A feed of ten days."""
        return self.describe("feeds", self.feed_sent(reactor, system, **fields))

    def feed_sent(self, reactor: dict[str, Any], system: dict[str, Any], **fields: Any) -> dict[str, Any]:
        """The content that describes such a feed."""
        return {"reactor_id": reactor["id"], "system_id": system["id"], "from": self.at(days=10), **fields}

    def read(self, path: str, row: dict[str, Any]) -> Any:
        """The thing as it stands."""
        return self.house.call("GET", f"/v1/{path}/{row['id']}")

    def all(self, path: str) -> list[Any]:
        """Every such thing of the site."""
        return self.house.call("GET", f"/v1/{path}?site={self.site['id']}")

    def changes(self) -> list[tuple[str, str]]:
        """Everything that the trail of the site says was changed: kind and action, in order."""
        with self.house.database.read() as session:
            order = (col(Event.seq), col(Event.position))
            events = session.exec(select(Event).where(Event.chain_id == UUID(self.site["id"])).order_by(*order))
            return [(event.kind, event.action) for event in events]


def told(problem: dict[str, Any]) -> tuple[str, str]:
    """Where a refusal points to, and what it says."""
    return problem["errors"][0]["pointer"], problem["detail"]


def instant(text: str) -> datetime:
    """An answered time."""
    return datetime.fromisoformat(text)
