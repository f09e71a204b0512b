"""From a credential to a caller: bearer tokens, cookie sessions, one-time links."""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import update
from sqlmodel import Session, col, select

from service.access.caller import Caller
from service.access.models import BrowserSession, Grant, Person, SignInLink, Token
from service.access.rights import Right, Role
from service.access.secrets import hashed, new_secret
from service.errors import NotSignedIn
from service.storage.types import new_id

SESSION_LASTS = timedelta(days=14)
LINK_LASTS = timedelta(hours=1)


def caller_of_token(session: Session, secret: str, *, at: datetime, origin: str) -> Caller:
    """The caller behind a bearer token. Raises NotSignedIn when it is unknown, expired or revoked."""
    token = session.exec(select(Token).where(Token.secret_hash == hashed(secret))).one_or_none()
    if token is None or token.revoked_at is not None:
        raise NotSignedIn("This token is not known here or was revoked. Make a new one with `ooid token create`.")
    if token.expires_at is not None and token.expires_at <= at:
        raise NotSignedIn("This token has expired. Make a new one with `ooid token create`.")
    limit = None if token.scopes is None else frozenset(Right(scope) for scope in token.scopes)
    return Caller(token.id, token.name, "token", {token.site_id: Role(token.role)}, limit, origin)


def caller_of_session(session: Session, secret: str, *, at: datetime, origin: str) -> Caller:
    """The person behind a session cookie. Raises NotSignedIn when the session is unknown, ended or expired."""
    found = session.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(secret))).one_or_none()
    if found is None or found.ended_at is not None or found.expires_at <= at:
        raise NotSignedIn("You are signed out. Sign in again; what waits on this device is kept.")
    person = session.get_one(Person, found.person_id)
    grants = session.exec(select(Grant).where(Grant.person_id == person.id)).all()
    roles = {grant.site_id: Role(grant.role) for grant in grants}
    return Caller(person.id, person.name, "person", roles, None, origin)


def make_link(session: Session, person_id: UUID, *, at: datetime) -> str:
    """The secret of a new one-time sign-in link for a person."""
    secret = new_secret()
    session.add(SignInLink(secret_hash=hashed(secret), person_id=person_id, expires_at=at + LINK_LASTS))
    return secret


def use_link(session: Session, secret: str, *, at: datetime) -> str:
    """Trade a one-time link for a new session; gives the cookie's secret.

    Raises NotSignedIn when the link is unknown, expired or used: the update finds a row once only.
    """
    spent = session.execute(
        update(SignInLink)
        .where(
            col(SignInLink.secret_hash) == hashed(secret),
            col(SignInLink.used_at).is_(None),
            col(SignInLink.expires_at) > at,
        )
        .values(used_at=at)
        .returning(col(SignInLink.person_id))
    ).scalar_one_or_none()
    if spent is None:
        raise NotSignedIn(
            "This sign-in link was used already or has expired. Start the service again or ask for a new one."
        )
    cookie = new_secret()
    session.add(
        BrowserSession(
            id=new_id(), secret_hash=hashed(cookie), person_id=spent, created_at=at, expires_at=at + SESSION_LASTS
        )
    )
    return cookie


def end_session(session: Session, secret: str, *, at: datetime) -> None:
    """End the session behind a cookie; an unknown one is no error."""
    session.execute(update(BrowserSession).where(col(BrowserSession.secret_hash) == hashed(secret)).values(ended_at=at))
