"""Finding methods, and how well they repeat."""

from __future__ import annotations

from collections.abc import Iterable
from uuid import UUID

from sqlmodel import Session, col, select

from service.http.shapes import UUID_TEXT
from service.resources.catalogue.methods.models import Method
from service.resources.catalogue.methods.repeatability import COMMON, ELSE, UNSTATED, Repeatability


def named(session: Session, quantity: str, text: str) -> Method | None:
    """The described method of a quantity with this name or id, or None."""
    if UUID_TEXT.match(text):
        method = session.get(Method, UUID(text))  # one that the session holds costs no query
        return method if method is not None and method.quantity == quantity else None
    return session.exec(select(Method).where(Method.name == text, Method.quantity == quantity)).one_or_none()


def repeatabilities(
    session: Session, named: Iterable[tuple[str, str | None]]
) -> dict[tuple[str, str | None], Repeatability]:
    """How well each (quantity, stored method) repeats: one query however many.

    A stored method is an id in text, the name of a common method, or None.
    """
    wanted = set(named)
    ids = [UUID(method) for _, method in wanted if method is not None and UUID_TEXT.match(method)]
    rows = session.exec(select(Method).where(col(Method.id).in_(ids))).all() if ids else []
    described = {str(row.id): Repeatability(row.sd or 0.0, row.relative_sd or 0.0) for row in rows}
    return {
        (quantity, method): described.get(method or "")
        or COMMON.get((quantity, method or ""))
        or UNSTATED.get(quantity, ELSE)
        for quantity, method in wanted
    }
