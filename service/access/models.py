"""People, their roles, tokens for scripts, sessions for browsers and one-time sign-in links."""

from __future__ import annotations

from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy import Index, text
from sqlmodel import Field, SQLModel

from service.storage.types import Document, Identifier, Instant


class Person(SQLModel, table=True):
    """Somebody who signs in, or whose name a record carries.

    Names need not be unique: a refusal would tell one site's administrator who works on another.
    """

    __tablename__ = "people"

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    version: int = 1
    name: str = Field(max_length=120)
    created_at: datetime = Field(sa_type=Instant)


class Grant(SQLModel, table=True):
    """The role of a person on one site, or (without a site) on the installation. A role of None: taken away."""

    __tablename__ = "grants"
    __table_args__ = (
        Index("uq_grants_person_site", "person_id", "site_id", unique=True),
        Index(
            "uq_grants_person_installation",
            "person_id",
            unique=True,
            sqlite_where=text("site_id IS NULL"),
            postgresql_where=text("site_id IS NULL"),
        ),
    )

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    version: int = 1
    person_id: UUID = Field(foreign_key="people.id", sa_type=Identifier)
    site_id: UUID | None = Field(default=None, foreign_key="sites.id", sa_type=Identifier, index=True)
    role: str | None = Field(default=None, max_length=16)


class Token(SQLModel, table=True):
    """A script's credential. Only its SHA-256 is stored; the secret is shown once."""

    __tablename__ = "tokens"

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    version: int = 1
    name: str = Field(max_length=120)
    site_id: UUID | None = Field(default=None, foreign_key="sites.id", sa_type=Identifier, index=True)
    role: str = Field(max_length=16)
    scopes: Any = Field(default=None, nullable=True, sa_type=Document)
    secret_hash: bytes = Field(max_length=32, unique=True)
    created_at: datetime = Field(sa_type=Instant)
    created_by: UUID = Field(sa_type=Identifier)
    expires_at: datetime | None = Field(default=None, sa_type=Instant)
    revoked_at: datetime | None = Field(default=None, sa_type=Instant)


class SignInLink(SQLModel, table=True):
    """A link that signs one person in, once, until it expires."""

    __tablename__ = "sign_in_links"

    secret_hash: bytes = Field(primary_key=True, max_length=32)
    person_id: UUID = Field(foreign_key="people.id", sa_type=Identifier)
    expires_at: datetime = Field(sa_type=Instant)
    used_at: datetime | None = Field(default=None, sa_type=Instant)


class BrowserSession(SQLModel, table=True):
    """A person signed in on one browser. Only the SHA-256 of the cookie is stored."""

    __tablename__ = "browser_sessions"

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    secret_hash: bytes = Field(max_length=32, unique=True)
    person_id: UUID = Field(foreign_key="people.id", sa_type=Identifier)
    created_at: datetime = Field(sa_type=Instant)
    expires_at: datetime = Field(sa_type=Instant)
    ended_at: datetime | None = Field(default=None, sa_type=Instant)
    seen_at: datetime | None = Field(default=None, sa_type=Instant)  # about when it was last used
    means: str = Field(default="link", max_length=16)  # link, password or pin
    device_id: UUID | None = Field(default=None, foreign_key="devices.id", sa_type=Identifier, index=True)


class Password(SQLModel, table=True):
    """The argon2id hash of a person's password."""

    __tablename__ = "passwords"

    person_id: UUID = Field(primary_key=True, foreign_key="people.id", sa_type=Identifier)
    hash: str = Field(max_length=200)
    set_at: datetime = Field(sa_type=Instant)


class Pin(SQLModel, table=True):
    """The argon2id hash of a person's PIN for shared devices."""

    __tablename__ = "pins"

    person_id: UUID = Field(primary_key=True, foreign_key="people.id", sa_type=Identifier)
    hash: str = Field(max_length=200)
    set_at: datetime = Field(sa_type=Instant)


class Attempts(SQLModel, table=True):
    """Failed attempts to sign in, by the hash of what was tried: a name, an address, a device."""

    __tablename__ = "sign_in_attempts"

    key: bytes = Field(primary_key=True, max_length=32)
    failures: int
    failed_at: datetime = Field(sa_type=Instant, index=True)


class Device(SQLModel, table=True):
    """A shared phone or tablet of a site, on which several people sign in by PIN. Its cookie is stored as SHA-256."""

    __tablename__ = "devices"

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    version: int = 1
    site_id: UUID = Field(foreign_key="sites.id", sa_type=Identifier, index=True)
    name: str = Field(max_length=40)
    secret_hash: bytes = Field(max_length=32, unique=True)
    opened_by: UUID = Field(sa_type=Identifier)
    created_at: datetime = Field(sa_type=Instant)
    expires_at: datetime = Field(sa_type=Instant)
    closed_at: datetime | None = Field(default=None, sa_type=Instant)


class PinTries(SQLModel, table=True):
    """Wrong PINs of a person on a device since the person last signed in otherwise."""

    __tablename__ = "pin_tries"

    device_id: UUID = Field(primary_key=True, foreign_key="devices.id", sa_type=Identifier)
    person_id: UUID = Field(primary_key=True, foreign_key="people.id", sa_type=Identifier)
    failures: int
