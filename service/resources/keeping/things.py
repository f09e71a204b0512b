"""Described things: sites, systems, equipment, methods and the like. Described once, amended with If-Match."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic
from uuid import UUID

from sqlmodel import Session, col, select

from service.access.caller import Scope, Work
from service.access.rights import Right
from service.errors import Conflict, Fault, NotFound
from service.http.conditional import require_version
from service.http.shapes import Shape
from service.resources.keeping.kept import Kept, Row, note
from service.storage.trail import INSTALLATION

Shown = Callable[[Session, Sequence[Any], datetime], list[dict[str, Any]]]


def bodies(kept: Kept[Any]) -> Shown:
    """The plainest way to show rows: the body of each."""
    return lambda _session, rows, _at: [kept.body(row) for row in rows]


@dataclass(frozen=True)
class Thing(Generic[Row]):
    """A kind of described thing: its shapes, and how one is described, amended and shown.

    `describe(work, sent)` checks and adds the row; `amend(work, row, patch)` changes it; `show(session, rows, at)`
    gives the answers as they hold at an instant, in order. Rights are checked here, on the row's own site, or on the
    installation for rows without.
    """

    kept: Kept[Row]
    singular: str
    plural: str
    sent: type[Shape]
    patch: type[Shape] | None
    read: type[Shape]
    describe: Callable[[Work, Any], Row]
    amend: Callable[[Work, Row, Any], None] | None
    show: Shown
    is_catalogue: bool = False
    describes: Right = Right.DESCRIBE

    @property
    def path(self) -> str:
        """The path under /v1."""
        return "/" + self.plural.replace("_", "-")


def described(work: Work, thing: Thing[Row], sent: Shape) -> Row:
    """The new row of a thing that was described, entered into the trail."""
    row = thing.describe(work, sent)
    _require(work, thing, row)
    work.session.add(row)
    work.session.flush()
    note(work, thing.kept, row, "described", chain_id=INSTALLATION if thing.singular == "site" else None)
    return row


def amended(work: Work, thing: Thing[Row], row_id: UUID, patch: Shape, if_match: str | None) -> Row:
    """The row after a change. Raises NotFound, NotAllowed, Stale or VersionRequired."""
    row = found(work, thing, row_id)
    work.session.refresh(row, with_for_update=True)  # of two at once the second waits, and sees the first
    _require(work, thing, row)
    require_version(if_match, row.version)
    before = thing.kept.body(row)
    assert thing.amend is not None
    thing.amend(work, row, patch)
    row.version += 1
    work.session.flush()
    note(work, thing.kept, row, "changed", before=before)
    return row


def found(work: Work, thing: Thing[Row], row_id: UUID) -> Row:
    """One row within the caller's scope. Raises NotFound, also for another site's."""
    row = work.session.get(thing.kept.table, row_id)
    if row is None or not _is_visible(work.scope, row):
        raise NotFound(f"There is no {thing.singular.replace('_', ' ')} with this id.")
    return row


def listed(
    session: Session, thing: Thing[Row], *, scope: Scope, site_id: UUID | None, after: UUID | None, limit: int
) -> Sequence[Row]:
    """Up to `limit` rows in the order of their ids, within the scope."""
    table: Any = thing.kept.table
    statement = select(table).order_by(col(table.id)).limit(limit)
    if not thing.is_catalogue:
        site_column = table.id if thing.singular == "site" else table.site_id
        statement = statement.where(scope.holds(site_column))
        if site_id is not None:
            statement = statement.where(site_column == site_id)
    if after is not None:
        statement = statement.where(col(table.id) > after)
    return session.exec(statement).all()


def refuse_taken(session: Session, table: Any, *, field: str, value: str, among: Sequence[Any] = (), what: str) -> None:
    """Raise Conflict when a name or tag is already in use among the rows that meet these conditions."""
    statement = select(table.id).where(getattr(table, field) == value, *among)
    if session.exec(statement).first() is not None:
        detail = f"The {field} '{value}' is already taken by another {what}. Choose another, or change that one."
        raise Conflict(detail, (Fault(f"/{field}", detail, value),))


def _is_visible(scope: Scope, row: Any) -> bool:
    site_id = row.id if row.__tablename__ == "sites" else getattr(row, "site_id", None)
    return site_id is None or site_id in scope


def _require(work: Work, thing: Thing[Any], row: Any) -> None:
    if thing.is_catalogue:
        work.caller.require_anywhere(thing.describes)
    elif thing.singular == "site":
        work.caller.require(thing.describes, row.id)
    else:
        work.caller.require(thing.describes, row.site_id)
