"""What every command opens: the settings, the database at its schema, and a unit of work in the operator's name."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from uuid import UUID

from sqlalchemy.engine import make_url

from service.access.caller import OPERATOR_ID, Caller, Scope, Work
from service.access.rights import Role
from service.cli.refusal import Refusal
from service.resources.places.sites.queries import id_named
from service.settings import Settings
from service.storage.database import Database
from service.storage.migrating import is_at_head

EVERY_SITE = Scope(None)
OPERATOR = Caller(
    id=OPERATOR_ID,
    name="command line",
    kind="command",
    roles={None: Role.ADMINISTRATOR},
    limit=None,
    origin="command line",
)


def require_schema(url: str) -> None:
    """Raise Refusal unless the database exists and has the schema of this version."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite" and address.database and not Path(address.database).exists():
        raise Refusal(f"There is no database at {address.database} yet. Run `ooid migrate` to make it.")
    if not is_at_head(url):
        raise Refusal("The database does not have the schema of this version. Run `ooid migrate`.")


@contextmanager
def opened(settings: Settings) -> Iterator[Database]:
    """The database of the settings, at its schema, closed afterwards. Raises Refusal with the remedy."""
    require_schema(settings.url)
    database = Database(settings.url, waiting=settings.waiting_writers)
    try:
        yield database
    finally:
        database.close()


@contextmanager
def reading() -> Iterator[Work]:
    """A unit of reading on the database of the environment."""
    with opened(Settings()) as database, database.read() as session:
        yield Work(session, OPERATOR, datetime.now(UTC))


@contextmanager
def writing() -> Iterator[Work]:
    """A unit of change on the database of the environment, in the operator's name."""
    with opened(Settings()) as database, database.write() as session:
        yield Work(session, OPERATOR, datetime.now(UTC))


def site_id_of(work: Work, tag: str | None) -> UUID | None:
    """The id of the site with this tag or id; None stands for the whole installation. Raises NotFound."""
    return None if tag is None else id_named(work.session, EVERY_SITE, tag)
