"""Finding sites."""

from __future__ import annotations

from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope
from service.errors import Fault, NotFound
from service.http.shapes import UUID_TEXT
from service.resources.places.sites.models import Site


def named(session: Session, scope: Scope, text: str) -> Site:
    """The site with this tag or id, within the scope. Raises NotFound."""
    condition = Site.id == UUID(text) if UUID_TEXT.match(text) else Site.tag == text
    site = session.exec(select(Site).where(condition, scope.holds(Site.id))).one_or_none()
    if site is None:
        detail = "There is no site with this tag or id."
        raise NotFound(detail, (Fault("site", detail, text, "query"),))
    return site


def id_named(session: Session, scope: Scope, text: str) -> UUID:
    """The id of the site with this tag or id, within the scope. Raises NotFound."""
    return named(session, scope, text).id


def one(session: Session, scope: Scope, site_id: UUID, *, pointer: str = "/site_id") -> Site:
    """The site with this id, within the scope. Raises NotFound naming the field that held the id."""
    site = session.get(Site, site_id) if site_id in scope else None
    if site is None:
        detail = "There is no site with this id."
        raise NotFound(detail, (Fault(pointer, detail, str(site_id)),))
    return site


def visible(session: Session, scope: Scope) -> list[Site]:
    """Every site within the scope, by tag."""
    return list(session.exec(select(Site).where(scope.holds(Site.id)).order_by(col(Site.tag))))
