"""The shapes of a token."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from uuid import UUID

from pydantic import AfterValidator
from pydantic import Field as ShapeField

from service.access.rights import Right, Role
from service.http.shapes import Id, Shape, Time
from service.resources.people.names import Name


def _each_once(scopes: list[Right]) -> list[Right]:
    if len(set(scopes)) < len(scopes):
        raise ValueError("each scope may be named once")
    return scopes


Scopes = Annotated[list[Right], ShapeField(min_length=1, max_length=len(Right)), AfterValidator(_each_once)]


class TokenSent(Shape):
    """A new token for one site, or (without `site_id`) for the whole installation.

    `scopes` cuts it down to some of its role's rights; left out, it has them all. Left out, `expires_at` is in a year.
    """

    name: Name
    role: Role
    site_id: Id | None = None
    scopes: Scopes | None = None
    expires_at: Time | None = None


class TokenRead(Shape):
    """A token as it stands; its secret is not kept."""

    id: UUID
    version: int
    name: str
    site_id: UUID | None
    role: Role
    scopes: list[Right] | None = ShapeField(description="The rights it was cut down to; null: all of its role.")
    created_at: datetime
    created_by: UUID
    expires_at: datetime | None
    revoked_at: datetime | None


class TokenMade(TokenRead):
    """A new token with its secret, shown this once."""

    secret: str = ShapeField(description="Send it as `Authorization: Bearer <secret>`. It cannot be shown again.")
