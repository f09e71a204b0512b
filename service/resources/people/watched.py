"""The rows of access that the audit trail watches: people, roles and tokens. No name of a person enters the trail."""

from __future__ import annotations

from typing import Any, cast

from service.access.caller import Work
from service.access.models import Grant, Person, Token
from service.resources.keeping.kept import Kept, note, register


def person_body(row: Person) -> dict[str, Any]:
    """What the trail keeps of a person: never the name, so that a pseudonym can replace it for good."""
    return {"id": row.id, "version": row.version, "created_at": row.created_at}


def grant_body(row: Grant) -> dict[str, Any]:
    """What the trail keeps of a role that somebody holds."""
    return {
        "id": row.id,
        "version": row.version,
        "person_id": row.person_id,
        "site_id": row.site_id,
        "role": row.role,
    }


def token_body(row: Token) -> dict[str, Any]:
    """What the trail keeps of a token, and what a list shows: all but the secret and its hash."""
    return {
        "id": row.id,
        "version": row.version,
        "name": row.name,
        "site_id": row.site_id,
        "role": row.role,
        "scopes": row.scopes,
        "created_at": row.created_at,
        "created_by": row.created_by,
        "expires_at": row.expires_at,
        "revoked_at": row.revoked_at,
    }


# These tables lie below the layer of KeptRow; they have its columns.
PERSON: Kept[Any] = register(Kept[Any]("person", cast(Any, Person), cast(Any, person_body)))
GRANT: Kept[Any] = register(Kept[Any]("grant", cast(Any, Grant), cast(Any, grant_body)))
TOKEN: Kept[Any] = register(Kept[Any]("token", cast(Any, Token), cast(Any, token_body)))


def enter(work: Work, kept: Kept[Any], row: Any, action: str, *, before: Any = None) -> None:
    """Enter one change into the chain of the row's site, or of the installation."""
    work.session.flush()
    note(work, kept, row, action, before=before)
