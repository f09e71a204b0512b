"""The names, and the person, behind the ids that records and trails carry."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import NOBODY_ID, OPERATOR_ID
from service.access.models import Person, Token

OPERATOR = "command line"
NOBODY = "nobody signed in"
UNKNOWN = "somebody no longer known"


def names(session: Session, ids: Iterable[UUID]) -> dict[UUID, str]:
    """The name of each person or token; every id asked for is there. Two queries however many."""
    wanted = set(ids)
    of_no_row = {OPERATOR_ID: OPERATOR, NOBODY_ID: NOBODY}
    found = {each: of_no_row.get(each, UNKNOWN) for each in wanted}
    found.update(session.exec(select(Person.id, Person.name).where(col(Person.id).in_(wanted))).all())
    found.update(session.exec(select(Token.id, Token.name).where(col(Token.id).in_(wanted))).all())
    return found


def person_behind(session: Session, caller_id: UUID) -> UUID | None:
    """The person who acted under this id: the person, or whoever made the token; None when that is not known.

    Tokens of one maker are one person, however many; whoever made one on the command line is not known.
    """
    seen: set[UUID] = set()
    while caller_id not in seen:
        seen.add(caller_id)
        if session.get(Person, caller_id) is not None:
            return caller_id
        token = session.get(Token, caller_id)
        if token is None:
            return None
        caller_id = token.created_by
    return None
