"""Every operation of the API, asked by everybody: who may, who may not, and what another site's people see.

OWASP API Security Top 10 2023, API1 (object level), API3 and API5 (function level authorisation).
"""

from __future__ import annotations

from typing import Any

import pytest
from access.rows import Row
from access.table import ROWS
from access.world import CALLERS, Ask, Caller, World
from support.house import House

Operations = dict[str, tuple[str, str]]


@pytest.fixture(scope="module")
def world(house: House) -> World:
    """One world for the whole matrix: every request makes what it needs anew."""
    return World(house)


def operations_of(openapi: dict[str, Any]) -> Operations:
    """Every operation's method and path template, by its name."""
    return {
        operation["operationId"]: (method.upper(), template)
        for template, item in openapi["paths"].items()
        for method, operation in item.items()
    }


def strangers(rows: dict[str, Row], operations: Operations) -> list[str]:
    """What the table and the API do not agree on."""
    return [
        *(f"{name} ({' '.join(operations[name])}) has no row" for name in sorted(operations.keys() - rows.keys())),
        *(f"{name} has a row and is no operation" for name in sorted(rows.keys() - operations.keys())),
    ]


def test_every_operation_has_a_row(world: World) -> None:
    found = strangers(ROWS, operations_of(world.house.app.openapi()))
    assert not found, "tests/access/table.py: " + "; ".join(found)


def test_an_operation_without_a_row_is_named() -> None:
    operations = {"read_health": ("GET", "/healthz"), "open_valve": ("POST", "/v1/valves")}
    rows = {"read_health": ROWS["read_health"], "close_valve": ROWS["read_health"]}
    assert strangers(rows, operations) == [
        "open_valve (POST /v1/valves) has no row",
        "close_valve has a row and is no operation",
    ]


@pytest.mark.parametrize("name", sorted(ROWS))
def test_operation(world: World, name: str) -> None:
    operations = operations_of(world.house.app.openapi())
    assert name in operations, f"{name} has a row and is no operation"
    unused = ROWS[name].ask(world, CALLERS[0])  # for everybody who is refused: it stays as it is
    wrong = [
        f"{caller.name}: {found}"
        for caller in CALLERS
        if (found := trespass(world, ROWS[name], *operations[name], caller, unused))
    ]
    assert not wrong, f"{name}:\n" + "\n".join(wrong)


def trespass(world: World, row: Row, method: str, template: str, caller: Caller, unused: Ask) -> str | None:
    """What is wrong with the answer to this caller; None when nothing is."""
    expected = row.expected(caller)
    ask = unused if min(expected) >= 400 else row.ask(world, caller)
    before = world.heads()
    response = world.ask(caller, method, template, ask, by_person=row.by_person)
    if response.status_code not in expected:
        return f"{response.status_code}, expected {expected}: {response.text[:300]}"
    is_refused = response.status_code >= 400 or (caller.place == "elsewhere" and 404 in _inside(response))
    if is_refused and world.heads() != before:
        return "refused, and yet something was changed"
    return _of_home(world, response, sent=str(ask)) if caller.place == "elsewhere" else None


def _inside(response: Any) -> list[int]:
    """The statuses inside the answer to a batch."""
    body = response.json() if "json" in response.headers.get("content-type", "") else None
    return [result["status"] for result in body["results"]] if isinstance(body, dict) and "results" in body else []


def _of_home(world: World, response: Any, *, sent: str) -> str | None:
    """What somebody of another site learned of the home site that they did not send themselves."""
    if (statuses := _inside(response)) and set(statuses) != {404}:
        return f"items of a batch were answered {statuses}, expected 404"
    learned = [mark for mark in world.home_marks() if mark in response.text and mark not in sent]
    return f"the answer tells of another site: {learned}" if learned else None
