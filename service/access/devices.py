"""Shared devices: a phone or tablet that a supervisor opens for a site, and its people sign in on by PIN.

Five wrong PINs lock a person's PIN on that device until the person signs in by password or link.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

from sqlmodel import Session, col, or_, select

from service.access import signing_in, throttle
from service.access.caller import Caller, Work
from service.access.models import Device, Grant, Person, Pin, PinTries
from service.access.password_sign_in import note, note_refused
from service.access.passwords import Hasher, require_good_pin
from service.access.rights import RIGHTS, Right, Role
from service.access.secrets import hashed, new_secret
from service.access.throttle import Gauge, Tried
from service.errors import Fault, NotAllowed, NotFound, NotSignedIn
from service.settings import Settings
from service.storage import trail
from service.storage.database import Database
from service.storage.trail import Change
from service.storage.types import digest, new_id

WRONG_PINS = 5
SESSION_LASTS = timedelta(hours=12)  # a shift, however busy
NOT_SHARED = "This is not, or no longer, a shared device. A supervisor opens it for a site."
NO_DEVICE = "A PIN signs only on a shared device. Sign in as yourself on a browser of your own, and sign there."
WRONG = "This is not that person's PIN. After five wrong tries it is locked here."
LOCKED = "After five wrong tries this PIN is locked on this device. Sign in with your password to use it again."


def opened(work: Work, site_id: UUID, name: str, settings: Settings) -> tuple[Device, str]:
    """A new shared device of a site, and the secret of its cookie. Whoever opens it is signed out on it."""
    work.caller.require(Right.DESCRIBE, site_id)
    secret = new_secret()
    device = Device(
        id=new_id(),
        site_id=site_id,
        name=name,
        secret_hash=hashed(secret),
        opened_by=work.caller.id,
        created_at=work.at,
        expires_at=work.at + timedelta(days=settings.device_days),
    )
    work.session.add(device)
    _note(work, device, "opened")
    if work.caller.kind == "person" and work.caller.credential is not None:
        signing_in.end_session(work.session, work.caller.credential, at=work.at, actor=work.caller.actor)
    return device, secret


def closed(work: Work, device_id: UUID) -> Device:
    """A device closed: its cookie and every session on it open nothing from now on. Raises NotFound."""
    device = work.session.get(Device, device_id)
    if device is None or not work.caller.has(Right.DESCRIBE, device.site_id):
        raise NotFound("There is no shared device with this id.")
    if device.closed_at is None:
        device.closed_at = work.at
        device.version += 1
        _note(work, device, "closed")
    return device


def listed(work: Work) -> Sequence[Device]:
    """The open devices of the sites on which the caller may open one."""
    scope = work.caller.scope_of(Right.DESCRIBE)
    statement = select(Device).where(
        scope.holds(Device.site_id), col(Device.closed_at).is_(None), col(Device.expires_at) > work.at
    )
    return work.session.exec(statement.order_by(col(Device.id))).all()


def of_cookie(session: Session, secret: str | None, *, at: datetime) -> Device:
    """The open device behind a device's cookie. Raises NotSignedIn."""
    device = None
    if secret:
        device = session.exec(select(Device).where(Device.secret_hash == hashed(secret))).one_or_none()
    if device is None or not signing_in.device_is_open(device, at):
        raise NotSignedIn(NOT_SHARED)
    return device


def people(session: Session, device: Device) -> list[tuple[UUID, str]]:
    """Who may be picked on a device: people with a PIN who may record on its site, by name."""
    statement = (
        select(Person.id, Person.name, Grant.role)
        .join(Pin, col(Pin.person_id) == col(Person.id))
        .join(Grant, col(Grant.person_id) == col(Person.id))
        .where(or_(col(Grant.site_id) == device.site_id, col(Grant.site_id).is_(None)))
    )
    rows = session.exec(statement).all()
    may = {(who, name) for who, name, role in rows if role is not None and Right.RECORD in RIGHTS[Role(role)]}
    return sorted(may, key=lambda each: (each[1].casefold(), each[0]))


def pick(
    database: Database,
    hasher: Hasher,
    *,
    device_secret: str | None,
    person_id: UUID,
    pin: str,
    replaced: str | None,
    at: datetime,
    address: str,
) -> str:
    """The secret of a session of this person on this device. Raises NotSignedIn, or TooMany for a busy guesser."""

    def found(session: Session) -> Device:
        return of_cookie(session, device_secret, at=at)

    stored = _matched(database, hasher, found, person_id, pin, at=at, address=address)
    with database.write() as session:
        device = found(session)
        _settle(session, device, person_id, stored)
        signing_in.end_replaced(session, replaced, at=at, origin=address)
        return signing_in.begin(
            session, person_id, means="pin", at=at, origin=address, lasts=SESSION_LASTS, device_id=device.id
        )


def vouched(
    database: Database, hasher: Hasher, caller: Caller, *, person_id: UUID, pin: str, at: datetime, address: str
) -> Caller:
    """The person whose PIN was typed on the device that `caller` is signed in on, in their own role on its site.

    Good for one act, such as a signature beside whoever is signed in; no session begins. Raises NotAllowed without a
    device or with a wrong PIN, TooMany for a busy guesser.
    """

    def found(session: Session) -> Device:
        device = None if caller.device_id is None else session.get(Device, caller.device_id)
        if device is None or not signing_in.device_is_open(device, at):
            raise NotAllowed(NO_DEVICE)
        return device

    try:
        stored = _matched(database, hasher, found, person_id, pin, at=at, address=address)
        with database.write() as session:
            device = found(session)
            _settle(session, device, person_id, stored)
            person = signing_in.caller_of_person(session, person_id, origin=f"device {device.name}")
            role = person.role_on(device.site_id)
            return replace(person, roles={} if role is None else {device.site_id: role}, device_id=device.id)
    except NotSignedIn as error:  # the session is good; the PIN beside it is not
        raise NotAllowed(error.detail, (Fault("/pin", error.detail),)) from error


def _matched(
    database: Database,
    hasher: Hasher,
    found: Callable[[Session], Device],
    person_id: UUID,
    pin: str,
    *,
    at: datetime,
    address: str,
) -> str:
    """The stored hash that a PIN matches, the attempt charged before it is verified. Raises NotSignedIn, TooMany."""
    with database.write() as session:
        device = found(session)
        gauge = [Tried(Gauge.DEVICE, str(device.id))]
        throttle.charge(session, gauge, at=at)
        may = person_id in {who for who, _name in people(session, device)}
        stored = session.get_one(Pin, person_id).hash if may else None
        is_locked = may and not _charged(session, device.id, person_id)
    if is_locked:
        raise NotSignedIn(LOCKED)
    if not hasher.matches(stored, pin):
        with database.write() as session:
            note_refused(session, person_id, f"pin on device {device.id}", at=at, address=address)
        raise NotSignedIn(WRONG)
    assert stored is not None
    return stored


def _settle(session: Session, device: Device, person_id: UUID, stored: str) -> None:
    """Forgive what was charged, the PIN being right. Raises NotSignedIn when it changed while it was verified."""
    row = session.get(Pin, person_id, with_for_update=True)
    if row is None or row.hash != stored:
        raise NotSignedIn(WRONG)
    throttle.forgive(session, [Tried(Gauge.DEVICE, str(device.id))])
    tries = session.get(PinTries, (device.id, person_id))
    if tries is not None:
        session.delete(tries)


def set_pin(database: Database, hasher: Hasher, caller: Caller, pin: str, *, at: datetime) -> None:
    """Set the caller's own PIN. Raises NotAllowed for a token or on a shared device, Unacceptable for a poor one."""
    if caller.kind != "person" or caller.device_id is not None:
        raise NotAllowed("A PIN is set by its person, signed in on a browser of their own.")
    require_good_pin(pin, pointer="/pin")
    made = hasher.hash(pin)
    with database.write() as session:
        row = session.get(Pin, caller.id)
        if row is None:
            session.add(Pin(person_id=caller.id, hash=made, set_at=at))
        else:
            row.hash, row.set_at = made, at
        body: dict[str, object] = {"person_id": caller.id, "set_at": at}
        note(session, "pin", caller.id, "set", body, at=at, actor=caller.actor)


def _charged(session: Session, device_id: UUID, person_id: UUID) -> bool:
    """Count one try of a PIN; False when it is locked."""
    tries = session.get(PinTries, (device_id, person_id), with_for_update=True)
    if tries is None:
        session.add(PinTries(device_id=device_id, person_id=person_id, failures=1))
        return True
    tries.failures += 1
    return tries.failures <= WRONG_PINS


def body_of(device: Device) -> dict[str, object]:
    """What the trail keeps of a device, and what a list shows: all but the secret's hash."""
    return {
        "id": device.id,
        "site_id": device.site_id,
        "name": device.name,
        "opened_by": device.opened_by,
        "created_at": device.created_at,
        "expires_at": device.expires_at,
        "closed_at": device.closed_at,
    }


def _note(work: Work, device: Device, action: str) -> None:
    work.session.flush()
    body = body_of(device)
    trail.note(
        work.session,
        chain_id=device.site_id,
        at=work.at,
        actor=work.caller.actor,
        changes=[Change("device", device.id, action, device.version, digest(body))],
        after=body,
    )
