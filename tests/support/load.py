"""Many requests at once, and what must hold after them."""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import Sequence
from typing import Any
from uuid import UUID

import httpx
from sqlmodel import select
from support.house import House

from service.storage import trail
from service.storage.trail import Event


def content(house: House, system: dict[str, Any], value: float = 8.0) -> dict[str, Any]:
    """A reading as sent."""
    return {
        "subject_id": system["id"],
        "quantity": "alkalinity",
        "value": value,
        "unit": "dKH",
        "taken_at": house.now.isoformat(),
    }


def together(house: House, requests: Sequence[tuple[str, str, dict[str, Any]]]) -> list[tuple[int, float]]:
    """The status and seconds of each request, all sent at once through one event loop."""

    async def timed(client: httpx.AsyncClient, request: tuple[str, str, dict[str, Any]]) -> tuple[int, float]:
        method, path, options = request
        start = time.perf_counter()
        response = await client.request(method, path, **options)
        return response.status_code, time.perf_counter() - start

    async def talk() -> list[tuple[int, float]]:
        transport = httpx.ASGITransport(app=house.app, raise_app_exceptions=False)
        headers = {"Authorization": f"Bearer {house.administrator}"}
        async with httpx.AsyncClient(transport=transport, base_url="http://ooid.test", headers=headers) as client:
            return await asyncio.gather(*(timed(client, request) for request in requests))

    return asyncio.run(talk())


def whole_trail(house: House, *sites: str) -> list[str]:
    """Everything wrong with the chains of these sites and of the installation."""
    with house.database.read() as session:
        return [fault for chain in (trail.INSTALLATION, *map(UUID, sites)) for fault in trail.faults(session, chain)]


def recorded_times(house: House, ids: Sequence[str]) -> Counter[str]:
    """How often the trail says of each id that it was recorded."""
    with house.database.read() as session:
        found = session.exec(select(Event.thing_id).where(Event.action == "recorded", Event.kind == "reading")).all()
    return Counter(str(thing_id) for thing_id in found if str(thing_id) in set(ids))
