"""The shapes of a session."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from uuid import UUID

from pydantic import Field as ShapeField

from service.access.rights import Right, Role
from service.http.shapes import Shape


class AccessRead(Shape):
    """What you may do on one site, or (`site_id` null) on every site."""

    site_id: UUID | None
    role: Role
    rights: list[Right]


class SessionRead(Shape):
    """Who you are to the service, and what you may do."""

    kind: Literal["person", "token"]
    id: UUID
    name: str
    access: list[AccessRead]
    expires_at: datetime | None = ShapeField(description="When this token or session ends; null: it does not.")
