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
from service.storage import trail
from service.storage.trail import Actor, Change
from service.storage.types import digest, new_id

SPENT = "This sign-in link was used already or has expired. Ask for a new one, or start the demonstration again."
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
    roles = {token.site_id: Role(token.role)}
    return Caller(token.id, token.name, "token", roles, limit, origin, token.id, token.expires_at)


def caller_of_session(session: Session, secret: str, *, at: datetime, origin: str) -> Caller:
    """The person behind a session cookie. Raises NotSignedIn when the session is unknown, ended or expired."""
    found = session.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(secret))).one_or_none()
    if found is None or found.ended_at is not None or found.expires_at <= at:
        raise NotSignedIn("You are signed out. Sign in again; what waits on this device is kept.")
    person = session.get_one(Person, found.person_id)
    grants = session.exec(select(Grant).where(Grant.person_id == person.id)).all()
    roles = {grant.site_id: Role(grant.role) for grant in grants if grant.role is not None}
    return Caller(person.id, person.name, "person", roles, None, origin, found.id, found.expires_at)


def make_link(session: Session, person_id: UUID, *, at: datetime) -> str:
    """The secret of a new one-time sign-in link for a person."""
    secret = new_secret()
    session.add(SignInLink(secret_hash=hashed(secret), person_id=person_id, expires_at=at + LINK_LASTS))
    return secret


def link_is_good(session: Session, secret: str, *, at: datetime) -> bool:
    """Whether a one-time link can still be used. Looking does not use it: programs preview links."""
    link = session.get(SignInLink, hashed(secret))
    return link is not None and link.used_at is None and link.expires_at > at


def use_link(session: Session, secret: str, *, at: datetime, origin: str) -> str:
    """Trade a one-time link for a new session, entered into the trail; gives the cookie's secret.

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
        raise NotSignedIn(SPENT)
    cookie = new_secret()
    begun = BrowserSession(
        id=new_id(), secret_hash=hashed(cookie), person_id=spent, created_at=at, expires_at=at + SESSION_LASTS
    )
    session.add(begun)
    _note(session, begun, "begun", at=at, actor=Actor(spent, origin))
    return cookie


def end_session(session: Session, session_id: UUID, *, at: datetime, actor: Actor) -> None:
    """End a browser session, entered into the trail; an ended one is left as it is."""
    found = session.get(BrowserSession, session_id)
    if found is not None and found.ended_at is None:
        found.ended_at = at
        _note(session, found, "ended", at=at, actor=actor)


def end_sessions_of(session: Session, person_id: UUID, *, at: datetime, actor: Actor) -> None:
    """End every open session of a person and spend their open links: what a lost phone asks for."""
    session.execute(
        update(SignInLink)
        .where(col(SignInLink.person_id) == person_id, col(SignInLink.used_at).is_(None))
        .values(used_at=at)
    )
    statement = select(BrowserSession).where(
        BrowserSession.person_id == person_id, col(BrowserSession.ended_at).is_(None)
    )
    for found in session.exec(statement).all():
        end_session(session, found.id, at=at, actor=actor)


def _note(session: Session, of: BrowserSession, action: str, *, at: datetime, actor: Actor) -> None:
    body = {"id": of.id, "person_id": of.person_id, "expires_at": of.expires_at, "ended_at": of.ended_at}
    version = 1 if of.ended_at is None else 2
    trail.note(
        session,
        chain_id=trail.INSTALLATION,
        at=at,
        actor=actor,
        changes=[Change("session", of.id, action, version, digest(body))],
        after=body,
    )
