"""Which site a role or token is for: checked by whoever knows places, which lie above people."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from sqlmodel import Session

from service.access.caller import Scope, Work
from service.errors import Fault, NotFound

SiteNamed = Callable[[Session, Scope, str], UUID]


def existing(work: Work, site_named: SiteNamed, site_id: UUID | None, *, pointer: str) -> UUID | None:
    """The id of a site within the caller's scope; None stands for the installation. Raises NotFound by field."""
    if site_id is None:
        return None
    try:
        return site_named(work.session, work.scope, str(site_id))
    except NotFound as error:
        raise NotFound(error.detail, (Fault(pointer, error.detail, str(site_id)),)) from error
