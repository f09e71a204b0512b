"""Which chain of the audit trail a request means."""

from __future__ import annotations

from typing import Annotated
from uuid import UUID

from fastapi import Query

from service.access.caller import Work
from service.access.rights import Right
from service.http.shapes import PRINTABLE
from service.resources.places.sites.queries import id_named
from service.storage.trail import INSTALLATION

INSTALLATION_NAME = "installation"
ChainNamed = Annotated[
    str,
    Query(
        max_length=40,
        pattern=PRINTABLE,
        description="A site's tag or id, or `installation` for what belongs to no site: catalogue, people, new sites.",
    ),
]


def chain_named(work: Work, text: str, right: Right) -> UUID:
    """The chain of a site or of the installation. Raises NotFound, or NotAllowed without the right there."""
    is_installation = text == INSTALLATION_NAME
    chain_id = INSTALLATION if is_installation else id_named(work.session, work.scope, text)
    work.caller.require(right, None if is_installation else chain_id)
    return chain_id


def site_of(chain_id: UUID) -> UUID | None:
    """The site whose chain this is; None for the installation's."""
    return None if chain_id == INSTALLATION else chain_id
