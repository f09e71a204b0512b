"""Rows of the table of who may do what, and short ways to write them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from access.world import Ask, Caller, Content, World

from service.access.rights import SIGNS_HOLD_POINTS, Right

READ, RECORD, CORRECT = Right.READ, Right.RECORD, Right.CORRECT
DESCRIBE, ADMINISTER = Right.DESCRIBE, Right.ADMINISTER
DONE = (200, 201, 204, 303)
LIST, SHARED = DONE, DONE  # elsewhere: the same answer, with nothing of the home site in it


@dataclass(frozen=True)
class Row:
    """What one operation needs, and a valid request for it.

    `right` is what the caller must hold (None: be known), `elsewhere` what is answered to somebody who holds it on
    another site only. `everywhere`: the right must be held on the installation. `public`: nobody is asked who they are.
    `signs`: at home the role must also be one that signs hold points. `by_person`: whoever has a role asks as a person
    signed in, for whom a token is not enough.
    """

    right: Right | None
    ask: Callable[[World, Caller], Ask]
    elsewhere: tuple[int, ...] = (404,)
    everywhere: bool = False
    public: bool = False
    done: tuple[int, ...] = DONE
    signs: bool = False
    by_person: bool = False

    def expected(self, caller: Caller) -> tuple[int, ...]:
        """The statuses that this caller may be answered."""
        if self.public:
            return self.done
        if caller.role is None:
            return (401,)
        if not caller.holds(self.right) or (self.everywhere and caller.place != "everywhere"):
            return (403,)
        if self.signs and caller.place != "elsewhere" and caller.role not in SIGNS_HOLD_POINTS:
            return (403,)
        return self.elsewhere if caller.place == "elsewhere" else self.done


def thing(
    one: str, path: str, content: Content, patch: Any = None, *, right: Right = DESCRIBE, shared: bool = False
) -> dict[str, Row]:
    """The rows of a described thing."""
    elsewhere = SHARED if shared else (404,)

    def fresh(world: World, _by: Caller) -> Ask:
        row = world.new(path, content)
        return Ask({"row_id": row["id"]}, json=patch, headers={"If-Match": f'"{row["version"]}"'})

    rows = {
        f"describe_{one}": Row(right, lambda world, _by: Ask(json=content(world)), elsewhere),
        f"list_{path.replace('-', '_')}": Row(READ, lambda _world, _by: Ask(), LIST),
        f"read_{one}": Row(READ, lambda world, _by: Ask({"row_id": world.one(path, content)["id"]}), elsewhere),
    }
    return rows if patch is None else {**rows, f"change_{one}": Row(right, fresh, elsewhere)}


def record(one: str, path: str, content: Content, correction: Content) -> dict[str, Row]:
    """The rows of a kind of record."""

    def known(world: World, by: Caller) -> Ask:
        return Ask({"record_id": world.record(path, content, by)["id"]})

    def changed(reason: str, sent: Content) -> Callable[[World, Caller], Ask]:
        return lambda world, by: Ask(
            known(world, by).path, json={**sent(world), "reason": reason}, headers={"If-Match": '"1"'}
        )

    return {
        f"record_{one}": Row(RECORD, lambda world, _by: Ask(json={"id": str(uuid4()), **content(world)})),
        f"put_{one}": Row(RECORD, lambda world, _by: Ask({"record_id": str(uuid4())}, json=content(world))),
        f"list_{path.replace('-', '_')}": Row(READ, lambda _world, _by: Ask(), LIST),
        f"read_{one}": Row(READ, known),
        f"correct_{one}": Row(CORRECT, changed("misread", correction)),
        f"withdraw_{one}": Row(CORRECT, changed("wrong tank", lambda _world: {})),
        f"list_{one}_versions": Row(READ, known),
    }


def at(path: str, content: Content, parameter: str, **ask: Any) -> Callable[[World, Caller], Ask]:
    """A request about something new at a path."""
    return lambda world, _by: Ask({parameter: world.new(path, content)["id"]}, **ask)


def on_system(**ask: Any) -> Callable[[World, Caller], Ask]:
    """A request about the home system."""
    return lambda world, _by: Ask({"system_id": world.system["id"]}, **ask)


def with_body(content: Content) -> Callable[[World, Caller], Ask]:
    """A request that has only a body."""
    return lambda world, _by: Ask(json=content(world))


def plain(**path: str) -> Callable[[World, Caller], Ask]:
    """A request that needs no body."""
    return lambda _world, _by: Ask(path)
