"""What the database itself holds to, and how many questions the answers for computations take."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

import pytest
from resources.equipment.yard import Yard
from sqlalchemy import event
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from service.resources.equipment.feeds.queries import feeds_from, feeds_into
from service.resources.equipment.gas_lines.queries import line_of, members, memberships
from service.resources.equipment.installations.models import Installation
from service.resources.equipment.installations.queries import mounts_of, mounts_on
from service.resources.equipment.intervals import Span
from service.storage.types import new_id


def stored(yard: Yard, **fields: Any) -> None:
    """Write an installation past every check of the service."""
    probe, reactor = (UUID(yard.piece("other")["id"]) for _ in range(2))
    usual = {
        "id": new_id(),
        "site_id": UUID(yard.site["id"]),
        "equipment_id": probe,
        "host_id": reactor,
        "from_at": yard.house.now,
        "described_at": yard.house.now,
    }
    with Session(yard.house.database.engine) as session:
        session.add(Installation(**{**usual, **fields}))
        session.flush()
        session.rollback()


def test_the_database_itself_refuses_what_the_service_never_sends(yard: Yard) -> None:
    stored(yard)  # a sound row is taken
    mounted = yard.mount(yard.piece("other"), yard.reactor())
    for fields in (
        {"equipment_id": UUID(mounted["equipment_id"])},  # a second open interval of one piece
        {"to_at": yard.house.now - timedelta(seconds=1)},  # an end before the beginning
        {"host_id": UUID(yard.house.a_system()["id"])},  # a host on another site
        {"site_id": UUID(yard.house.a_site()["id"])},  # a row on another site than its equipment
    ):
        with pytest.raises(IntegrityError):
            stored(yard, **fields)


def test_half_open_spans(yard: Yard) -> None:
    first, noon, last = (yard.house.now + timedelta(hours=hours) for hours in (-1, 0, 1))
    assert Span(first, noon).holds_at(first)
    assert not Span(first, noon).holds_at(noon)
    assert Span(first).holds_at(last)
    assert Span(first, noon).shared_with(Span(noon)).is_empty
    assert Span(first).shared_with(Span(noon)) == Span(noon)
    assert Span(first, last).shared_with(Span(noon)) == Span(noon, last)


@pytest.mark.parametrize("many", [1, 6])
def test_computations_ask_once_however_many_are_asked_for(yard: Yard, many: int) -> None:
    systems, reactors, lines = [], [], []
    for _ in range(many):
        reactor, system, probe = yard.reactor(), yard.house.a_system(yard.site), yard.piece("other")
        lines.append(UUID(yard.line([yard.cylinder()], [reactor])["id"]))
        yard.feed(reactor, system)
        yard.mount(probe, reactor)
        systems.append(UUID(system["id"]))
        reactors.append(UUID(reactor["id"]))
    questions: tuple[Callable[[Session], Any], ...] = (
        lambda session: feeds_into(session, systems),
        lambda session: feeds_from(session, reactors),
        lambda session: members(session, lines),
        lambda session: memberships(session, reactors),
        lambda session: line_of(session, reactors, yard.house.now),
        lambda session: mounts_of(session, reactors),
        lambda session: mounts_on(session, reactors),
    )
    assert [asked(yard, ask) for ask in questions] == [1] * len(questions)


def asked(yard: Yard, ask: Callable[[Session], Any]) -> int:
    """How many statements reach the database."""
    statements: list[str] = []

    def listen(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        statements.append(statement)

    with yard.house.database.read() as session:
        session.connection()
        event.listen(yard.house.database.engine, "before_cursor_execute", listen)
        try:
            ask(session)
        finally:
            event.remove(yard.house.database.engine, "before_cursor_execute", listen)
    return len(statements)
