"""The caller of a request, and the scope its queries are held to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from sqlalchemy import ColumnElement, true
from sqlmodel import Session, col

from service.access.rights import CORRECTS_OTHERS, RIGHTS, Right, Role, highest
from service.errors import NotAllowed
from service.storage.trail import Actor

OPERATOR_ID = UUID(int=0)  # whoever works on the machine itself, by the command line
NOBODY_ID = UUID(int=1)  # whoever tried to sign in and was not let in
OWN_CORRECTION_WINDOW = timedelta(hours=24)


@dataclass(frozen=True)
class Scope:
    """The sites a query may touch: some, or (None) all of the installation."""

    sites: frozenset[UUID] | None

    def __contains__(self, site_id: UUID) -> bool:
        return self.sites is None or site_id in self.sites

    def holds(self, site_column: Any) -> ColumnElement[bool]:
        """The condition that keeps a statement within these sites."""
        return true() if self.sites is None else col(site_column).in_(self.sites)


@dataclass(frozen=True)
class Caller:
    """Somebody known: a person or a token, with a role on some sites or (key None) on the whole installation.

    `limit` holds the rights a token was cut down to; None means all that the role brings. `credential` is the id of
    the token or browser session the request came with, `expires_at` when that ends; `device_id` the shared device.
    """

    id: UUID
    name: str
    kind: str
    roles: Mapping[UUID | None, Role]
    limit: frozenset[Right] | None
    origin: str
    credential: UUID | None = None
    expires_at: datetime | None = None
    device_id: UUID | None = None

    @property
    def actor(self) -> Actor:
        """How the audit trail names this caller."""
        return Actor(id=self.id, origin=self.origin)

    @property
    def is_installation_wide(self) -> bool:
        """Whether the caller's role covers every site."""
        return None in self.roles

    @property
    def scope(self) -> Scope:
        """The sites this caller may know of."""
        return (
            Scope(None)
            if self.is_installation_wide
            else Scope(frozenset(site for site in self.roles if site is not None))
        )

    def scope_of(self, right: Right) -> Scope:
        """The sites on which this caller holds a right."""
        if self.has(right, None):
            return Scope(None)
        return Scope(frozenset(site for site in self.roles if site is not None and self.has(right, site)))

    def role_on(self, site_id: UUID | None) -> Role | None:
        """The role held on a site: the higher of the site's own and the installation's."""
        return highest(self.roles.get(site_id), self.roles.get(None))

    def rights_on(self, site_id: UUID | None) -> frozenset[Right]:
        """The rights held on a site; with None, on the installation as a whole."""
        role = self.role_on(site_id)
        rights: frozenset[Right] = frozenset() if role is None else RIGHTS[role]
        return rights if self.limit is None else rights & self.limit

    def has(self, right: Right, site_id: UUID | None) -> bool:
        """Whether the caller holds a right on a site; with None, on the installation as a whole."""
        return right in self.rights_on(site_id)

    def has_anywhere(self, right: Right) -> bool:
        """Whether the caller holds a right on any site."""
        return any(self.has(right, site_id) for site_id in self.roles)

    def require(self, right: Right, site_id: UUID | None) -> None:
        """Raise NotAllowed unless the caller holds the right there."""
        if not self.has(right, site_id):
            where = "the whole installation" if site_id is None else "this site"
            raise NotAllowed(
                f"This needs the right '{right}' on {where}. Ask an administrator for a role or token that has it."
            )

    def require_anywhere(self, right: Right) -> None:
        """Raise NotAllowed unless the caller holds the right on some site."""
        if not self.has_anywhere(right):
            raise NotAllowed(f"This needs the right '{right}'. Ask an administrator for a role or token that has it.")

    def require_covers(self, role: Role, scopes: frozenset[Right] | None, site_id: UUID | None) -> None:
        """Raise NotAllowed unless all that this role (cut to these scopes) brings there is the caller's own.

        Nobody hands out more than they hold: neither rights nor what a higher role may do beyond its rights.
        """
        given = RIGHTS[role] if scopes is None else RIGHTS[role] & scopes
        own = self.role_on(site_id)
        if not given <= self.rights_on(site_id) or own is None or highest(own, role) is not own:
            rights = ", ".join(sorted(given)) or "nothing"
            raise NotAllowed(
                f"This would hand out more than you hold: the role '{role}' with {rights}. "
                "Choose a lower role or fewer scopes, or ask an administrator of the installation."
            )

    def require_correction_of(self, *, recorded_by: UUID, recorded_at: datetime, site_id: UUID, at: datetime) -> None:
        """Raise NotAllowed unless the caller may correct this: anyone's as supervisor, one's own for 24 hours."""
        self.require(Right.CORRECT, site_id)
        if self.role_on(site_id) in CORRECTS_OTHERS:
            return
        if recorded_by != self.id:
            raise NotAllowed("Only a supervisor corrects what somebody else recorded. Ask one, or record a note.")
        if at - recorded_at > OWN_CORRECTION_WINDOW:
            raise NotAllowed("Your own records can be corrected for 24 hours. Ask a supervisor to correct this one.")


@dataclass(frozen=True)
class Work:
    """One unit of work: the open session, who asks, and the instant it happens at."""

    session: Session
    caller: Caller
    at: datetime

    @property
    def scope(self) -> Scope:
        """The sites every query of this work is held to."""
        return self.caller.scope
