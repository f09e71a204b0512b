"""The shapes of a person and of the roles a person holds."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated
from uuid import UUID

from pydantic import AfterValidator
from pydantic import Field as ShapeField

from service.access.rights import Role
from service.http.shapes import Id, Shape
from service.resources.people.names import Name

RolesSent = Annotated[
    list["RoleSent"], ShapeField(min_length=1, max_length=100), AfterValidator(lambda roles: _each_site_once(roles))
]


class PersonSent(Shape):
    """A new person with a first role, on one site or (without `site_id`) on the whole installation."""

    name: Name
    role: Role
    site_id: Id | None = None


class RoleSent(Shape):
    """A role to give on one site or (without `site_id`) on the whole installation; null takes it away."""

    site_id: Id | None = None
    role: Role | None


class PersonPatch(Shape):
    """What may change of a person. A new name replaces the old one for good; sites not named keep their role."""

    name: Name | None = None
    roles: RolesSent | None = None


class RoleRead(Shape):
    """A role held on one site, or (`site_id` null) on the whole installation."""

    site_id: UUID | None
    role: Role


class PersonRead(Shape):
    """A person, with the roles on the sites that you administer."""

    id: UUID
    version: int
    name: str
    roles: list[RoleRead]
    created_at: datetime


class SignInLinkRead(Shape):
    """A link that signs the person in once. It is shown this once."""

    path: str = ShapeField(description="Put the service's own address before it.")
    expires_at: datetime


def _each_site_once(roles: list[RoleSent]) -> list[RoleSent]:
    if len({role.site_id for role in roles}) < len(roles):
        raise ValueError("each site may be named once")
    return roles


PersonPatch.model_rebuild()
