"""Signing in by name and password, and changing the password: charged first, verified outside the write, then begun.

An unknown name takes the same way, the same hashing and the same words as a wrong password.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from uuid import UUID

from sqlalchemy import delete
from sqlmodel import Session, col, select

from service.access import signing_in, throttle
from service.access.caller import NOBODY_ID, Caller
from service.access.models import BrowserSession, Password, Person, PinTries
from service.access.passwords import Hasher, require_good_password
from service.access.throttle import Gauge, Tried
from service.errors import Fault, NotAllowed, NotSignedIn, Unacceptable
from service.settings import Settings
from service.storage import trail
from service.storage.database import Database
from service.storage.trail import Actor, Change
from service.storage.types import digest

WRONG = "This name and password do not belong together. Try again, or ask your administrator for a one-time link."
NAMESAKES = 4  # names need not be unique; more than these sign in by link


def sign_in(
    database: Database,
    hasher: Hasher,
    settings: Settings,
    *,
    name: str,
    password: str,
    replaced: str | None,
    at: datetime,
    address: str,
) -> str:
    """The secret of a new session. `replaced` is the cookie this browser had: that session ends.

    Raises NotSignedIn, or TooMany while the name or the address has to wait.
    """
    tried = [Tried(Gauge.NAME, name), Tried(Gauge.ADDRESS, address)]
    with database.write() as session:
        throttle.charge(session, tried, at=at)
    with database.read() as session:
        candidates = _of_name(session, name)
    judged: list[tuple[UUID, str | None]] = list(candidates) or [(NOBODY_ID, None)]
    good = [(person_id, stored) for person_id, stored in judged if hasher.matches(stored, password)]
    if len(good) != 1:
        with database.write() as session:
            note_refused(session, judged[0][0], "password", at=at, address=address)
        raise NotSignedIn(WRONG)
    person_id, stored = good[0]
    assert stored is not None
    renewed = hasher.hash(password) if hasher.is_outdated(stored) else stored
    with database.write() as session:
        row = session.get(Password, person_id, with_for_update=True)
        if row is None or row.hash != stored:  # changed while this one was verified
            raise NotSignedIn(WRONG)
        row.hash = renewed
        throttle.forgive(session, tried)
        session.execute(delete(PinTries).where(col(PinTries.person_id) == person_id))
        signing_in.end_replaced(session, replaced, at=at, origin=address)
        lasts = timedelta(days=settings.session_days)
        return signing_in.begin(session, person_id, means="password", at=at, origin=address, lasts=lasts)


def change(
    database: Database,
    hasher: Hasher,
    settings: Settings,
    caller: Caller,
    *,
    present: str | None,
    new: str,
    at: datetime,
) -> str:
    """Set a new password; every session of the person ends, and the secret of a new one comes out.

    The present password is needed, but for whoever has none or came by a one-time link within the hour (a reset).
    Raises NotAllowed on a shared device or for a token, Unacceptable by field, TooMany after wrong tries.
    """
    if caller.kind != "person" or caller.device_id is not None:
        raise NotAllowed("A password is changed by its person, signed in on a browser of their own.")
    with database.read() as session:
        begun = session.get_one(BrowserSession, caller.credential)
        row = session.get(Password, caller.id)
        stored = None if row is None else row.hash
    came_by_link = begun.means == "link" and at - begun.created_at < signing_in.LINK_LASTS
    if stored is not None and not came_by_link:
        _require_present(database, hasher, caller, stored, present, at=at)
    require_good_password(new, name=caller.name, pointer="/new")
    hashed = hasher.hash(new)
    with database.write() as session:
        found = session.get(Password, caller.id, with_for_update=True)
        if (None if found is None else found.hash) != stored:
            raise NotAllowed("The password was changed at this very moment from elsewhere. Sign in again.")
        actor = caller.actor
        put(session, caller.id, hashed, at=at, actor=actor)
        signing_in.end_sessions_of(session, caller.id, at=at, actor=actor)
        lasts = timedelta(days=settings.session_days)
        return signing_in.begin(session, caller.id, means="password", at=at, origin=caller.origin, lasts=lasts)


def _require_present(
    database: Database, hasher: Hasher, caller: Caller, stored: str, present: str | None, *, at: datetime
) -> None:
    tried = [Tried(Gauge.PERSON, str(caller.id))]
    with database.write() as session:
        throttle.charge(session, tried, at=at)
    if not hasher.matches(stored, present or ""):
        with database.write() as session:
            note_refused(session, caller.id, "password change", at=at, address=caller.origin)
        detail = "This is not your present password. Without it, ask your administrator for a one-time link."
        raise Unacceptable(detail, (Fault("/present", detail),))
    with database.write() as session:
        throttle.forgive(session, tried)


def put(session: Session, person_id: UUID, hashed: str, *, at: datetime, actor: Actor) -> None:
    """Store the hash of a person's password; the trail says that and when, not what."""
    row = session.get(Password, person_id)
    if row is None:
        session.add(Password(person_id=person_id, hash=hashed, set_at=at))
    else:
        row.hash, row.set_at = hashed, at
    note(session, "password", person_id, "set", {"person_id": person_id, "set_at": at}, at=at, actor=actor)


def note(
    session: Session, kind: str, thing_id: UUID, action: str, body: dict[str, object], *, at: datetime, actor: Actor
) -> None:
    """Enter something about signing in into the chain of the installation."""
    changes = [Change(kind, thing_id, action, 1, digest(body))]
    trail.note(session, chain_id=trail.INSTALLATION, at=at, actor=actor, changes=changes, after=body)


def note_refused(session: Session, person_id: UUID, means: str, *, at: datetime, address: str) -> None:
    """Enter a refused attempt: on whom (or on nobody known), from where, by what means."""
    body: dict[str, object] = {"person_id": person_id, "means": means, "address": address}
    note(session, "sign_in", person_id, "refused", body, at=at, actor=Actor(NOBODY_ID, address[:64]))


def _of_name(session: Session, name: str) -> list[tuple[UUID, str]]:
    statement = (
        select(Person.id, Password.hash)
        .join(Password, col(Password.person_id) == col(Person.id))
        .where(Person.name == name.strip())
        .order_by(col(Person.id))
        .limit(NAMESAKES)
    )
    return [(person_id, stored) for person_id, stored in session.exec(statement).all()]
