"""From a credential to a caller: bearer tokens, cookie sessions, one-time links."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import delete, update
from sqlmodel import Session, col, select

from service.access.caller import Caller
from service.access.models import BrowserSession, Device, Grant, Person, PinTries, SignInLink, Token
from service.access.rights import Right, Role
from service.access.secrets import hashed, new_secret
from service.errors import NotSignedIn
from service.settings import Settings
from service.storage import trail
from service.storage.database import Database
from service.storage.trail import Actor, Change
from service.storage.types import digest, new_id

SPENT = "This sign-in link was used already or has expired. Ask for a new one, or start the demonstration again."
SIGNED_OUT = "You are signed out. Sign in again; what waits on this device is kept."
SESSION_LASTS = timedelta(days=14)
SEEN_PARTS = 10  # a session's use is written down when a tenth of its idle limit has passed: reads stay reads
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


def caller_of_cookie(database: Database, secret: str, *, settings: Settings, at: datetime, origin: str) -> Caller:
    """As `caller_of_session`, held to the idle limits, and remembering (now and then) that the session is used."""
    with database.read() as session:
        caller = caller_of_session(session, secret, at=at, origin=origin, settings=settings)
        found = session.get_one(BrowserSession, caller.credential)
        is_due = at - _last_seen(found) >= _idle_limit(found, settings) / SEEN_PARTS
    if is_due:
        with database.write() as session:
            session.execute(
                update(BrowserSession)
                .where(col(BrowserSession.id) == caller.credential, col(BrowserSession.ended_at).is_(None))
                .values(seen_at=at)
            )
    return caller


def caller_of_session(session: Session, secret: str, *, at: datetime, origin: str, settings: Settings) -> Caller:
    """The person behind a session cookie. Raises NotSignedIn when the session is unknown, ended, expired or idle.

    A session begun by PIN on a shared device is its person's as keeper, on the device's site alone.
    """
    found = session.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(secret))).one_or_none()
    if found is None or not _is_open(found, at, settings):
        raise NotSignedIn(SIGNED_OUT)
    person = caller_of_person(session, found.person_id, origin=origin)
    caller = replace(person, credential=found.id, expires_at=found.expires_at)
    if found.device_id is None:
        return caller
    device = session.get_one(Device, found.device_id)
    if not device_is_open(device, at):
        raise NotSignedIn(SIGNED_OUT)
    role = caller.role_on(device.site_id)
    on_device: dict[UUID | None, Role] = (
        {} if role is None else {device.site_id: role if role is Role.READER else Role.KEEPER}
    )
    return replace(caller, roles=on_device, origin=f"device {device.name}", device_id=device.id)


def caller_of_person(session: Session, person_id: UUID, *, origin: str) -> Caller:
    """A person with the roles they hold; whoever asks has made sure that it is this person."""
    person = session.get_one(Person, person_id)
    grants = session.exec(select(Grant).where(Grant.person_id == person.id)).all()
    roles = {grant.site_id: Role(grant.role) for grant in grants if grant.role is not None}
    return Caller(person.id, person.name, "person", roles, None, origin)


def device_is_open(device: Device, at: datetime) -> bool:
    """Whether a shared device is still one."""
    return device.closed_at is None and device.expires_at > at


def _is_open(found: BrowserSession, at: datetime, settings: Settings) -> bool:
    is_idle = at - _last_seen(found) >= _idle_limit(found, settings)
    return found.ended_at is None and found.expires_at > at and not is_idle


def _last_seen(found: BrowserSession) -> datetime:
    return found.seen_at or found.created_at


def _idle_limit(found: BrowserSession, settings: Settings) -> timedelta:
    on_device = timedelta(minutes=settings.device_idle_minutes)
    return timedelta(hours=settings.session_idle_hours) if found.device_id is None else on_device


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
    session.execute(delete(PinTries).where(col(PinTries.person_id) == spent))
    return begin(session, spent, means="link", at=at, origin=origin)


def begin(
    session: Session,
    person_id: UUID,
    *,
    means: str,
    at: datetime,
    origin: str,
    lasts: timedelta = SESSION_LASTS,
    device_id: UUID | None = None,
) -> str:
    """Begin a session under a secret that was never used before; gives the cookie's secret."""
    cookie = new_secret()
    begun = BrowserSession(
        id=new_id(),
        secret_hash=hashed(cookie),
        person_id=person_id,
        created_at=at,
        seen_at=at,
        expires_at=at + lasts,
        means=means,
        device_id=device_id,
    )
    session.add(begun)
    _note(session, begun, "begun", at=at, actor=Actor(person_id, origin))
    return cookie


def end_replaced(session: Session, secret: str | None, *, at: datetime, origin: str) -> None:
    """End the session that a browser had when somebody signs in on it anew: two never live side by side there."""
    if secret:
        old = session.exec(select(BrowserSession).where(BrowserSession.secret_hash == hashed(secret))).one_or_none()
        if old is not None:
            end_session(session, old.id, at=at, actor=Actor(old.person_id, origin))


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
    body = {
        "id": of.id,
        "person_id": of.person_id,
        "means": of.means,
        "device_id": of.device_id,
        "expires_at": of.expires_at,
        "ended_at": of.ended_at,
    }
    version = 1 if of.ended_at is None else 2
    trail.note(
        session,
        chain_id=trail.INSTALLATION,
        at=at,
        actor=actor,
        changes=[Change("session", of.id, action, version, digest(body))],
        after=body,
    )
