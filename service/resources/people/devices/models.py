"""The shapes of a shared device."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from service.http.shapes import Id, Shape, Tag


class DeviceSent(Shape):
    """The browser that sends this becomes a shared device of a site, under a name that the trail shows."""

    site_id: Id
    name: Tag


class DeviceRead(Shape):
    """A shared device."""

    id: UUID
    site_id: UUID
    name: str
    opened_by: UUID
    created_at: datetime
    expires_at: datetime
    closed_at: datetime | None
