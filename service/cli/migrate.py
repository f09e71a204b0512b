"""`ooid migrate`"""

from __future__ import annotations

from service.cli.lock import sole_use
from service.cli.progress import done, say
from service.settings import Settings
from service.storage.migrating import is_at_head, upgrade


def migrate() -> None:
    """Bring the database to the schema of this version, making it if there is none. Stop the service first."""
    url = Settings().url
    with sole_use(url):
        if is_at_head(url):
            done("The database has the schema of this version already.")
            return
        say("Migrating the database ...")
        upgrade(url)
    done("The database has the schema of this version now.")
