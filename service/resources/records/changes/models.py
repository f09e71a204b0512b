"""One change of the change feed."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from pydantic import Field as ShapeField

from service.http.shapes import AnyJson, Shape


class ChangeRead(Shape):
    """Something that was recorded, corrected, withdrawn, described or changed."""

    site: UUID | None = ShapeField(description="Null for what belongs to the installation.")
    seq: int = ShapeField(description="The entry of the audit trail: gap-free, in the order of commits.")
    position: int = ShapeField(description="Its place within the entry; a batch is one entry.")
    at: datetime = ShapeField(description="When it was stored, which may be long after it was measured.")
    kind: str
    id: UUID
    action: str
    version: int
    actor: UUID = ShapeField(description="The person or token that did it.")
    body: AnyJson = ShapeField(
        description="What it is now, which may be a later version; null for what you may not read and what has no body."
    )


class ChangesRead(Shape):
    """Changes in the order of commits, and where to go on."""

    changes: list[ChangeRead]
    next_after: str = ShapeField(description="Send it as `after` for what comes next, now or next week.")
