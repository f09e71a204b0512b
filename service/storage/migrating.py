"""Bringing a database to the schema of this version: the migrations, found in the checkout or inside the wheel."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine
from sqlalchemy.pool import NullPool

from service.settings import packaged_folder


def configuration(url: str) -> Config:
    """Alembic's configuration for the database at a SQLAlchemy URL."""
    config = Config()
    config.set_main_option("script_location", str(packaged_folder("migrations")).replace("%", "%%"))
    config.attributes["url"] = url
    return config


def upgrade(url: str) -> None:
    """Bring the database to the newest revision, in one transaction: a failing step leaves it as it was.

    Raises what the database raises; FileNotFoundError when this installation has no migrations.
    """
    command.upgrade(configuration(url), "head")


def newest_revision() -> str:
    """The revision that this version of the service works with."""
    newest = ScriptDirectory.from_config(configuration("")).get_current_head()
    if newest is None:
        raise FileNotFoundError("this installation has no migrations")
    return newest


def current_revision(url: str) -> str | None:
    """The revision a database stands at; None when it was never migrated."""
    engine = create_engine(url, poolclass=NullPool)
    try:
        with engine.connect() as connection:
            return MigrationContext.configure(connection).get_current_revision()
    finally:
        engine.dispose()


def is_at_head(url: str) -> bool:
    """Whether a database has the schema of this version, neither an older nor a newer one."""
    return current_revision(url) == newest_revision()
