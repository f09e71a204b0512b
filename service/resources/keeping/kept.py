"""A kind of row that the audit trail watches: nothing of it appears, changes or goes without an entry."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Generic, TypeVar
from uuid import UUID

from sqlmodel import Field, SQLModel

from service.access.caller import Work
from service.storage import trail
from service.storage.trail import INSTALLATION, Change
from service.storage.types import Identifier, digest


class KeptRow(SQLModel):
    """The columns that every kept row has."""

    id: UUID = Field(primary_key=True, sa_type=Identifier)
    version: int = 1


Row = TypeVar("Row", bound=KeptRow)


@dataclass(frozen=True)
class Kept(Generic[Row]):
    """A kind of kept row: its name in the change feed, its table, and its body (JSON values of the row alone)."""

    name: str
    table: type[Row]
    body: Callable[[Row], dict[str, Any]]

    def change(self, row: Row, action: str) -> Change:
        """What the trail remembers of one change."""
        return Change(self.name, row.id, action, row.version, digest(self.body(row)))


KEPT: dict[str, Kept[Any]] = {}


def register(kept: Kept[Row]) -> Kept[Row]:
    """Make a kind known to `ooid check`, which compares every row with the trail."""
    KEPT[kept.name] = kept
    return kept


def chain_of(row: KeptRow) -> UUID:
    """The chain that a row's changes belong to: its site's (a site's own), or the installation's."""
    return row.id if row.__tablename__ == "sites" else getattr(row, "site_id", None) or INSTALLATION


def note(
    work: Work,
    kept: Kept[Row],
    row: Row,
    action: str,
    *,
    before: Any = None,
    why: str | None = None,
    chain_id: UUID | None = None,
) -> None:
    """Enter one change into the trail; `before` is the body of the version it replaces."""
    trail.note(
        work.session,
        chain_id=chain_id or chain_of(row),
        at=work.at,
        actor=work.caller.actor,
        changes=[kept.change(row, action)],
        before=before,
        after=kept.body(row),
        why=why,
    )


def a_or_an(words: str) -> str:
    """The words with their article, by their first letter."""
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"
