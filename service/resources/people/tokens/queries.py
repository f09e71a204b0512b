"""Finding tokens."""

from __future__ import annotations

from collections.abc import Sequence
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope, Work
from service.access.models import Token
from service.access.rights import Right
from service.errors import NotFound


def visible(
    session: Session, scope: Scope, *, site_id: UUID | None = None, after: UUID | None = None, limit: int | None = None
) -> Sequence[Token]:
    """The tokens of a scope by id, those of one site when it is given."""
    statement = select(Token).where(scope.holds(Token.site_id)).order_by(col(Token.id)).limit(limit)
    if site_id is not None:
        statement = statement.where(Token.site_id == site_id)
    if after is not None:
        statement = statement.where(col(Token.id) > after)
    return session.exec(statement).all()


def found(work: Work, token_id: UUID) -> Token:
    """One token whose site (or installation) the caller administers. Raises NotFound."""
    token = work.session.get(Token, token_id)
    if token is None or not work.caller.has(Right.ADMINISTER, token.site_id):
        raise NotFound("There is no token with this id.")
    return token
