"""Requests generated from the API's own description, the same ones at every run."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import timedelta
from typing import Any
from urllib.parse import quote
from uuid import uuid4

import httpx
import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import Case
from schemathesis.generation import GenerationMode
from support.house import House
from support.probes import batch, send

BASE = "http://ooid.test"
EVERYTHING = list(HealthCheck)


class Generator:
    """Generates requests for the operations of a house; half of them speak of things that exist there.

    Ids made up by chance are never known: without that every other request would end at "not found".
    """

    def __init__(self, house: House) -> None:
        self._house = house
        self._schema = schemathesis.openapi.from_dict(house.app.openapi())
        self._chance = random.Random(5)
        self.known = {key: [value] for key, value in describe_something(house).items()}

    def send(self, method: str, path: str, count: int) -> list[httpx.Response]:
        """The responses to about `count` requests to an operation, sensible and senseless ones in turn."""
        operation = self._schema[path][method]
        answers: list[httpx.Response] = []
        shares = {GenerationMode.POSITIVE: count - count // 2, GenerationMode.NEGATIVE: count // 2}
        for mode, share in shares.items():
            if share == 0:
                continue

            @settings(
                max_examples=share,
                derandomize=True,
                database=None,
                deadline=None,
                phases=[Phase.generate],
                suppress_health_check=EVERYTHING,
            )
            @given(case=operation.as_strategy(generation_mode=mode))
            def one(case: Case) -> None:
                answers.append(self._answer(case))

            try:
                one()
            except Unsatisfiable:
                assert mode is GenerationMode.NEGATIVE, "no sensible request can be made from the description"
        return answers

    def _answer(self, case: Case) -> httpx.Response:
        if self._chance.random() < 0.5:
            self._speak_of_what_exists(case)
        options = case.as_transport_kwargs(base_url=BASE)
        request = requests.Request(**{key: value for key, value in options.items() if key != "cert"}).prepare()
        headers = {name: value for name, value in request.headers.items() if name.lower() != "authorization"}
        body = request.body.encode() if isinstance(request.body, str) else request.body
        return self._house.send(
            request.method or "GET", (request.url or BASE).removeprefix(BASE), content=body, headers=headers
        )

    def _speak_of_what_exists(self, case: Case) -> None:
        collection = case.path.split("/{")[0].rsplit("/", 1)[-1]
        for name in case.path_parameters or {}:
            ids = self.known.get(collection) or self.known.get(name)
            if ids:
                case.path_parameters[name] = quote(self._chance.choice(ids))
        if isinstance(case.query, dict):
            case.query = dict(self._with_known_ids(case.query))
        if isinstance(case.body, dict):
            case.body = dict(self._with_known_ids(case.body))
        if case.method.upper() == "PATCH" or case.path.endswith(("corrections", "withdrawal")):
            case.headers = {**dict(case.headers or {}), "If-Match": '"1"'}

    def _with_known_ids(self, body: dict[str, Any]) -> Iterator[tuple[str, Any]]:
        for name, value in body.items():
            ids = self.known.get(name)
            if ids and isinstance(value, str):
                yield name, self._chance.choice(ids)
            elif isinstance(value, dict):
                yield name, dict(self._with_known_ids(value))
            else:
                yield name, value


def describe_something(house: House) -> dict[str, str]:
    """One of everything that can be described or recorded; its id by the names under which requests speak of it."""
    site = house.a_site()
    system = house.a_system(site)
    where = {"site_id": site["id"], "tag": "one", "name": "One"}
    room = house.call("POST", "/v1/rooms", where)
    tank = house.call("POST", "/v1/tanks", {"system_id": system["id"], "tag": "one", "name": "One"})
    reading = house.a_reading(tank["id"])
    method = house.call("POST", "/v1/methods", {"name": "Titration", "quantity": "calcium", "relative_sd": 0.02})
    lot = house.call("POST", "/v1/lots", {"number": "7"})
    made = {
        "sites": site,
        "systems": system,
        "rooms": room,
        "tanks": tank,
        "readings": reading,
        "methods": method,
        "lots": lot,
        "site_id": site,
        "system_id": system,
        "room_id": room,
        "tank_id": tank,
        "subject_id": system,
        "lot_id": lot,
        "method_id": method,
    }
    send(house, batch(system["id"], [8.0, 8.1], end=house.now, quantity="alkalinity", unit="dKH"))
    span = {"from": (house.now - timedelta(hours=1)).isoformat(), "to": house.now.isoformat()}
    line = {"subject_id": system["id"], "quantity": "alkalinity", **span, "slope": 1.02, "reason": "calibrated"}
    made["recalibrations"] = house.call("PUT", f"/v1/recalibrations/{uuid4()}", line)
    words = {"quantity": "alkalinity", "quantities": "alkalinity", "unit": "dKH"}
    return {name: thing["id"] for name, thing in made.items()} | words
