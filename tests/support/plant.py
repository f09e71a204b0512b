"""A reactor with the systems it feeds and the gas line it is on, and two months of checks of them."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

from support.diary import titrations
from support.house import House

DKH = 0.35665  # meq/L: 10 mg/L CaO by definition
DAYS = 60


class Plant:
    """A reactor, the systems it feeds, and the gas line it is on."""

    def __init__(self, house: House, *, systems: int = 1, shares: tuple[float, ...] = (1.0,), **specification: Any):
        self.house = house
        self.site = house.a_site()
        self.systems = [house.a_system(self.site) for _ in range(systems)]
        self.reactor = self.piece("calcium_reactor", specification)
        for system, share in zip(self.systems, shares, strict=True):
            self.feed(self.reactor, system, share)

    def piece(self, kind: str, specification: dict[str, Any] | None = None) -> dict[str, Any]:
        content = {"site_id": self.site["id"], "tag": f"p-{uuid4().hex[:8]}", "kind": kind}
        return self.house.call("POST", "/v1/equipment", {**content, "specification": specification or {}})

    def feed(self, reactor: dict[str, Any], system: dict[str, Any], share: float = 1.0) -> None:
        sent = {"reactor_id": reactor["id"], "system_id": system["id"], "share": share, "from": self.ago(DAYS)}
        self.house.call("POST", "/v1/feeds", sent)

    def ago(self, days: float) -> str:
        return (self.house.now - timedelta(days=days)).isoformat()

    def read(
        self, subject: dict[str, Any], quantity: str, value: float, unit: str, days: float = 0, **more: Any
    ) -> None:
        self.house.a_reading(
            subject["id"], value, quantity=quantity, unit=unit, taken_at=self.ago(days), confirm=True, **more
        )

    def water(self, system: dict[str, Any], *, dkh: float = 8.0, ph: float | None = 8.1, rise: float = 0.0) -> None:
        """Two months of titrations (rise: meq/L a day), and pH, temperature and salinity of today."""
        titrations(self.house, system["id"], [dkh * DKH - rise * 2 * (30 - n) for n in range(31)])
        if ph is not None:
            self.read(system, "ph", ph, "[pH]", conditions={"temperature": 25})
        self.read(system, "temperature", 25, "Cel")
        self.read(system, "salinity", 35, "1")

    def outlet(
        self, *, flow: float = 82.467, dkh: float = 25.0, ph: float | None = 6.6, reactor: Any = None, last: float = 0
    ) -> None:
        """A check a week of drip and effluent."""
        piece = reactor or self.reactor
        for days in range(56, int(last) - 1, -7):
            self.read(piece, "effluent_flow", flow, "L/d", days)
            self.read(piece, "effluent_alkalinity", dkh, "dKH", days)
        if ph is not None:
            self.read(piece, "effluent_ph", ph, "[pH]", last, conditions={"temperature": 25})

    def gas(self, g_d: float | None, *, reactors: int = 1) -> dict[str, Any]:
        """A line with one cylinder, weighed once a week, that loses so much; None: not weighed."""
        stamped = {"stamped_tare": 6.85, "water_capacity": 6.62, "charge": 4.5}
        units = {"water_capacity": "L"}
        cylinder = self.piece(
            "co2_cylinder", {name: {"value": v, "unit": units.get(name, "kg")} for name, v in stamped.items()}
        )
        on_it = [self.reactor, *(self.piece("calcium_reactor") for _ in range(reactors - 1))]
        sent = {
            "site_id": self.site["id"], "tag": f"g-{uuid4().hex[:8]}", "from": self.ago(56),
            "cylinder_ids": [cylinder["id"]], "reactor_ids": [each["id"] for each in on_it],
        }  # fmt: skip
        self.line = self.house.call("POST", "/v1/gas-lines", sent)
        for days in range(56, -1, -7) if g_d is not None else ():
            self.read(cylinder, "cylinder_gross_mass", 6.85 + 4.5 - (56 - days) * g_d / 1000, "kg", days)
        return cylinder

    def ask(self, **query: Any) -> dict[str, Any]:
        return self.house.call("GET", f"/v1/equipment/{self.reactor['id']}/output-balance", params=query)


def codes(remarks: list[dict[str, Any]]) -> list[str]:
    """What was remarked."""
    return [each["code"] for each in remarks]


def the_worked_case(house: House, **specification: Any) -> Plant:
    """8 dKH, pH 8.1 in; 25 dKH, pH 6.6 out; S 35, 25 C; 82.5 L/d."""
    plant = Plant(house, **specification)
    plant.water(plant.systems[0])
    plant.outlet()
    return plant
