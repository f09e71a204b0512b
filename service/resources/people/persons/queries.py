"""Finding people and the roles they hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope, Work
from service.access.models import Grant, Person
from service.access.rights import Right
from service.errors import NotFound


def visible(session: Session, scope: Scope, *, after: UUID | None = None, limit: int | None = None) -> Sequence[Person]:
    """People who hold or held a role on a site of the scope, by id; with the installation as scope, everybody."""
    statement = select(Person).order_by(col(Person.id)).limit(limit)
    if scope.sites is not None:
        statement = statement.where(col(Person.id).in_(select(Grant.person_id).where(scope.holds(Grant.site_id))))
    if after is not None:
        statement = statement.where(col(Person.id) > after)
    return session.exec(statement).all()


def found(work: Work, person_id: UUID) -> Person:
    """One person whom the caller may know of as an administrator. Raises NotFound."""
    person = work.session.get(Person, person_id)
    scope = work.caller.scope_of(Right.ADMINISTER)
    is_known = person is not None and (
        scope.sites is None or any(grant.site_id in scope.sites for grant in grants_of(work.session, person_id))
    )
    if person is None or not is_known:
        raise NotFound("There is no person with this id.")
    return person


def grants_of(session: Session, person_id: UUID) -> Sequence[Grant]:
    """Every role of a person, those taken away (None) included."""
    return session.exec(select(Grant).where(Grant.person_id == person_id).order_by(col(Grant.id))).all()


def named(session: Session, scope: Scope, name: str) -> Sequence[Person]:
    """The people of the scope with this name."""
    return [person for person in visible(session, scope) if person.name == name]


def shown(session: Session, scope: Scope, people: Sequence[Person]) -> list[dict[str, Any]]:
    """People with the roles they hold within the scope, in order: one query however many."""
    held: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    statement = (
        select(Grant)
        .where(col(Grant.person_id).in_([person.id for person in people]), col(Grant.role).is_not(None))
        .where(scope.holds(Grant.site_id))
        .order_by(col(Grant.id))
    )
    for grant in session.exec(statement):
        held[grant.person_id].append({"site_id": grant.site_id, "role": grant.role})
    return [
        {
            "id": person.id,
            "version": person.version,
            "name": person.name,
            "roles": held[person.id],
            "created_at": person.created_at,
        }
        for person in people
    ]
