"""The shapes of a session."""

from __future__ import annotations

from datetime import datetime
from typing import Literal
from uuid import UUID

from pydantic import Field as ShapeField
from pydantic import SecretStr

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


class OwnSessionRead(Shape):
    """One of your open sessions."""

    id: UUID
    is_current: bool
    means: Literal["link", "password", "pin"]
    device: str | None = ShapeField(description="The shared device it is on; null: a browser of your own.")
    created_at: datetime
    seen_at: datetime = ShapeField(description="About when it was last used.")
    expires_at: datetime


class PasswordSent(Shape):
    """A new password: 12 to 256 characters of any kind."""

    present: SecretStr | None = ShapeField(default=None, max_length=256)
    new: SecretStr = ShapeField(max_length=256)


class PinSent(Shape):
    """A PIN for shared devices: 4 to 8 digits that neither repeat nor count."""

    pin: SecretStr = ShapeField(min_length=4, max_length=8)
