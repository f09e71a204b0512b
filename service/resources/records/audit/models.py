"""One entry of the audit trail as it is shown."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from pydantic import Field as ShapeField

from service.http.shapes import AnyJson, Shape


class AuditRead(Shape):
    """Who changed what, when, from where, and why; the hash covers all of it and the entry before."""

    site: UUID | None = ShapeField(description="Null for the installation's own chain.")
    seq: int
    at: datetime
    actor: UUID = ShapeField(description="The person or token that did it.")
    actor_name: str = ShapeField(description="Its name now; a pseudonym when the name was replaced.")
    origin: str = ShapeField(description="The address the request came from.")
    why: str | None
    before: AnyJson = ShapeField(description="What it was; null for something new.")
    after: AnyJson = ShapeField(description="What it became; for a batch, how much of what.")
    count: int = ShapeField(description="How many things this entry changed; /v1/changes names them.")
    digest: str = ShapeField(description="SHA-256 over the changes, hexadecimal.")
    previous: str = ShapeField(description="The hash of the entry before; zeros for the first.")
    hash: str
